"""Records whose every hash holds, and whose story cannot have happened: each is refused.

A forger who knows the method seals whatever he likes. The variants here put genuine entries into
another order, leave some out, tell some twice, take some from elsewhere, or claim a state that was
not reached and go on from there as the procedure would. Folding the events anew refuses each of
them, without a look at the clock; but for a timer that rings twice, which its time shows.
"""

import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import islice

import pytest
from pydantic import JsonValue

from assistant.conformance import on_time, outcome_on_record, retell
from assistant.errors import RecordBroken
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.ports import Instant
from assistant.procedure import queries
from assistant.procedure.enums import END, State
from assistant.procedure.events import dump, load
from assistant.procedure.machine import step
from assistant.procedure.model import Session
from assistant.testing import normal_answer
from tests.faults.driver import FULL, SMALL, english, plan_of, whole

MOST_ON = 60
"""Entries by which a forger goes on from a claim."""


@dataclass(frozen=True)
class Piece:
    """What a forger may choose of an entry; place and hashes follow."""

    by: str
    event: dict[str, JsonValue]
    outcome: dict[str, JsonValue]


def pieces(raw: bytes) -> list[Piece]:
    """Take a genuine record apart."""
    return [Piece(entry.by, entry.event, entry.outcome) for entry in read(whole(raw))]


def sealed(parts: Iterable[Piece], raw: bytes = SMALL) -> Iterator[bytes]:
    """Yield the lines of a chain that holds, as far as they are asked for; times are genuine."""
    last: Entry | None = None
    times = moments(raw)
    for number, part in enumerate(parts):
        at = times[min(number, len(times) - 1)]
        last = seal(last, at=at, boot="b", by=part.by, event=part.event, outcome=part.outcome)
        yield line(last)


@cache
def moments(raw: bytes) -> tuple[Instant, ...]:
    """Return when each entry of the genuine record was written."""
    return tuple(Instant(entry.utc, int(entry.mono)) for entry in read(whole(raw)))


def refused(raw: bytes, parts: Sequence[Piece]) -> str:
    """Return why a forged record is refused, "" when it is not."""
    try:
        for _ in retell(sealed(parts, raw), plan_of(raw), english()):
            pass
        for _ in on_time(retell(sealed(parts, raw), plan_of(raw), english())):
            pass
    except RecordBroken as broken:
        assert "not sound" not in str(broken)  # noqa: PT017 - without a chain this proves nothing
        return str(broken)
    return ""


@pytest.mark.parametrize("raw", [SMALL, FULL])
def test_sealing_anew_changes_nothing(raw: bytes) -> None:
    """The genuine story is accepted; what is refused below is its order."""
    assert refused(raw, pieces(raw)) == ""


@pytest.mark.slow
def test_every_exchange_omission_and_repetition_in_a_full_session_is_refused() -> None:
    """Each entry of thirty samples: swapped with its neighbour, left out, told twice."""
    genuine = pieces(FULL)
    for n in range(len(genuine) - 1):
        swapped = [*genuine[:n], genuine[n + 1], genuine[n], *genuine[n + 2 :]]
        for parts in (swapped, genuine[:n] + genuine[n + 1 :], genuine[: n + 1] + genuine[n:]):
            assert refused(FULL, parts).startswith("Entry "), n
    assert refused(FULL, [*genuine, genuine[-1]]) == (
        f"Entry {len(genuine) + 1} follows the end of the record."
    )


def shuffled(genuine: Sequence[Piece], chance: random.Random) -> list[Piece]:
    """Return a rearrangement by chance: moved, reversed, shuffled, spliced, or left out."""
    parts = list(genuine)
    start, end = sorted(chance.sample(range(len(parts) + 1), 2))
    span = parts[start:end]
    match chance.randrange(5):
        case 0:
            del parts[start:end]
            place = chance.randrange(len(parts) + 1)
            parts[place:place] = span
        case 1:
            parts[start:end] = span[::-1]
        case 2:
            chance.shuffle(span)
            parts[start:end] = span
        case 3:
            begin, stop = sorted(chance.sample(range(len(parts) + 1), 2))
            parts[start:end] = genuine[begin:stop]
        case _:
            dropped = set(chance.sample(range(len(parts) - 1), chance.randrange(1, 4)))
            parts = [part for n, part in enumerate(parts) if n not in dropped]
    return parts


