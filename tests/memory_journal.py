"""A journal that lives as long as the test: the manners of a record folder, without the disk."""

from collections.abc import Iterator

from assistant.storage.appender import require_one_line


class MemoryJournal:
    """Keeps lines in memory, with the same manners as a record folder."""

    def __init__(self) -> None:
        """Start without lines."""
        self._lines: list[bytes] = []

    def append(self, line: bytes) -> None:
        """Keep one line, newline included.

        Raises:
            ValueError: not exactly one line, or longer than 1 MiB.
        """
        require_one_line(line)
        self._lines.append(line)

    def lines(self) -> Iterator[bytes]:
        """Yield the lines in order, each without its newline."""
        for line in self._lines:
            yield line[:-1]
