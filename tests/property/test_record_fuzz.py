"""Whatever a record's folder or a plan holds, it is read or refused in one sentence, and soon.

An own mutator with fixed seeds instead of one that searches: the inputs are the same everywhere.
The records here are sealed anew after the damage, so that it passes the chain and meets what is
behind it; damage to the bytes of the chain itself is in `test_journal_fuzz.py`.
"""

import random
import time
import tomllib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import partial

import pytest
from pydantic import JsonValue

from assistant.clock import ManualClock
from assistant.conformance import on_time, retell
from assistant.errors import AssistantError, PlanError, RecordError
from assistant.grammar.language import parse_grammar, recall_grammar
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.plan.check import findings
from assistant.ports import Instant
from assistant.procedure.model import begin
from assistant.storage import bundled_files
from assistant.testing import quick_record
from tests.memory_journal import MemoryJournal

PLAN = b"[[locations]]".join(bundled_files.read_plan("double-cone").split(b"[[locations]]")[:2])
GRAMMAR = bundled_files.read_grammar("en")
LONGEST_S = 5.0
"""Processor time after which an input counts as one that hangs."""

ODD: tuple[JsonValue, ...] = (
    None,
    True,
    0,
    -1,
    2**53 - 1,
    "",
    "0",
    "-1",
    "1e9",
    "9" * 400,
    "nan",
    "{0}",
    "{position.__class__}",
    "\u0000",
    "\u202e\U0001f9ea",
    "x" * 5000,
    "heard",
    "opened",
    "filling",
    "vial-full",
    "bottom",
    [],
    [[]],
    {},
    {"type": "heard"},
    {"intent": "vial-full", "vial": 10**9},
)


def genuine() -> list[Entry]:
    """Return the entries of one insertion."""
    journal = MemoryJournal()
    quick_record(journal, ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)), PLAN, GRAMMAR)
    return list(read(journal.lines()))


def mutated(value: JsonValue, chance: random.Random) -> JsonValue:
    """Return a JSON value with one thing in it changed, lost, added or renamed."""
    if isinstance(value, dict) and value and chance.random() < 0.9:
        key = chance.choice(sorted(value))
        match chance.randrange(8):
            case 0:
                return {k: v for k, v in value.items() if k != key}
            case 1:
                return {**value, chance.choice(("type", "state", "vial", "x", "")): odd(chance)}
            case _:
                return {**value, key: mutated(value[key], chance)}
    if isinstance(value, list) and value and chance.random() < 0.8:
        place = chance.randrange(len(value))
        return [*value[:place], mutated(value[place], chance), *value[place + 1 :]]
    if isinstance(value, str) and value and chance.random() < 0.4:
        place = chance.randrange(len(value))
        return value[:place] + chance.choice(("", "-", "9", "\u00df", "}")) + value[place + 1 :]
    return odd(chance)


def odd(chance: random.Random) -> JsonValue:
    """Return a value that somebody did not think of."""
    return chance.choice(ODD)


def forged(entries: list[Entry], chance: random.Random) -> Iterator[bytes]:
    """Yield a record whose chain holds and of which one entry or two are odd."""
    last: Entry | None = None
    hit = {chance.randrange(10), chance.randrange(10)}
    for number, entry in enumerate(entries[: max(hit) + 2]):
        event, outcome, by, boot = entry.event, entry.outcome, entry.by, entry.boot
        mono = int(entry.mono)
        if number in hit:
            match chance.randrange(8):
                case 0:
                    changed = mutated(outcome, chance)
                    outcome = changed if isinstance(changed, dict) else {}
                case 1:
                    by, boot = str(odd(chance)), str(odd(chance))
                case 2:
                    mono = chance.choice((0, 10**30, mono - 1 if mono else 0))
                case 3:
                    event = chance.choice(entries).event
                case _:
                    changed = mutated(event, chance)
                    event = changed if isinstance(changed, dict) else {}
        at = Instant(entry.utc, mono)
        last = seal(last, at=at, boot=boot, by=by, event=event, outcome=outcome)
        yield line(last)


def survives(work: Callable[[], object], *allowed: type[AssistantError]) -> bool:
    """Tell whether some work was done or refused in one sentence; anything else fails the test."""
    start = time.process_time()
    try:
        work()
    except allowed as refusal:
        assert str(refusal).strip()  # noqa: PT017 - being refused is one fair answer
        assert "\n" not in str(refusal)  # noqa: PT017 - as above
        return False
    finally:
        assert time.process_time() - start < LONGEST_S
    return True