@pytest.mark.slow
def test_five_thousand_rearrangements_are_refused() -> None:
    """Of one insertion; those that happen to be a beginning of the genuine story are left out."""
    genuine, chance = pieces(SMALL), random.Random(11)  # noqa: S311 - repeatable, no secret
    tried = 0
    while tried < 5000:
        parts = shuffled(genuine, chance)
        if parts == genuine[: len(parts)]:
            continue
        tried += 1
        # Without its first entry a record does not even say which schema it follows.
        assert refused(SMALL, parts).startswith("Entry "), parts


def jumped(before: Session, told: Piece, claim: State) -> Iterator[Piece]:
    """Yield an entry that claims a state, and what the procedure would make of the days after."""
    yield Piece(told.by, told.event, {**told.outcome, "state": claim.value})
    session = step(before, load(told.event)).session
    told_in = session.step
    session = replace(session, progress=replace(session.progress, state=claim, back=(told_in,)))
    chance = random.Random(1)  # noqa: S311 - as above
    for _ in range(MOST_ON):
        if session.state in END or not queries.advancing(session):
            return
        event = normal_answer(session, english(), chance)
        outcome = step(session, event)
        by = queries.answerable(session, event)
        yield Piece(by, dump(event), outcome_on_record(outcome, english()))
        session = outcome.session


@pytest.mark.slow
def test_every_false_claim_of_a_state_is_refused_where_it_stands() -> None:
    """At each entry of an insertion, each state that was not reached then."""
    genuine = pieces(SMALL)
    told = list(retell(sealed(genuine), plan_of(SMALL), english()))
    tried = 0
    for n in range(1, len(genuine)):
        for claim in set(State) - {told[n].outcome.session.state}:
            forged = jumped(told[n - 1].outcome.session, genuine[n], claim)
            found = refused(SMALL, [*genuine[:n], *islice(forged, 1), *genuine[n + 1 :]])
            assert found.startswith(f"Entry {n + 1} claims the state '{claim.value}'")
            tried += 1
    assert tried == (len(genuine) - 1) * (len(State) - 1)


def test_a_forger_goes_on_consistently() -> None:
    """What follows a claim is what the procedure makes of it: only the claim itself is false."""
    genuine = pieces(SMALL)
    told = list(retell(sealed(genuine), plan_of(SMALL), english()))
    n = next(n for n, one in enumerate(told) if one.outcome.session.state is State.SEATING)
    parts = [*genuine[:n], *jumped(told[n - 1].outcome.session, genuine[n], State.COUNTING)]
    assert len(parts) > n + 2
    assert len(list(read(sealed(parts)))) == len(parts)
    assert parts[-1].outcome["state"] == "closed"
    assert refused(SMALL, parts).startswith(f"Entry {n + 1} claims the state 'counting'")


@pytest.mark.slow
def test_every_other_object_in_a_phrase_is_refused() -> None:
    """A vial or position that was not in hand, put into each phrase that names one."""
    genuine = pieces(FULL)
    tried = 0
    for n, part in enumerate(genuine):
        meaning = part.event.get("meaning")
        if not isinstance(meaning, dict):
            continue
        for name, others in (("vial", range(1, 31)), ("position", ("bottom", "middle", "top"))):
            wrong = [x for x in others if name in meaning and x != meaning[name]][:1]
            for value in wrong:
                event = {**part.event, "meaning": {**meaning, name: value}}
                parts = [*genuine[:n], replace(part, event=event), *genuine[n + 1 :]]
                assert refused(FULL, parts).startswith(f"Entry {n + 1} claims"), (n, value)
                tried += 1
    assert tried > 60
