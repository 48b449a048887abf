"""The language of a session: phrases to meanings, prompts to words, spoken digits to numbers."""

from assistant.grammar.language import Language, parse_grammar

__all__ = ["Language", "parse_grammar"]
