"""Whether an utterance is taken for a phrase, asked back or refused."""

from assistant.speech.utterance_verification.verifier import Verifier

__all__ = ["Verifier"]
