"""What comes from outside cannot move, hide or imitate what is printed."""

from assistant.printable import printable


def test_nothing_hidden_is_let_through() -> None:
    """Line breaks, escape codes, direction marks and invisible letters are shown as codes."""
    assert printable("Ada\nreviewed by Ben") == "Ada\\u{a}reviewed by Ben"
    assert printable("\x1b[2J") == "\\u{1b}[2J"
    assert printable("a\u202eb\u200bc\u2028d\ud800") == "a\\u{202e}b\\u{200b}c\\u{2028}d\\u{d800}"


def test_words_stay_as_they_are() -> None:
    """Letters of any script, marks, brackets and spaces."""
    assert printable("Zoë O'Hara-Müller [/b] 王") == "Zoë O'Hara-Müller [/b] 王"
