"""What is shown when a session has ended."""

from collections import Counter, deque
from pathlib import Path

from rich.console import Console

from assistant.journal.chain import read
from assistant.journal.head_code import head_code
from assistant.procedure.model import Session
from assistant.procedure.prompts import tally
from assistant.storage.record_reader import RecordReader


def show_end(console: Console, session: Session, into: Path) -> None:
    """Show how a session ended: samples, deviations, the record's folder and head code."""
    counted = tally(session)
    states = Counter(sample.status.value for sample in session.progress.samples)
    console.print(f"{counted['taken']} samples taken of {counted['planned']} planned", end="")
    console.print(f" ({', '.join(f'{n} {name}' for name, n in sorted(states.items()))})")
    standing = Counter(deviation.status for deviation in session.deviations)
    console.print(
        f"{len(session.deviations)} deviation{'' if len(session.deviations) == 1 else 's'}"
        + (f" ({', '.join(f'{n} {s}' for s, n in sorted(standing.items()))})" if standing else "")
    )
    entries = deque(read(RecordReader(into).lines()), maxlen=1)
    for last in entries:
        console.print(
            f"record {into}, {last.seq} entries, head code {head_code(last.seq, last.hash).text}"
        )
    console.print(f"the session is {session.state.value}")
