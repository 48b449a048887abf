"""A record is proved by folding it: forgeries with a sound chain are refused all the same."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

import pytest
from pydantic import JsonValue

from assistant import conformance
from assistant.clock import ManualClock
from assistant.conformance import fold, follow, on_time, retell, words_on_record
from assistant.errors import RecordBroken, RecordError
from assistant.grammar.language import parse_grammar
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.ports import Instant
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Heard, Meaning, Resumed
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
PLAN = parse_plan(bundled_files.read_plan("bin"), "bin")
ENGLISH = parse_grammar(bundled_files.read_grammar("en"), "en")
RESUMED = Resumed(software="s", engine="typed", microphone="none", speaker="none")

DOUBTED = Heard(
    source="voice",
    text="dies turned upward",
    decision="ask",
    reason="unclear",
    meaning=Meaning(intent=Intent.DIES_UP),
)


@cache
def genuine() -> tuple[bytes, ...]:
    """Return a genuine record with a break, a doubt, a note and a correction, to its end."""
    journal = MemoryJournal()
    quick_record(
        journal,
        ManualClock(START),
        bundled_files.read_plan("bin"),
        bundled_files.read_grammar("en"),
        departures=[
            Departure(State.FILLING, RESUMED, visit=2),
            Departure(State.INVERTING, DOUBTED),
            Departure(State.DOUBTING, Meaning(intent=Intent.NEGATIVE)),
            Departure(State.EMPTYING_TUBE, Meaning(intent=Intent.POWDER_IN_TUBE)),
            Departure(State.INSPECTING, Meaning(intent=Intent.CORRECTION)),
        ],
    )
    return tuple(journal.lines())


@dataclass(frozen=True)
class Piece:
    """What a forger may choose freely of an entry; place and hashes follow."""

    at: Instant
    boot: str
    by: str
    event: dict[str, JsonValue]
    outcome: dict[str, JsonValue]

    def but(self, **changes: Any) -> "Piece":  # noqa: ANN401 - the fields of a piece
        """Return the piece with some of it changed."""
        return Piece(**{**vars(self), **changes})


def pieces() -> list[Piece]:
    """Take the genuine record apart."""
    return [
        Piece(Instant(e.utc, int(e.mono)), e.boot, e.by, dict(e.event), dict(e.outcome))
        for e in read(genuine())
    ]


def forged(parts: list[Piece]) -> list[bytes]:
    """Seal pieces into a chain that holds."""
    last: Entry | None = None
    lines = []
    for part in parts:
        last = seal(last, **vars(part))
        lines.append(line(last))
    list(read(lines))
    return lines


def place(wanted: Callable[[Piece], bool]) -> int:
    """Return the index of the first piece that is wanted."""
    return next(n for n, part in enumerate(pieces()) if wanted(part))


def meant(intent: str) -> Callable[[Piece], bool]:
    """Whether a piece is a phrase of this intent."""

    def is_it(part: Piece) -> bool:
        meaning = part.event.get("meaning")
        return isinstance(meaning, dict) and meaning["intent"] == intent

    return is_it


def refusal(parts: list[Piece]) -> str:
    """Return why forged pieces are refused."""
    with pytest.raises(RecordBroken) as caught:
        list(retell(forged(parts), PLAN, ENGLISH))
    return str(caught.value)


def test_the_genuine_record_is_told_to_its_end() -> None:
    """Every entry comes with its event and the session after it; resealing changes nothing."""
    told = list(retell(genuine(), PLAN, ENGLISH))
    assert len(told) == len(genuine())
    assert told[-1].outcome.session.state is State.CLOSED
    assert [one.entry.seq for one in told] == list(range(1, len(told) + 1))
    session, last = fold(genuine(), PLAN, ENGLISH)
    assert (session, last) == (told[-1].outcome.session, told[-1].entry)
    assert [raw.rstrip(b"\n") for raw in forged(pieces())] == list(genuine())
    assert len(list(on_time(iter(told)))) == len(told)


def test_an_empty_record_is_the_session_before_it() -> None:
    """Nothing happened and there is no last entry."""
    session, last = fold([], PLAN, ENGLISH)
    assert (session.state, last) == (State.NEW, None)


@pytest.mark.parametrize("cut", [1, 7, 40, 200])
def test_a_beginning_is_a_record(cut: int) -> None:
    """A record may break off after any entry."""
    session, last = fold(genuine()[:cut], PLAN, ENGLISH)
    assert last is not None
    assert last.seq == cut
    assert session.state.value == last.outcome["state"]


def test_two_entries_exchanged_are_refused() -> None:
    """Closed before filled cannot have happened."""
    parts = pieces()
    filled, closed = place(meant("set-filled")), place(meant("port-closed"))
    parts[filled], parts[closed] = parts[closed], parts[filled]
    message = refusal(parts)
    assert f"Entry {filled + 1} claims the state" in message
    assert "'withdrawing'" in message
    assert "'filling'" in message


@pytest.mark.parametrize("intent", ["port-open", "set-filled", "port-closed", "sampler-out"])
def test_an_entry_left_out_is_refused(intent: str) -> None:
    """What follows does not follow any more."""
    parts = pieces()
    del parts[place(meant(intent))]
    assert refusal(parts).startswith("Entry ")


def test_an_entry_said_twice_is_refused() -> None:
    """The second time, the same phrase leads somewhere else."""
    parts = pieces()
    where = place(meant("port-closed"))
    parts.insert(where, parts[where])
    assert f"Entry {where + 2} claims effects" in refusal(parts)


def test_a_wait_left_out_is_refused() -> None:
    """Without the ring of the timer, filled is too early."""
    parts = pieces()
    del parts[place(lambda part: part.event["type"] == "timer-rang")]
    assert "claims the state 'closing'; the procedure leads to 'filling'" in refusal(parts)


def test_a_state_that_was_not_reached_is_refused() -> None:
    """Names the state claimed and the one that follows."""
    parts = pieces()
    parts[2] = parts[2].but(outcome={**parts[2].outcome, "state": "closing"})
    message = refusal(parts)
    assert message.startswith("Entry 3 claims the state 'closing'; the procedure leads to ")


@pytest.mark.parametrize(
    "effects",
    [
        [],
        [{"do": "say", "prompt": "close", "text": "Turn back to close."}],
        [{"do": "close"}],
    ],
)
def test_effects_that_were_not_asked_for_are_refused(effects: list[JsonValue]) -> None:
    """Neither more nor less than the procedure wants."""
    parts = pieces()
    parts[3] = parts[3].but(outcome={**parts[3].outcome, "effects": effects})
    assert refusal(parts) == ("Entry 4 claims effects that the procedure does not ask for there.")


def test_words_that_were_not_said_are_refused() -> None:
    """The text of a prompt is the grammar's."""
    parts = pieces()
    effects = [dict(effect, text="Go home.") for effect in _effects(parts[1])]
    parts[1] = parts[1].but(outcome={**parts[1].outcome, "effects": effects})
    assert "claims effects" in refusal(parts)


