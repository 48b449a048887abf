"""Whether an utterance is taken for a phrase, asked back or refused."""

from assistant.speech.acceptance.judge import Judge

__all__ = ["Judge"]
