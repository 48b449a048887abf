"""Whether the wall clock of a record agrees with its steady clock and never runs back.

An operating system may set its wall clock at any time; the session detects and records this. A
difference that no entry explains is reported. It does not make a record invalid: versions before
0.2.0 detected only steps, not a drifting clock.
"""

from dataclasses import dataclass, field
from datetime import datetime

from assistant.clock import BUILT
from assistant.conformance import PRESENT, FoldedEntry
from assistant.procedure.events import ClockStepped, Event, Opened, Resumed

__all__ = ["TOLERANCE_S", "Doubt", "Times"]

TOLERANCE_S = 2.5
"""The smallest step the session detects, 2 s, plus the time between its checks."""
_MOST_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Doubt:
    """An entry whose wall clock does not fit, and by how many seconds."""

    seq: int
    seconds: float
    how: str

    def __str__(self) -> str:
        """Describe it in one line."""
        return f"entry {self.seq}: UTC {self.how} by {abs(self.seconds):.1f} s"


@dataclass(slots=True)
class Times:
    """Compares both clocks entry by entry; memory does not grow with the record."""

    doubts: list[Doubt] = field(default_factory=list)
    """The first entries whose time no other entry explains."""
    doubtful: int = 0
    """Total number of such entries."""
    _boot: str | None = None
    _machine: str = ""
    """Start of the machine, as far as the last start of the program says."""
    _base: float = 0.0
    """Seconds of UTC at the zero of the steady clock, in this start of the program."""
    _latest: float = float("-inf")
    _waiting: list[Doubt] = field(default_factory=list)
    """Doubts that a step recorded soon after would still explain."""
    _offset: float = 0.0
    _seq: int = 0

    def note(self, told: FoldedEntry) -> None:
        """Process an entry."""
        entry = told.entry
        utc = datetime.fromisoformat(entry.utc).timestamp()
        self._offset = utc - int(entry.mono) / 1e9
        if entry.boot != self._boot:
            self.end()
            self._boot = entry.boot
            self._began(told.event, entry.seq)
            if self._latest - utc > TOLERANCE_S:
                self._waiting.append(Doubt(entry.seq, self._latest - utc, "runs back"))
            self._opened(told.event, entry.seq, utc)
        elif isinstance(told.event, ClockStepped):
            self._stepped(float(told.event.seconds))
        elif (away := self._away(self._base)) > TOLERANCE_S:
            self._doubt(Doubt(entry.seq, away, "differs from the steady clock"))
        self._latest, self._seq = utc, entry.seq

    def _began(self, event: Event, seq: int) -> None:
        """Begin with the clock as it is, unless the steady clock ran on since the last start."""
        machine = event.machine_boot if isinstance(event, Opened | Resumed) else ""
        if not machine or machine != self._machine:
            self._base = self._offset
        elif (away := self._away(self._base)) > TOLERANCE_S:
            self._doubt(Doubt(seq, away, "differs from the steady clock"))
        self._machine = machine

    def _opened(self, event: Event, seq: int, utc: float) -> None:
        """Doubt a session by the machine's clock that began before the program was built."""
        early = datetime.fromisoformat(BUILT).timestamp() - utc
        if not isinstance(event, Opened) or event.kind not in ("live", "typed"):
            return
        if event.software == PRESENT and early > TOLERANCE_S:
            self._waiting.append(Doubt(seq, early, "is before the program was built,"))

    def end(self) -> None:
        """End of this program start: what is not explained yet never will be."""
        for doubt in self._waiting:
            self._keep(doubt)
        self._waiting.clear()

    def compare(self, now: str) -> None:
        """Compare the last entry with the current time: a record cannot be from the future.

        Args:
            now: UTC, RFC 3339.
        """
        ahead = self._latest - datetime.fromisoformat(now).timestamp()
        if ahead > TOLERANCE_S:
            self._keep(Doubt(self._seq, ahead, "is ahead of now"))

    def stamp(self, seq: int, utc: str, stamped: str) -> None:
        """Compare an entry with its time stamp: it cannot be later.

        Args:
            seq: number of the entry.
            utc: what the record's own clock said, RFC 3339.
            stamped: what the authority's said, RFC 3339.
        """
        late = datetime.fromisoformat(utc) - datetime.fromisoformat(stamped)
        if late.total_seconds() > TOLERANCE_S:
            self._keep(Doubt(seq, late.total_seconds(), "is after its time stamp"))

    def _away(self, base: float) -> float:
        return abs(self._offset - base)

    def _stepped(self, seconds: float) -> None:
        """A recorded step explains the doubts since then, if it leads to the current clock.

        At the beginning of a program start it covers the time since the previous start.
        """
        base = self._base + seconds
        if self._away(base) <= TOLERANCE_S:
            self._base = base
            self._waiting.clear()
        elif self._away(self._base) <= TOLERANCE_S:
            explained = [d for d in self._waiting if abs(d.seconds + seconds) <= TOLERANCE_S]
            self._waiting = [d for d in self._waiting if d not in explained]

    def _doubt(self, doubt: Doubt) -> None:
        if len(self._waiting) >= _MOST_SHOWN:
            self._keep(self._waiting.pop(0))
        self._waiting.append(doubt)

    def _keep(self, doubt: Doubt) -> None:
        self.doubtful += 1
        if len(self.doubts) < _MOST_SHOWN:
            self.doubts.append(doubt)
