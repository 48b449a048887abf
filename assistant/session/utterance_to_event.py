"""Between the ear and the procedure: which phrases count now, and what a verdict means."""

from assistant.grammar.language import Language
from assistant.grammar.rendering import phrase, understand, universe
from assistant.ports import Utterance, Verdict
from assistant.procedure import queries
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Heard, Meaning
from assistant.procedure.model import Session


class Hearing:
    """Knows the phrases of the moment and turns utterances into events."""

    def __init__(self, language: Language) -> None:
        """Know no session yet."""
        self._language = language
        self._known: dict[str, Meaning] = {}
        self._session: Session | None = None

    def attune(self, session: Session) -> tuple[list[str], list[str]]:
        """Take the session's state over.

        Returns:
            all phrases that can be understood, and those of them that are legal now.
        """
        self._session = session
        self._known = universe(self._language, session)
        if session.state is not State.WEIGHING:
            mass = phrase(self._language, Meaning(intent=Intent.MASS))
            self._known.pop(mass, None)
        legal = [phrase(self._language, meaning) for meaning in queries.options(session)]
        return list(self._known), legal

    def heard(self, verdict: Verdict, clip: str) -> Heard:
        """The event of a spoken utterance.

        Args:
            verdict: of the acceptance layer.
            clip: name of the stored audio, "" where none was stored.
        """
        meaning = understand(self._language, self._known, verdict.text)
        if verdict.decision != "refuse" and meaning is None:
            return self._refused(verdict, clip)
        return Heard(
            source="voice",
            text=verdict.text,
            decision=verdict.decision,
            reason=verdict.reason,
            meaning=meaning,
            engine=verdict.engine,
            scores=dict(verdict.scores),
            clip=clip,
        )

    def _refused(self, verdict: Verdict, clip: str) -> Heard:
        return Heard(
            source="voice",
            text=verdict.text,
            decision="refuse",
            reason="no-phrase",
            engine=verdict.engine,
            scores=dict(verdict.scores),
            clip=clip,
        )

    def typed(self, utterance: Utterance) -> Heard:
        """The event of a typed line or of the confirm key, which stands for the normal answer."""
        if utterance.source == "key":
            meaning = queries.normal(self._session) if self._session else None
            text = phrase(self._language, meaning) if meaning else ""
        else:
            text = " ".join(utterance.typed.lower().split())
            meaning = understand(self._language, self._known, text)
        source = "key" if utterance.source == "key" else "text"
        if meaning is None:
            return Heard(source=source, text=text, decision="refuse", reason="no-phrase")
        return Heard(source=source, text=text, decision="accept", meaning=meaning)
