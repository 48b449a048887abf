"""Head codes: short, spoken, safe against slips, and a witness against a shortened record."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import InputError, RecordBroken
from assistant.journal.chain import seal
from assistant.journal.entry import Entry
from assistant.journal.head_code import SYMBOLS, head_code, matches, parse, watch
from assistant.ports import Instant


def make(count: int, word: str = "heard") -> list[Entry]:
    """Return a chain of invented entries."""
    entries: list[Entry] = []
    for number in range(count):
        at = Instant("2026-03-04T05:06:07.000000Z", number)
        previous = entries[-1] if entries else None
        entries.append(seal(previous, at=at, boot="b", by="", event={"name": word}, outcome={}))
    return entries


def test_code_is_stable() -> None:
    """The same head gives the same code for ever: old codes on paper must stay good."""
    code = head_code(214, "ab" * 32)
    assert code.seq == 214
    assert code.text == "214-TPPK-E7DJ-G"
    assert code.spoken == ("two one fower, tango papa papa kilo, echo seven delta juliett, golf")


def test_code_depends_on_count_and_hash() -> None:
    """Neither alone makes the code."""
    codes = {head_code(seq, digit * 64).text[-11:] for seq in (1, 2) for digit in "ab"}
    assert len(codes) == 4


@pytest.mark.parametrize(("seq", "digest"), [(0, "0" * 64), (1, "0" * 62), (1, "zz")])
def test_no_code_for_what_is_no_head(seq: int, digest: str) -> None:
    """An empty record has no head; a hash has 64 digits."""
    with pytest.raises(ValueError, match=r"."):
        head_code(seq, digest)


def test_typing_is_forgiven_what_it_can_be() -> None:
    """Small letters, spaces and look-alikes do no harm."""
    text = head_code(101, "01" * 32).text
    tidy = (101, text)
    assert parse(text) == tidy
    assert parse(text.lower().replace("-", "  ")) == tidy
    assert parse(text.replace("-", "")) == tidy
    assert parse(text.replace("0", "o").replace("1", "l")) == tidy
    assert parse(text.replace("0", "O").replace("1", "I")) == tidy


@pytest.mark.parametrize(
    "typed", ["", "214", "7QKD-2MXA-R", "0-7QKD-2MXA-R", "A14-7QKD-2MXA-R", "214-7QKD-2MXU-R", "!"]
)
def test_what_is_no_code_is_refused(typed: str) -> None:
    """The message shows what a code looks like."""
    with pytest.raises(InputError, match=r"like 214-"):
        parse(typed)


@pytest.mark.parametrize("digest", ["00", "5a", "ff"])
def test_every_single_slip_and_every_swap_is_caught(digest: str) -> None:
    """All of them on a whole code, the count and the check character included."""
    plain = head_code(9041, digest * 32).text.replace("-", "")
    slips = {
        plain[:place] + symbol + plain[place + 1 :]
        for place in range(len(plain))
        for symbol in SYMBOLS
    }
    swaps = {
        plain[:place] + plain[place + 1] + plain[place] + plain[place + 2 :]
        for place in range(len(plain) - 1)
    }
    wrong = (slips | swaps) - {plain}
    assert len(wrong) > 31 * len(plain) - 1
    for typed in wrong:
        with pytest.raises(InputError):
            parse(typed)
    assert parse(plain)[0] == 9041


@given(st.text())
def test_parsing_never_fails_otherwise(typed: str) -> None:
    """Whatever is typed, the answer is a code or an InputError."""
    try:
        seq, text = parse(typed)
    except InputError:
        return
    assert text.startswith(f"{seq}-")


def test_truncation_is_exposed() -> None:
    """A record cut after any entry no longer meets the code of its end."""
    entries = make(6)
    code = head_code(6, entries[-1].hash).text
    assert matches(code, entries)
    assert list(watch(code, entries)) == entries
    for count in range(6):
        assert not matches(code, entries[:count])
        with pytest.raises(RecordBroken, match=f"ends at entry {count}, but .* at entry 6"):
            list(watch(code, entries[:count]))


def test_wholesale_rewriting_is_exposed() -> None:
    """A chain written anew, sound in itself, does not meet the code of the old one."""
    code = head_code(6, make(6)[-1].hash).text
    forged = make(9, word="forged")
    assert not matches(code, forged)
    with pytest.raises(RecordBroken, match=r"Entry 6 does not lead to .* written anew"):
        list(watch(code, forged))


def test_a_record_may_have_grown_since() -> None:
    """A code given at a checkpoint stays good."""
    entries = make(6)
    code = head_code(3, entries[2].hash).text
    assert matches(code, entries)
    assert list(watch(code, entries)) == entries


def test_a_mistyped_code_is_told_before_the_record_is_read() -> None:
    """Nobody waits for a long record to learn of a slip."""

    def unread() -> Iterator[Entry]:
        """Fail when asked for an entry."""
        pytest.fail("the record was read")
        yield from ()

    with pytest.raises(InputError):
        next(watch("214", unread()))