@pytest.mark.slow
def test_twenty_thousand_records_with_odd_entries() -> None:
    """The chain holds; the fold tells them or refuses them, and says why."""
    entries, chance = genuine(), random.Random(21)  # noqa: S311 - repeatable, no secret
    plan, language = parse_plan(PLAN, "plan"), parse_grammar(GRAMMAR, "grammar")

    def prove(lines: Iterator[bytes]) -> None:
        list(on_time(retell(lines, plan, language)))

    told = 0
    for _ in range(20_000):
        told += survives(partial(prove, forged(entries, chance)), RecordError)
    assert 0 < told < 10_000


MORSELS = (
    b"=", b"[", b"]]", b'"', b"'''", b"#", b"\n", b"-", b".", b"e400", b"nan", b"inf", b"\xff",
    b"9" * 5000, b"[" * 3000, b"\x00", b"{}", b"true", b"a.b.c = 1\n",
)  # fmt: skip


def slips(raw: bytes, chance: random.Random) -> bytes:
    """Return the text of a file with one to three slips of the hand in it."""
    for _ in range(chance.randrange(1, 4)):
        start = chance.randrange(len(raw))
        end = min(len(raw), start + chance.choice((0, 1, 1, 2, 8, 60)))
        put = chance.choice((b"", chance.choice(MORSELS), raw[end : end + 40]))
        raw = raw[:start] + put + raw[end:]
    return raw


VALUES = (
    b"0", b"-0.0", b"1e308", b"1e-308", b"nan", b"-inf", b"9223372036854775807", b"0.1", b"-5",
    b'""', b'"bottom"', b'"' + b"x" * 3000 + b'"', b"[]", b"[[]]", b"[1, 2, 3]", b"{}", b"true",
    b"2026-03-04", b'["bottom", "bottom"]', b"[1e308, 1e308]", b"1000000", b'"\\u0000"', b"12.5",
)  # fmt: skip


def odd_values(raw: bytes, chance: random.Random) -> bytes:
    """Return a plan with one or two values, keys or tables that nobody thought of."""
    lines = raw.split(b"\n")
    for _ in range(chance.randrange(1, 3)):
        places = [n for n, text in enumerate(lines) if b" = " in text or text.startswith(b"[")]
        place = chance.choice(places)
        key, sign, _ = lines[place].partition(b" = ")
        match chance.randrange(6):
            case 0:
                del lines[place]
            case 1:
                lines.insert(place, lines[place])
            case _:
                lines[place] = key + sign + chance.choice(VALUES) if sign else b"[study]"
    return b"\n".join(lines)


def weighed(raw: bytes) -> None:
    """Read a plan, hold it against the limits, and begin a session that follows it."""
    plan = parse_plan(raw, "plan.toml")
    findings(plan)
    begin(plan)


@pytest.mark.slow
@pytest.mark.parametrize("change", [slips, odd_values])
def test_five_thousand_plans(change: Callable[[bytes, random.Random], bytes]) -> None:
    """Text and values: a plan, or one sentence."""
    chance = random.Random(22)  # noqa: S311 - as above
    sound = [bundled_files.read_plan(name) for name in ("double-cone", "bin", "v-blender")]
    read_whole = sum(
        survives(lambda: weighed(change(chance.choice(sound), chance)), PlanError)
        for _ in range(5_000)
    )
    assert 0 < read_whole < 4_500


@pytest.mark.slow
def test_a_thousand_grammars_beside_a_record() -> None:
    """A grammar is read or refused, and so is the record that is told by it."""
    chance, plan = random.Random(23), parse_plan(PLAN, "plan")  # noqa: S311 - as above
    lines = [line(entry) for entry in genuine()]

    def told() -> None:
        language = recall_grammar(slips(GRAMMAR, chance), "grammar.toml")
        list(retell(lines, plan, language))

    told_whole = sum(survives(told, AssistantError) for _ in range(1_000))
    assert told_whole < 900


@pytest.mark.slow
def test_a_record_told_by_a_grammar_that_lacks_words() -> None:
    """Each line of phrases and prompts left out in turn: the entry that needs it is named."""
    plan, lines = parse_plan(PLAN, "plan"), [line(entry) for entry in genuine()]
    rows = GRAMMAR.split(b"\n")
    refused = 0
    for n, row in enumerate(rows):
        less = b"\n".join(rows[:n] + rows[n + 1 :])
        if b" = " not in row or not _is_toml(less):
            continue

        def told(less: bytes = less) -> None:
            list(retell(lines, plan, recall_grammar(less, "grammar.toml")))

        refused += not survives(told, AssistantError)
    assert refused > 20


def _is_toml(raw: bytes) -> bool:
    """Tell whether a file can be read at all."""
    try:
        tomllib.loads(raw.decode())
    except tomllib.TOMLDecodeError:
        return False
    return True