def _effects(part: Piece) -> list[dict[str, JsonValue]]:
    effects = part.outcome["effects"]
    assert isinstance(effects, list)
    return [effect for effect in effects if isinstance(effect, dict)]


def test_somebody_else_s_name_is_refused() -> None:
    """Names who was operating."""
    parts = pieces()
    parts[4] = parts[4].but(by="Eve")
    assert refusal(parts) == f"Entry 5 names 'Eve' where {parts[3].by!r} was operating."


def test_a_record_is_opened_by_its_first_entry_and_once() -> None:
    """A second opening, or none, is refused."""
    parts = pieces()
    assert refusal([*parts[:3], parts[0], *parts[3:]]) == (
        "Entry 4: a record is opened once, by its first entry."
    )
    with pytest.raises(RecordError, match="Entry 1 does not say which schema"):
        list(retell(forged(parts[1:]), PLAN, ENGLISH))
    with pytest.raises(RecordBroken, match="Entry 1: a record is opened once, by its first entry"):
        list(follow(read(forged(parts[1:])), PLAN, ENGLISH))


def test_whoever_opens_must_be_an_operator_of_the_plan() -> None:
    """The witness is not, nor is a stranger."""
    parts = pieces()
    witness = next(p.name for p in PLAN.people if p.role == "witness")
    for name in (witness, "Eve"):
        strange = parts[0].but(event={**parts[0].event, "operator": name}, by=name)
        assert refusal([strange, *parts[1:]]) == (
            f"Entry 1 names {name!r}, who is no operator of the plan."
        )


def test_nothing_follows_the_end() -> None:
    """Not even an event without effect."""
    parts = pieces()
    lost = {"type": "audio-lost", "milliseconds": 50}
    closed: dict[str, JsonValue] = {"state": "closed", "effects": []}
    more = parts[-1].but(event=lost, outcome=closed)
    assert refusal([*parts, more]) == f"Entry {len(parts) + 1} follows the end of the record."


@pytest.mark.parametrize(
    ("event", "message"),
    [
        ({"type": "unheard-of"}, "Entry 2 holds no known event: input tag 'unheard-of'"),
        ({"type": "audio-lost"}, "Entry 2 holds no known event: field required."),
        ({}, "Entry 2 holds no known event: "),
        (
            {
                "type": "heard",
                "source": "text",
                "text": "x",
                "decision": "accept",
                "meaning": {"intent": "mass", "number": "-1"},
            },
            "Entry 2 holds no known event: ",
        ),
    ],
)
def test_an_unknown_event_is_refused(event: dict[str, JsonValue], message: str) -> None:
    """In one sentence that names the entry."""
    parts = pieces()
    parts[1] = parts[1].but(event=event)
    assert message in refusal(parts)


