"""Recognition of phrases from phone probabilities: one pass of a small network per utterance.

`log_mel` -> `phone_model` -> `phrase_scores` (every phrase against the free path) -> `evidence`
-> `decision`. The network hears phones only, so a phrase needs no training, only a pronunciation.
"""
