"""Messages reach every viewer, in order; who does not take them is dropped, and nobody waits."""

import json
from collections.abc import AsyncIterator

import pytest

from assistant.view.publisher import BACKLOG, KEPT, Message, Publisher
from tests.coroutines import finished


def page(seq: int) -> Message:
    """A page that says its number."""
    return Message("state", json.dumps({"seq": seq}), seq)


async def take(stream: AsyncIterator[Message], count: int) -> list[int]:
    """The numbers of the next pages."""
    return [(await anext(stream)).seq for _ in range(count)]


def test_a_new_viewer_gets_the_newest_page_and_what_stands_beside_it() -> None:
    """And not the pages before, which it holds."""

    async def scene() -> list[tuple[str, int]]:
        publisher = Publisher()
        publisher.publish(Message("head", "{}"))
        for seq in range(1, 4):
            publisher.publish(page(seq))
        publisher.publish(Message("trouble", '{"trouble":"x"}'))
        stream = publisher.messages(-1)
        return [((m := await anext(stream)).name, m.seq) for _ in range(3)]

    assert finished(scene()) == [("state", 3), ("head", 0), ("trouble", 0)]


def test_a_viewer_who_comes_back_misses_nothing() -> None:
    """From the entry after the last one seen; then what is new."""

    async def scene() -> list[int]:
        publisher = Publisher()
        for seq in range(1, 9):
            publisher.publish(page(seq))
        stream = publisher.messages(5)
        first = await take(stream, 3)
        publisher.publish(page(9))
        return first + await take(stream, 1)

    assert finished(scene()) == [6, 7, 8, 9]


@pytest.mark.parametrize("last", [5, KEPT + 50, 10**9])
def test_too_much_missed_or_a_made_up_number_gives_the_newest_page(last: int) -> None:
    """Which is whole in itself."""

    async def scene() -> list[int]:
        publisher = Publisher()
        for seq in range(1, KEPT + 51):
            publisher.publish(page(seq))
        return await take(publisher.messages(last), 1)

    assert finished(scene()) == [KEPT + 50]


def test_a_stalled_viewer_is_dropped_and_the_others_are_served() -> None:
    """Publishing never waits: a queue that is full ends its stream."""

    async def scene() -> tuple[int, int, int, list[int]]:
        publisher = Publisher()
        stalled, quick = publisher.messages(-1), publisher.messages(-1)
        publisher.publish(page(1))
        await take(stalled, 1)
        await take(quick, 1)
        seen = []
        for seq in range(2, 2 * BACKLOG + 2):
            publisher.publish(page(seq))
            seen += await take(quick, 1)
        left = [message async for message in stalled]
        return publisher.dropped, publisher.viewers, len(left), seen

    dropped, viewers, left, seen = finished(scene())
    assert (dropped, viewers) == (1, 1)
    assert left == BACKLOG - 1
    assert seen == list(range(2, 2 * BACKLOG + 2))


def test_the_end_is_told_and_ends_the_stream() -> None:
    """After everything before it."""

    async def scene() -> list[str]:
        publisher = Publisher()
        publisher.publish(page(1))
        stream = publisher.messages(-1)
        names: list[str] = [(await anext(stream)).name]
        publisher.publish(page(2))
        publisher.close()
        return names + [message.name async for message in stream]

    assert finished(scene()) == ["state", "state", "over"]


def test_a_page_says_how_old_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that the timers of a viewer who comes late go on from now."""
    page = Message("state", '{"seq":1}', 1)
    assert page.event() == (
        b'id: 1\nevent: state\nretry: 500\ndata: {"age_ms":0,"page":{"seq":1}}\n\n'
    )
    monkeypatch.setattr(page, "made", page.made - 3.0)
    told = json.loads(page.event().decode().split("data: ")[1])
    assert told["page"] == {"seq": 1}
    assert 3000 <= told["age_ms"] < 13_000
    assert Message("head", "{}").event() == b"event: head\nretry: 500\ndata: {}\n\n"
