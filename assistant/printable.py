"""Text from outside, made safe to show: nothing in it can move, hide or imitate what is printed."""

import unicodedata

__all__ = ["printable"]

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories of control, invisible, unassigned and line-breaking characters."""


def printable(text: str) -> str:
    r"""Return text on one line, each control or invisible character as its code, like \u{1b}."""
    return "".join(f"\\u{{{ord(c):x}}}" if unicodedata.category(c) in _HIDDEN else c for c in text)
