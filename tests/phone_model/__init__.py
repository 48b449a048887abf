"""The recipe of the phone model; `python -m tests.phone_model --help` lists its stages."""
