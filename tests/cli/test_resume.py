"""A session killed at any entry goes on where it stood, after asking how things physically are."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from itertools import pairwise
from pathlib import Path

import pytest

from assistant.clock import ManualClock, SystemClock
from assistant.conformance import fold, retell
from assistant.errors import RecordBroken, RecordError
from assistant.grammar.language import Language, parse_grammar
from assistant.journal.chain import read
from assistant.plan import parse_plan
from assistant.ports import Instant, PhraseEngine, Utterance
from assistant.procedure.enums import END, IN_POWDER, Kind, Prompt, State
from assistant.procedure.events import ClockStepped, DeviceLost, Opened, Resumed
from assistant.procedure.model import Session, begin
from assistant.record import open_record, prove
from assistant.session import station
from assistant.session.engine_factory import open_engine
from assistant.session.live import LiveSession, Setting
from assistant.speech.audio_events import MicrophoneBack, QueueItem, SoundEnded, SoundQueue
from assistant.speech.loudspeaker import TextOnlySpeaker
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import Departure, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
PLAN = full("double-cone").split(b"[[locations]]")
SMALL = b"[[locations]]".join(PLAN[:3])
"""The shipped plan with its first two locations only: six vials."""


@pytest.fixture(scope="module")
def judge() -> PhraseEngine:
    """The embedded recogniser, loaded once."""
    return open_engine(parse_grammar(GRAMMAR, "en"), "embedded")


@pytest.fixture(scope="module")
def lines() -> list[bytes]:
    """A whole session on record, with a deviation."""
    journal = MemoryJournal()
    lost = Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged"))
    clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
    quick_record(journal, clock, SMALL, GRAMMAR, departures=[lost])
    return list(journal.lines())


def folded(lines: list[bytes]) -> Session:
    """Return the session that some lines of a record lead to."""
    plan, language = parse_plan(SMALL, "plan"), parse_grammar(GRAMMAR, "en")
    return fold(lines, plan, language)[0] if lines else begin(plan)


def crashed(path: Path, lines: list[bytes], torn: bytes = b"") -> Path:
    """Leave a record as a killed program leaves it."""
    RecordFolder.create(path, SMALL, GRAMMAR).close()
    (path / "record.jsonl").write_bytes(b"".join(line + b"\n" for line in lines) + torn)
    return path


def resume(path: Path, judge: PhraseEngine, *items: QueueItem) -> Session:
    """Resume a record, let some things come in, and leave it open."""
    queue = SoundQueue()
    for item in (*items, SoundEnded()):
        queue.put(item)
    language: Language = parse_grammar(GRAMMAR, "en")
    with RecordFolder.open(path) as folder:
        setting = Setting(language, judge, TextOnlySpeaker(), "keyboard", listens=False)
        return LiveSession(folder, setting, queue).run()


def typed(words: str) -> Utterance:
    """Return a line as typed."""
    return Utterance(typed=words, source="text")


def events(path: Path) -> list[object]:
    """Return the events on record, proved."""
    with RecordFolder.open(path) as folder:
        plan, language = parse_plan(folder.plan, "plan"), parse_grammar(folder.grammar, "en")
        return [told.event for told in retell(folder.lines(), plan, language)]


@pytest.mark.slow
def test_killed_at_any_entry_it_goes_on_where_it_stood(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """Every number of entries: the same state is asked about, and stands after the answer."""
    for count in range(1, len(lines)):
        before = folded(lines[:count])
        if before.state in END:
            continue
        path = crashed(tmp_path / str(count), lines[:count], lines[count][: 7 * count % 300])
        asked = resume(path, judge)
        assert asked.state is State.CHECKING
        assert asked.step is before.step
        after = resume(path, judge, typed("affirm"))
        assert after.state is before.state
        same = replace(after.progress, timer=before.progress.timer)
        assert same == before.progress
        assert after.deviations == before.deviations
        with RecordFolder.open(path) as folder:
            assert list(folder.lines())[:count] == lines[:count]


def test_it_says_where_it_is_and_asks_for_the_physical_state(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """In the powder it names location, position and ports; outside it names the step."""
    language = parse_grammar(GRAMMAR, "en")
    asked = set()
    for before, after in pairwise(range(1, len(lines))):
        session = folded(lines[:after])
        if session.state in END or folded(lines[:before]).state is session.state:
            continue
        path = crashed(tmp_path / str(after), lines[:after])
        resume(path, judge)
        with RecordFolder.open(path) as folder:
            last = list(read(folder.lines()))[-1]
        effects = last.outcome["effects"]
        assert isinstance(effects, list)
        said = [e for e in effects if isinstance(e, dict) and e["do"] == "say"]
        powder = session.step in IN_POWDER
        wanted = Prompt.CHECK_IN_POWDER if powder else Prompt.CHECK_OUTSIDE
        assert [e["prompt"] for e in said] == [wanted.value]
        words = str(said[0]["text"])
        if powder:
            ports = "open" if session.step in (State.FILLING, State.CLOSING) else "closed"
            assert f"ports {ports}" in words
            assert session.position.value in words
        else:
            assert language.names[session.step.value] in words
        asked.add(wanted)
    assert len(asked) == 2


def test_the_negative_answer_voids_the_insertion(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """If things are no longer as they were, the insertion in hand is made anew."""
    count = next(n for n in range(len(lines)) if folded(lines[:n]).state is State.CLOSING)
    path = crashed(tmp_path / "a", lines[:count])
    session = resume(path, judge, typed("negative"))
    assert session.state is State.SEATING
    assert session.at.attempt == 2
    assert [d.kind for d in session.deviations] == [Kind.DISTURBED]


def test_every_torn_line_gets_on_record_even_after_more_kills(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """Tails set aside by starts that were killed before they could note it are noted later."""
    path = crashed(tmp_path / "a", lines[:9], b'{"boot":"5f')
    RecordFolder.open(path).close()  # killed after setting aside
    for tail in (b'{"boot":"6a2', b"{"):
        with (path / "record.jsonl").open("ab") as file:
            file.write(tail)
        RecordFolder.open(path).close()
    resume(path, judge)
    noted = [e for e in events(path) if isinstance(e, Resumed)]
    tails = (b'{"boot":"5f', b'{"boot":"6a2', b"{")
    assert {(e.torn_sha256, e.torn_bytes) for e in noted} == {
        (sha256(tail).hexdigest(), len(tail)) for tail in tails
    }
    resume(path, judge)
    assert [e.torn_bytes for e in events(path) if isinstance(e, Resumed)][3:] == [0]
    with (path / "record.jsonl").open("ab") as file:
        file.write(b"{")  # the same bytes torn once more
    resume(path, judge)
    assert [e.torn_bytes for e in events(path) if isinstance(e, Resumed)][4:] == [1]


def test_a_record_without_an_entry_is_opened(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """Killed before or within the first entry: the session opens, and the torn line is noted."""
    resume(crashed(tmp_path / "a", []), judge)
    assert [type(e) for e in events(tmp_path / "a")] == [Opened]
    resume(crashed(tmp_path / "b", [], lines[0][:50]), judge)
    first, second = events(tmp_path / "b")
    assert isinstance(first, Opened)
    assert isinstance(second, Resumed)
    assert second.torn_bytes == 50


def test_a_closed_changed_or_foreign_record_is_not_gone_on_with(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """Closed: nothing to do; changed or with another plan: not to be trusted."""
    with pytest.raises(RecordError, match="is closed"):
        resume(crashed(tmp_path / "a", lines), judge)
    changed = lines[3].replace(b"Mira", b"Mura")
    with pytest.raises(RecordBroken, match="Entry 4"):
        resume(crashed(tmp_path / "b", [*lines[:3], changed, lines[4]]), judge)
    path = crashed(tmp_path / "c", lines[:5])
    (path / "plan.toml").write_bytes(SMALL + b"\n# another\n")
    with pytest.raises(RecordBroken, match=r"plan\.toml is not the file that was used"):
        resume(path, judge)


def test_another_microphone_in_the_place_of_the_first_is_a_deviation(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """The same device coming back is noted only; another name opens a deviation that says so."""
    path = crashed(tmp_path / "a", lines[:9])
    session = resume(path, judge, MicrophoneBack("keyboard"))
    assert session.deviations == ()
    session = resume(path, judge, MicrophoneBack("desk array"), MicrophoneBack("desk array"))
    assert [d.kind for d in session.deviations] == [Kind.DEVICE_LOST]
    lost = [e for e in events(path) if isinstance(e, DeviceLost)]
    assert [e.reason for e in lost] == ["desk array took the place of keyboard"]


class _RenamedSpeaker(TextOnlySpeaker):
    """A loudspeaker whose device changes under it."""

    names = iter(["left", "left", "left", "right", "right", "right", "right"])
    latest = "left"

    @property
    def name(self) -> str:
        """The device of the moment."""
        self.latest = next(self.names, self.latest)
        return self.latest


def test_another_loudspeaker_in_the_place_of_the_first_is_a_deviation(
    tmp_path: Path, judge: PhraseEngine, lines: list[bytes]
) -> None:
    """A loudspeaker that opens another device when it reopens says so by its name."""
    path = crashed(tmp_path / "a", lines[:9])
    queue = SoundQueue()
    for item in (typed("say again"), typed("say again"), SoundEnded()):
        queue.put(item)
    with RecordFolder.open(path) as folder:
        setting = Setting(
            parse_grammar(GRAMMAR, "en"), judge, _RenamedSpeaker(), "keyboard", listens=False
        )
        session = LiveSession(folder, setting, queue).run()
    assert [d.detail for d in session.deviations] == ["speaker"]
    lost = [e for e in events(path) if isinstance(e, DeviceLost)]
    assert [e.reason for e in lost] == ["right took the place of left"]


class _MovedClock(SystemClock):
    """The machine's clock, set ahead or back."""

    def __init__(self, days: int) -> None:
        """Set it by so many days."""
        self._days = days

    def now(self) -> Instant:
        """Return this moment, as the wall clock shows it."""
        now = super().now()
        utc = datetime.fromisoformat(now.utc) + timedelta(days=self._days)
        return Instant(utc.strftime("%Y-%m-%dT%H:%M:%S.%fZ"), now.mono_ns)


