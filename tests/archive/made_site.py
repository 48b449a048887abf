"""An invented site: records without sound, made by the typed session driver.

Every record is a real one: the procedure, the words, the chain and the bytes are the program's own.
Each is a rehearsal by its first entry, and its assays are marked as simulated, so that nobody takes
it for one of a real batch. `record` makes one; which product, booth, operator and sampler it has
follows from its number, and so do the drifts that are planted.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from assistant.clock import ManualClock
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
CONE = bundled_files.read_plan("double-cone")
LOCATIONS = CONE.split(b"[[locations]]")
START = datetime(2025, 1, 6, 6, tzinfo=UTC)
PRODUCTS = tuple(f"{name} tablets" for name in ("Tarvolin 20 mg", "Ombrelin 5 mg", "Quenadol 2 mg"))
BOOTHS = ("booth-1", "booth-2", "booth-3", "booth-4")
OPERATORS = ("Mira Oostveld", "Tomas Reval", "Ilka Brandt")
SAMPLERS = (("THF-3-02", "D-08-A"), ("THF-3-05", "D-08-C"))
WEARS = 1
"""Index of the sampler whose dies come out part-filled more and more often."""
SPILLS = 2
"""Index of the booth that spills in every fourth session."""


@dataclass(frozen=True, slots=True)
class Made:
    """A record of the site, by its number."""

    number: int
    small: bool = False
    """Two locations only: six vials, for tests that need no more."""

    @property
    def product(self) -> str:
        """Which product was sampled."""
        return PRODUCTS[self.number % len(PRODUCTS)]

    @property
    def batch(self) -> str:
        """Its batch."""
        return f"B{self.number:05d}"

    @property
    def booth(self) -> str:
        """The machine on which the session ran."""
        return BOOTHS[self.number % len(BOOTHS)]

    @property
    def operator(self) -> str:
        """Who sampled."""
        return OPERATORS[self.number // 2 % len(OPERATORS)]

    @property
    def sampler(self) -> tuple[str, str]:
        """Identities of the sampler and of its die set."""
        return SAMPLERS[self.number // 3 % len(SAMPLERS)]

    @property
    def start(self) -> datetime:
        """When the session began; every session a little later than the one before."""
        return START + timedelta(minutes=47 * self.number, microseconds=self.number)

    @property
    def plan(self) -> bytes:
        """The plan, as bytes."""
        text = (b"[[locations]]".join(LOCATIONS[:3]) if self.small else CONE).decode()
        identity, dies = self.sampler
        for name, value in (
            ("product", self.product),
            ("batch", self.batch),
            ("identity", identity),
            ("die_set", dies),
        ):
            line = re.compile(f'^{name} = ".*"', re.MULTILINE)
            text = line.sub(f'{name} = "{value}"', text, count=1)
        return text.replace("Mira Oostveld", self.operator).encode()

    @property
    def departures(self) -> tuple[Departure, ...]:
        """What is planted: spills in one booth, worn dies of one sampler; and some questions."""
        found: list[Departure] = []
        if self.number % len(BOOTHS) == SPILLS and self.number // len(BOOTHS) % 4 == 0:
            found.append(Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL), visit=2))
        if self.sampler == SAMPLERS[WEARS]:
            found += [_short(visit) for visit in range(1, 2 + self.number % 7 // 3)]
        return (*found, *(_questions() if not self.small else ()))


def _short(visit: int) -> Departure:
    meaning = Meaning(intent=Intent.VIAL_SHORT, vial=visit)
    return Departure(State.EMPTYING_DIES, meaning, visit=visit)


@cache
def _questions() -> tuple[Departure, ...]:
    """Fill a session up to about 360 entries, as a careful operator does."""
    asked = Meaning(intent=Intent.WHERE_ARE_WE)
    return tuple(
        Departure(state, asked, visit=visit)
        for state in (
            State.OPENING,
            State.RAISING,
            State.INVERTING,
            State.STOWING,
            State.REMOVING_TUBE,
        )
        for visit in range(1, 60, 2)
    )


def lines_of(
    made: Made,
    departures: Sequence[Departure] | None = None,
    plan: bytes = b"",
    *,
    ahead: bool = False,
) -> list[bytes]:
    """Return the lines of a record, newlines included.

    Args:
        made: which record.
        departures: instead of its own.
        plan: instead of its own.
        ahead: begin now by a clock that is an hour ahead.
    """
    journal = MemoryJournal()
    start = datetime.now(UTC) + timedelta(hours=1) if ahead else made.start
    quick_record(
        journal,
        ManualClock(start),
        plan or made.plan,
        GRAMMAR,
        departures=made.departures if departures is None else departures,
        seed=made.number,
        host=made.booth,
    )
    return [line + b"\n" for line in journal.lines()]


def record(
    root: Path,
    made: Made,
    departures: Sequence[Departure] | None = None,
    *,
    ahead: bool = False,
) -> Path:
    """Make a record below `root` and return its folder."""
    folder = root / made.booth / made.batch
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.toml").write_bytes(made.plan)
    (folder / "grammar.toml").write_bytes(GRAMMAR)
    (folder / "record.jsonl").write_bytes(b"".join(lines_of(made, departures, ahead=ahead)))
    return folder


def sheet(folder: Path, made: Made, *, mean: float = 100.0, sd: float = 1.0) -> Path:
    """Write the laboratory's sheet of a small record beside it; marked as simulated."""
    import numpy as np  # noqa: PLC0415 - most tests need none

    values = np.random.default_rng(made.number).normal(mean, sd, 6 if made.small else 30)
    rows = [
        f"{n},{value:.2f},{made.batch},made up by sampling-assistant\n"
        for n, value in enumerate(values, start=1)
    ]
    path = folder.with_suffix(".csv")
    path.write_text("Vial,Assay (% of target),Batch,Origin\n" + "".join(rows), "utf-8")
    return path


def main(root: Path, count: int) -> None:
    """Make so many whole records; those that are there already are left alone."""
    for made in map(Made, range(count)):
        if not (root / made.booth / made.batch / "record.jsonl").exists():
            record(root, made)


if __name__ == "__main__":
    import sys

    main(Path(sys.argv[1]), int(sys.argv[2]))
