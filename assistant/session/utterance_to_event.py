"""From judgements to events: which phrases are legal now, and what a judgement means."""

from dataclasses import dataclass
from typing import Final

from assistant.grammar.language import Language
from assistant.grammar.rendering import phrase, understand, universe
from assistant.plan.vials import Vial, read_label
from assistant.ports import Decision, Judgement, Stakes, Utterance
from assistant.procedure import queries
from assistant.procedure.enums import CONTENT, QUESTIONS, Intent, State
from assistant.procedure.events import NEAR, OTHER_LABEL, Heard, Meaning
from assistant.procedure.model import Session

HARMLESS: Final = frozenset({*QUESTIONS, Intent.STAND_BY})
"""If misheard, these neither advance a step nor record anything about a sample."""
READ_BACK: Final = frozenset({*CONTENT, Intent.MASS, Intent.TAKE_OVER, Intent.STOP_SAMPLING})
"""These are always read back or confirmed before they count."""
ANSWERS: Final = frozenset({Intent.AFFIRM, Intent.NEGATIVE})
"""Legal only as the answer to a question."""


@dataclass(frozen=True, slots=True)
class Phrases:
    """What can be said at a moment."""

    union: tuple[str, ...]
    """All phrases that can be understood."""
    legal: dict[str, Stakes]
    """Those that are legal now; phrases that advance come first."""
    expected: frozenset[str]
    """Those that answer the current prompt."""


class UtteranceInterpreter:
    """Keeps the currently legal phrases and turns utterances into events."""

    def __init__(self, language: Language) -> None:
        """Start without a session."""
        self._language = language
        self._known: dict[str, Meaning] = {}
        self._near: dict[str, Meaning] = {}
        self._session: Session | None = None

    def attune(self, session: Session) -> Phrases:
        """Adopt the session's state and return what can be said in it."""
        self._session = session
        self._known = universe(self._language, session)
        if session.state is not State.WEIGHING:
            mass = phrase(self._language, Meaning(intent=Intent.MASS))
            self._known.pop(mass, None)
        options = queries.options(session)
        legal = {phrase(self._language, each): stakes(each.intent) for each in options}
        expected = frozenset(
            phrase(self._language, meaning) for meaning in queries.advancing(session)
        )
        self._near = {
            words.lower(): queries.expected(session, intent)
            for intent in dict.fromkeys(each.intent for each in options)
            for words in self._language.near.get(intent, ())
        }
        return Phrases((*self._known, *self._near), legal, expected)

    def heard(self, judgement: Judgement, clip: str) -> Heard:
        """The event of a spoken utterance.

        Args:
            judgement: result of the detector.
            clip: name of the stored audio, "" if none was stored.
        """
        meaning = understand(self._language, self._known, judgement.text)
        near = self._near.get(judgement.text)
        if judgement.decision != "refuse" and meaning is None:
            reason = self._unknown(near)
            return self._refused(judgement, clip, reason, near if reason == NEAR else None)
        if meaning is not None and self._leaves_unanswered(meaning, judgement.decision):
            return self._refused(judgement, clip, "answer-wanted")
        return Heard(
            source="voice",
            text=judgement.text,
            decision=judgement.decision,
            reason=judgement.reason,
            meaning=meaning,
            engine=judgement.engine,
            scores=dict(judgement.scores),
            clip=clip,
        )

    def _leaves_unanswered(self, meaning: Meaning, decision: Decision) -> bool:
        """Whether a pending question is not answered by this, so that it must be repeated.

        This applies to a doubtful answer to any question, and to any other phrase during a
        read-back: it must not end the read-back, since it may be a misheard answer.
        """
        session = self._session
        if session is None or decision == "refuse":
            return False
        if decision == "ask" and meaning.intent in ANSWERS:
            return meaning.intent in queries.triggers(session)
        if session.state is not State.READING_BACK or meaning == session.progress.pending:
            return False
        return meaning.intent not in queries.triggers(session)

    def _unknown(self, near: Meaning | None) -> str:
        """Why words that are no phrase are refused; `near` is the phrase they nearly are."""
        if near is None:
            return "no-phrase"
        return "answer-wanted" if self._leaves_unanswered(near, "accept") else NEAR

    def _refused(
        self, judgement: Judgement, clip: str, reason: str, meaning: Meaning | None = None
    ) -> Heard:
        return Heard(
            source="voice",
            text=judgement.text,
            decision="refuse",
            reason=reason,
            meaning=meaning,
            engine=judgement.engine,
            scores=dict(judgement.scores),
            clip=clip,
        )

    def typed(self, utterance: Utterance) -> Heard:
        """The event of a typed line or of the confirm key, which stands for the normal answer.

        A scanner types the code of a label: it says that the die came out full into that vial.
        """
        if utterance.source == "key":
            meaning = queries.normal(self._session) if self._session else None
            text = phrase(self._language, meaning) if meaning else ""
        elif (label := read_label(utterance.typed)) is not None:
            text, meaning = utterance.typed.strip(), self._scanned(*label)
            if meaning is None:
                return Heard(source="text", text=text, decision="refuse", reason=OTHER_LABEL)
        else:
            text = " ".join(utterance.typed.lower().split())
            meaning = understand(self._language, self._known, text)
        source = "key" if utterance.source == "key" else "text"
        if meaning is None:
            near = self._near.get(text)
            reason = self._unknown(near)
            meant = near if reason == NEAR else None
            return Heard(source=source, text=text, decision="refuse", reason=reason, meaning=meant)
        if self._leaves_unanswered(meaning, "accept"):
            return Heard(source=source, text=text, decision="refuse", reason="answer-wanted")
        return Heard(source=source, text=text, decision="accept", meaning=meaning)

    def _scanned(self, batch: str, vial: Vial) -> Meaning | None:
        """What a label means; None where no vial of this session bears it."""
        session = self._session
        if session is None or batch != session.plan.study.batch:
            return None
        positions = session.plan.sampler.positions
        for sample in session.progress.samples:
            location = session.progress.insertions[sample.insertion].location
            code = session.plan.locations[location].code
            position = positions[sample.position].value
            if vial == Vial(sample.vial, code, position, sample.port + 1):
                return Meaning(intent=Intent.VIAL_FULL, vial=vial.number)
        return None


def stakes(intent: Intent) -> Stakes:
    """The possible harm of a misheard phrase with this meaning."""
    if intent in ANSWERS:
        return "answer"
    return "lenient" if intent in HARMLESS | READ_BACK else "strict"
