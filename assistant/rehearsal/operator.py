"""The simulated operator: reacts to events, and decides what to say next and when.

Knows the procedure as a trained person does: what is asked in each state and what the answer is.
All chance comes from a seed.
"""

import random
from collections import Counter, deque
from dataclasses import dataclass
from typing import Literal

from assistant.grammar.language import Language
from assistant.grammar.rendering import phrase
from assistant.plan.dies import mass_window
from assistant.procedure import queries
from assistant.procedure.enums import END, Intent, State
from assistant.procedure.events import Meaning
from assistant.procedure.model import Session
from assistant.rehearsal.script import Script, Slip

PATIENCE_S = 6.0
"""Without an answer for so long, in seconds, the operator repeats the phrase."""

MAX_TRIES = 4
"""After so many tries the operator presses the key, or types if the key has no meaning."""


@dataclass(frozen=True, slots=True)
class OperatorAction:
    """What he does next."""

    do: Literal["say", "chatter", "silence", "key", "type"]
    words: str = ""
    after_s: float = 0.5
    """Pause before it."""
    seconds: float = 0.0


class Operator:
    """Decides; the room gives him a voice."""

    def __init__(self, language: Language, script: Script, seed: int) -> None:
        """Learn the language, know the slips.

        Args:
            language: the phrases.
            script: what to do wrong.
            seed: of his pauses and numbers.
        """
        self._language = language
        self._chance = random.Random(seed)  # noqa: S311 - a rehearsal, not a secret
        self._slips: deque[Slip] = deque(script.slips)
        self._visits: Counter[State] = Counter()
        self._tries = 0
        self._masses: dict[int, str] = {}
        self._masses_said: Counter[int] = Counter()
        self._said = ""
        self.repeated = self.rescued = 0
        """Phrases said once more, and entered by hand because they were not understood."""

    def arrived(self, session: Session) -> None:
        """A new state, or the same one asked anew."""
        self._visits[session.state] += 1
        self._tries = 0

    def next(self, session: Session) -> OperatorAction | None:
        """The next action, now that the operator may speak; None while waiting or when done."""
        if session.state in END:
            return None
        slip = self._slip(session.state)
        if slip is not None:
            self._said = slip.words
            return OperatorAction(slip.do, slip.words, self._pause(), slip.seconds)
        if session.state is State.REMARKING:
            return OperatorAction(
                "chatter", "the filter over the manway was shaken just now", self._pause()
            )
        if session.state in (State.FILLING, State.SHAKING_OFF) and not session.progress.waited:
            return None
        self._tries += 1
        words = self._answer(session)
        tries = self._tries
        if session.state is State.WEIGHING:
            tries = max(tries, self._masses_said[session.sample().vial])
        if tries > MAX_TRIES:
            self.rescued += 1
            return self._by_hand(session, words)
        self.repeated += tries > 1
        if session.state not in (State.DOUBTING, State.READING_BACK):
            self._said = words
        return OperatorAction("say", words, self._pause())

    def _by_hand(self, session: Session, words: str) -> OperatorAction:
        """Press the key if it means the same, else type."""
        normal = queries.normal(session)
        if normal is not None and self._phrase(normal) == words:
            return OperatorAction("key", after_s=self._pause())
        return OperatorAction("type", words, self._pause())

    def _slip(self, state: State) -> Slip | None:
        for slip in self._slips:
            if slip.at is state and slip.visit <= self._visits[state]:
                self._slips.remove(slip)
                return slip
        return None

    def _pause(self) -> float:
        return round(self._chance.uniform(0.3, 1.0), 2)

    def _answer(self, session: Session) -> str:
        match session.state:
            case State.WEIGHING:
                return self._phrase(Meaning(intent=Intent.MASS, number=self._mass(session)))
            case State.DOUBTING | State.READING_BACK:
                pending = session.progress.pending
                return self._yes(pending is not None and self._said == self._phrase(pending))
            case State.DISPOSING:
                return self._phrase(Meaning(intent=Intent.DEVIATION_ACCEPTED))
            case _:
                return self._phrase(queries.advancing(session)[0])

    def _phrase(self, meaning: Meaning) -> str:
        return phrase(self._language, meaning)

    def _yes(self, right: bool) -> str:  # noqa: FBT001 - one obvious question
        return self._phrase(Meaning(intent=Intent.AFFIRM if right else Intent.NEGATIVE))

    def _mass(self, session: Session) -> str:
        vial = session.sample().vial
        if session.state is State.WEIGHING:
            self._masses_said[vial] += 1
        if vial not in self._masses:
            window = mass_window(session.plan)
            self._masses[vial] = f"{self._chance.uniform(window.bulk_mg, window.tapped_mg):.1f}"
        return self._masses[vial]
