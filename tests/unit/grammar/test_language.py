"""A grammar file is read whole or refused with one sentence."""

import re

import pytest

from assistant.errors import GrammarError
from assistant.grammar.language import PHRASE_SLOTS, PROMPT_SLOTS, parse_grammar, recall_grammar
from assistant.grammar.rendering import sentence
from assistant.procedure.effects import Say
from assistant.procedure.enums import STEP, Intent, Kind, Prompt
from tests.unit.grammar.conftest import RAW, english

TEXT = RAW.decode()


def with_line(key: str, line: str) -> bytes:
    """Return the shipped file with the first line that begins with a key replaced."""
    return re.sub(
        rf"^{re.escape(key)} = .*$", lambda _: line, TEXT, count=1, flags=re.MULTILINE
    ).encode()


def test_the_shipped_grammar_is_complete() -> None:
    """Every meaning has its phrase, every prompt its words, every step and deviation its name."""
    language = english()
    assert set(language.phrases) == set(Intent)
    assert set(language.prompts) == set(Prompt)
    assert {state.value for state in STEP} <= set(language.names)
    assert {kind.value for kind in Kind} <= set(language.names)
    clocks = {f"clock-{hour}{half}" for hour in range(1, 13) for half in ("", "-half")}
    assert clocks | {"manway", "west-manway", "east-manway"} <= set(language.names)
    assert set(PHRASE_SLOTS) < set(Intent)
    assert set(PROMPT_SLOTS) < set(Prompt)


def test_a_byte_order_mark_and_foreign_line_ends_do_not_matter() -> None:
    """Editors leave them behind."""
    foreign = b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()
    assert parse_grammar(foreign, "x") == english()


def test_no_version_lacks_a_digit_or_a_letter() -> None:
    """Nor is a number of thousands of digits a grammar; both are told in one sentence."""
    lacking = re.sub(r'^"?5"? = .*\n', "", TEXT, count=1, flags=re.MULTILINE)
    assert lacking != TEXT
    with pytest.raises(GrammarError, match=r"\[digits\] lacks '5'; add it"):
        recall_grammar(lacking.encode(), "x")
    with pytest.raises(GrammarError, match="not valid TOML"):
        recall_grammar(b"a = " + b"9" * 5000, "x")


def test_a_grammar_with_one_sentence_for_every_sound_can_be_recalled() -> None:
    """Sound checks once had a single answer; for new work each problem needs its own."""
    text = TEXT
    older = "\n".join(line for line in text.splitlines() if not line.startswith("go_on"))
    assert recall_grammar(older.encode(), "x").sound_check.go_on is None
    with pytest.raises(GrammarError, match=r"\[sound-check\] lacks 'go_on'; add it"):
        parse_grammar(older.encode(), "x")
    with pytest.raises(GrammarError, match=r"\[sound-check\] go_on: has the slots none"):
        recall_grammar(text.replace(" To begin all the same, say: {phrase}.", "").encode(), "x")


def test_an_older_grammar_can_be_recalled_but_not_worked_with() -> None:
    """A record keeps the grammar it was made with; only what it was asked for must be there."""
    older = with_line("close", "")
    with pytest.raises(GrammarError, match="lacks 'close'"):
        parse_grammar(older, "x")
    language = recall_grammar(older, "x")
    assert sentence(language, Say(Prompt.WITHDRAW), spoken=True) == "Withdraw the sampler, closed."
    with pytest.raises(GrammarError, match="no text for 'close'"):
        sentence(language, Say(Prompt.CLOSE), spoken=True)


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"language = \xff", "x: not UTF-8 text at byte 11."),
        (b"language = ", "x: not valid TOML"),
        (b"a = " + b"[" * 3000, "x: not valid TOML"),
        (b"language = 'en'", "x: 'phrases': field required."),
        (with_line("language", 'language = "English"'), "x: 'language': "),
        (with_line("affirm", 'affirm = ""'), "x: 'phrases.affirm': "),
        (with_line("affirm", 'agree = "affirm"'), "x: 'phrases.agree"),
        (
            TEXT.replace("make a leak note", "stand by").encode(),
            "x: [near] 'stand by' has a meaning already; take it out.",
        ),
        (
            TEXT.replace("make a remark", "note {vial}").encode(),
            "x: [near] remark: has the slots vial; it needs none.",
        ),
        (with_line("affirm", ""), "x: [phrases] lacks 'affirm'; add it."),
        (with_line("close", ""), "x: [prompts] lacks 'close'; add it."),
        (with_line("7", ""), "x: [digits] lacks '7'; add it."),
        (with_line("Q", ""), "x: [letters] lacks 'Q'; add it."),
        (
            with_line("repeat", 'repeat = "Say it."'),
            "x: [sound-check] repeat: has the slots none; it needs phrase.",
        ),
        (
            with_line("port-open", 'port-open = "port is open"'),
            "x: [phrases] port-open: has the slots none; it needs position.",
        ),
        (
            with_line("at-depth", 'at-depth = "at {depth}"'),
            "x: [phrases] at-depth: has the slots depth; it needs none.",
        ),
        (
            with_line("seat", 'seat = "Seat {count} dies."'),
            "x: [prompts] seat: has the slots count; it needs count, location.",
        ),
        (with_line("open", 'open = "Open {position"'), "x: [prompts] open: "),
        (with_line("open", 'open = "Open {position:>9}"'), "a slot is a name in braces"),
        (with_line("open", 'open = "Open {position!r}"'), "a slot is a name in braces"),
        (with_line("open", 'open = "Open {}"'), "has the slots none; it needs position."),
        (
            with_line("resume", 'resume = "Stand By"'),
            "x: the phrase 'stand by' stands for two meanings; change one.",
        ),
        (with_line("4", '4 = ["Four"]'), "x: [digits] '4': 'Four' must be one word in lower case."),
        (with_line("4", '4 = ["a four"]'), "x: [digits] '4': 'a four' must be one word"),
        (with_line("4", '4 = ["five"]'), "x: [digits] 'five' stands for both 4 and 5; change one."),
    ],
)
def test_a_grammar_that_cannot_be_used_is_refused(raw: bytes, message: str) -> None:
    """The sentence names the file, the table and the key, and what is wrong."""
    with pytest.raises(GrammarError) as caught:
        parse_grammar(raw, "x")
    assert message in str(caught.value)
    assert str(caught.value).startswith("x: ")
    assert str(caught.value).endswith(".")
