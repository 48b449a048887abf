"""Codes are good once; wrong ones are slowed and counted; who comes and goes is told."""

import asyncio
import time

import pytest

from assistant.view.admission import MOST_WAITING, Admission, Refused, Visit
from tests.coroutines import finished


class Booth:
    """What the operator is told."""

    def __init__(self) -> None:
        """Nothing yet."""
        self.codes: list[str] = []
        self.visits: list[Visit] = []

    def admission(self, first_wait_s: float = 0.0, away_s: float = 0.0) -> Admission:
        """Open it."""
        return Admission(
            self.codes.append, self.visits.append, first_wait_s=first_wait_s, away_s=away_s
        )


def test_a_code_lets_one_viewer_in_and_another_code_is_issued() -> None:
    """As it is read out: small letters and blanks do not matter. The same code again does not."""
    booth = Booth()

    async def scene() -> None:
        door = booth.admission()
        typed = booth.codes[0].lower().replace("-", " ")
        token = await door.take(typed, "192.0.2.7")
        assert door.known(token)
        assert not door.known("")
        with pytest.raises(Refused):
            await door.take(booth.codes[0], "192.0.2.8")
        assert door.wrong == 1
        other = await door.take(booth.codes[1], "192.0.2.8")
        assert other != token

    finished(scene())
    assert len(set(booth.codes)) == 3
    assert booth.visits == [Visit(0, "wrong", "192.0.2.8", 1)]


@pytest.mark.parametrize("typed", ["", "-", "AAAA-AAAA", "ÀÉ" * 4, "\N{SNOWMAN}", "0" * 60])
def test_anything_else_is_a_wrong_code(typed: str) -> None:
    """Whatever letters it has."""
    booth = Booth()

    async def scene() -> None:
        door = booth.admission()
        with pytest.raises(Refused) as refusal:
            await door.take(typed, "192.0.2.7")
        assert not refusal.value.busy

    finished(scene())


def test_wrong_codes_wait_longer_each_time_one_after_the_other() -> None:
    """Ten, twenty, forty milliseconds here; asking in parallel is no faster, and soon refused."""
    booth = Booth()

    async def scene() -> list[bool]:
        door = booth.admission(first_wait_s=0.01)
        tries = [door.take("WRONG", "192.0.2.7") for _ in range(MOST_WAITING + 3)]
        ended = await asyncio.gather(*tries, return_exceptions=True)
        assert door.wrong == MOST_WAITING
        return [isinstance(each, Refused) and each.busy for each in ended]

    began = time.monotonic()
    busy = finished(scene())
    assert sum(busy) == 3
    assert time.monotonic() - began >= 0.01 + 0.02 + 0.04 + 0.08


def test_who_joined_and_left_is_told_once() -> None:
    """A reload within the grace is no leaving; wrong codes are told along."""
    booth = Booth()

    async def scene() -> None:
        door = booth.admission(away_s=0.05)
        with pytest.raises(Refused):
            await door.take("WRONG", "192.0.2.9")
        token = await door.take(booth.codes[0], "192.0.2.7")
        door.arrived(token, "192.0.2.7")
        door.went(token)
        door.arrived(token, "192.0.2.7")
        await asyncio.sleep(0.1)
        assert [visit.did for visit in booth.visits] == ["wrong", "joined"]
        door.went(token)
        await asyncio.sleep(0.1)
        door.arrived(token, "192.0.2.8")

    finished(scene())
    assert booth.visits == [
        Visit(0, "wrong", "192.0.2.9", 1),
        Visit(1, "joined", "192.0.2.7", 1),
        Visit(1, "left", "192.0.2.7", 1),
        Visit(1, "joined", "192.0.2.8", 1),
    ]
