"""One event being applied to a session: the only place where a `Session` is changed."""

from dataclasses import dataclass, field, replace
from typing import Any

from assistant.procedure.effects import Effect, Say, Slot
from assistant.procedure.enums import Kind, Prompt, State
from assistant.procedure.events import Meaning
from assistant.procedure.model import Deviation, Sample, Session


@dataclass(slots=True)
class Transition:
    """The session as it changes, the effects so far, and the current meaning.

    It is also the model that the `transitions` machine moves: `state` is what the machine sets.
    """

    session: Session
    meaning: Meaning | None = None
    effects: list[Effect] = field(default_factory=list)
    released: frozenset[State] = frozenset()
    """Side dialogues that have released the meaning."""
    by_voice: bool = False
    """The meaning was heard, not typed or keyed."""
    ordinal: int = 0
    """Ordinal of the confirmation being applied; 0 for anything else."""
    source: State = State.NEW
    """The state that the current row started from."""
    refire: Meaning | None = None
    """Confirmed phrase to process next."""
    quiet: bool = False
    """The current row wants no prompt of the state it leads to."""

    @property
    def state(self) -> State:
        """Where the work stands."""
        return self.session.progress.state

    @state.setter
    def state(self, value: State) -> None:
        self.progress(state=State(value))

    def progress(self, **changes: Any) -> None:  # noqa: ANN401 - `replace` checks the names
        """Put changed fields into the progress."""
        self.session = replace(self.session, progress=replace(self.session.progress, **changes))

    def say(self, prompt: Prompt, meaning: Meaning | None = None, **slots: Slot) -> None:
        """Ask for a prompt to be spoken."""
        self.effects.append(Say(prompt, slots, meaning))

    def push(self, state: State) -> None:
        """Note where the new side dialogue returns to."""
        self.progress(back=(*self.session.progress.back, state))

    def pop(self) -> State:
        """Remove the innermost return."""
        *rest, last = self.session.progress.back
        self.progress(back=tuple(rest))
        return last

    def mark(self, chosen: tuple[Sample, ...], **changes: Any) -> None:  # noqa: ANN401 - as above
        """Change the given samples in place."""
        vials = {sample.vial for sample in chosen}
        self.progress(
            samples=tuple(
                replace(s, **changes) if s.vial in vials else s
                for s in self.session.progress.samples
            )
        )

    def deviate(
        self, kind: Kind, detail: str = "", vials: tuple[int, ...] = (), cause: int = 0
    ) -> None:
        """Open a deviation, raised by the confirmation at hand unless an earlier one is named."""
        deviation = Deviation(
            number=len(self.session.deviations) + 1,
            kind=kind,
            detail=detail,
            vials=vials,
            insertion=self.session.progress.insertion,
            cause=cause or self.ordinal,
        )
        self.session = replace(self.session, deviations=(*self.session.deviations, deviation))