def test_a_broken_chain_is_refused_before_its_meaning() -> None:
    """The chain is checked as the lines pass."""
    lines = list(genuine())
    lines[5] = lines[6]
    with pytest.raises(RecordBroken, match="Entry 6 of the record is not sound"):
        list(retell(lines, PLAN, ENGLISH))


def test_another_plan_does_not_prove_the_record() -> None:
    """What the procedure asks for hangs on the plan."""
    other = parse_plan(full("double-cone"), "double-cone")
    people = other.model_copy(update={"people": PLAN.people})
    with pytest.raises(RecordBroken, match="claims"):
        list(retell(genuine(), people, ENGLISH))


def test_evidence_does_not_change_the_outcome() -> None:
    """Clip, scores and engine may be anything: the outcome hangs on what was understood."""
    parts = pieces()
    where = place(meant("at-depth"))
    parts[where] = parts[where].but(
        event={**parts[where].event, "engine": "another", "scores": {"a": "1"}, "clip": "b" * 64}
    )
    assert len(list(retell(forged(parts), PLAN, ENGLISH))) == len(parts)


def test_a_ring_before_its_time_is_refused() -> None:
    """The shortest filling time is proved by the clock, too."""
    parts = pieces()
    rang = place(lambda part: part.event["type"] == "timer-rang")
    opened = parts[rang - 1].at
    parts[rang] = parts[rang].but(at=Instant(opened.utc, opened.mono_ns + 1_000_000))
    with pytest.raises(RecordBroken, match="'fill-reached' rings before its time is up"):
        list(on_time(retell(forged(parts), PLAN, ENGLISH)))


def test_a_timer_that_rings_twice_is_refused() -> None:
    """Each start of a timer rings once: twice over, one ring would be a second overrun."""
    parts = pieces()
    rang = place(lambda part: part.event["type"] == "timer-rang")
    twice = forged([*parts[: rang + 1], *parts[rang:]])
    assert len(list(retell(twice, PLAN, ENGLISH))) == len(twice)
    with pytest.raises(RecordBroken, match=f"Entry {rang + 2}: the timer .* or once more"):
        list(on_time(retell(twice, PLAN, ENGLISH)))


def test_a_grammar_without_the_words_of_a_prompt_is_named_with_the_entry() -> None:
    """An older grammar may lack a prompt, but none that the record says."""
    prompts = {prompt: words for prompt, words in ENGLISH.prompts.items() if prompt != "close"}
    older = ENGLISH.model_copy(update={"prompts": prompts})
    with pytest.raises(RecordBroken, match=r"^Entry \d+: The grammar has no text for"):
        list(retell(genuine(), PLAN, older))


def test_a_ring_after_a_new_start_of_the_program_needs_its_own_timer() -> None:
    """The clock begins anew with the machine, and so do the timers."""
    parts = pieces()
    rang = place(lambda part: part.event["type"] == "timer-rang")
    later = [part.but(boot="another") for part in parts[rang:]]
    with pytest.raises(RecordBroken, match="rings before its time is up"):
        list(on_time(retell(forged([*parts[:rang], *later]), PLAN, ENGLISH)))


def test_a_clock_that_runs_back_is_refused() -> None:
    """The steady clock never does, within one start of the program."""
    parts = pieces()
    parts[6] = parts[6].but(at=parts[4].at)
    with pytest.raises(RecordBroken, match="Entry 7 was written before the one above it"):
        list(on_time(retell(forged(parts), PLAN, ENGLISH)))


@pytest.mark.parametrize("kept", [1, 2, 1024])
def test_what_is_kept_for_speed_changes_nothing(monkeypatch: pytest.MonkeyPatch, kept: int) -> None:
    """A repeated phrase is worked out once, or again when the memory was cleared."""
    parts = pieces()
    where = place(meant("dies-seated"))
    refused: dict[str, JsonValue] = {
        "type": "heard",
        "source": "voice",
        "text": "",
        "decision": "refuse",
        "reason": "no-phrase",
    }
    nothing: dict[str, JsonValue] = {"state": parts[where - 1].outcome["state"], "effects": []}
    idle = [parts[where].but(event=refused, outcome=nothing)] * 5
    monkeypatch.setattr(conformance, "MOST_KEPT", kept)
    told = list(retell(forged([*parts[:where], *idle, *parts[where:]]), PLAN, ENGLISH))
    assert len(told) == len(parts) + 5
    assert told[-1].outcome.session == fold(genuine(), PLAN, ENGLISH)[0]


def test_the_words_of_an_outcome_are_read_from_the_record() -> None:
    """One text an effect, "" where nothing is said; anything but a list is a mistake."""
    effects: list[JsonValue] = [{"effect": "say", "text": "Wait."}, {"effect": "close"}]
    assert words_on_record({"effects": effects}) == ["Wait.", ""]
    with pytest.raises(TypeError, match="list of effects"):
        words_on_record({"effects": "none"})
