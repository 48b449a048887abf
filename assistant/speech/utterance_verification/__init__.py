"""Whether an utterance is taken for a phrase, asked back or refused."""

from assistant.speech.utterance_verification.verifier import Judge
from assistant.speech.utterance_verification.whisper_scores import SecondOpinion, default_folder

__all__ = ["Judge", "SecondOpinion", "default_folder"]
