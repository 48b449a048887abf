"""A canvas that knows how many pages there are before it finishes the first one."""

from abc import ABC, abstractmethod
from typing import Any

from reportlab.pdfgen.canvas import Canvas

__all__ = ["NumberedCanvas"]


class NumberedCanvas(Canvas, ABC):  # type: ignore[misc]  # the package has no types
    """Keeps every page until the last is drawn, then adds to each what depends on their number."""

    def __init__(self, *given: Any, **named: Any) -> None:  # noqa: ANN401 - passed on
        """Take what a canvas takes."""
        super().__init__(*given, **named)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - the library's name
        """Keep the page until all pages exist."""
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write all pages."""
        pages = self._pages
        for number, page in enumerate(pages, start=1):
            self.__dict__.update(page)
            self.furniture(number, len(pages))
            super().showPage()
        super().save()

    @abstractmethod
    def furniture(self, number: int, count: int) -> None:
        """Draw header, footer or page number.

        Args:
            number: of the page, from 1.
            count: of all pages.
        """