@pytest.mark.parametrize("days", [0, 730, -1])
def test_a_clock_set_between_two_starts_is_a_deviation(
    days: int, tmp_path: Path, judge: PhraseEngine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ahead by two years or back by a day, on a machine that was not started anew."""
    monkeypatch.setattr(station, "_BOOT_ID", tmp_path / "boot")
    (tmp_path / "boot").write_text("0a1b", "ascii")
    setting = Setting(
        parse_grammar(GRAMMAR, "en"), judge, TextOnlySpeaker(), "keyboard", listens=False
    )
    for clock in (SystemClock(), _MovedClock(days)):
        queue = SoundQueue()
        queue.put(SoundEnded())
        path = tmp_path / "r"
        opening = RecordFolder.open if path.exists() else _begin
        with opening(path) as folder:
            session = LiveSession(folder, setting, queue, clock).run()
    found = [event for event in events(path) if isinstance(event, ClockStepped)]
    assert [round(float(event.seconds) / 86_400) for event in found] == [days] * bool(days)
    assert [d.kind for d in session.deviations] == [Kind.CLOCK_STEP] * bool(days)
    assert prove(open_record(path)).times.doubtful == (days > 0), "it lies ahead of now"


def _begin(path: Path) -> RecordFolder:
    return RecordFolder.create(path, SMALL, GRAMMAR)
