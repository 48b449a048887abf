"""Whether an utterance is taken for a phrase, asked back or refused."""

from assistant.speech.acceptance.judge import Judge
from assistant.speech.acceptance.second import SecondOpinion, default_folder

__all__ = ["Judge", "SecondOpinion", "default_folder"]
