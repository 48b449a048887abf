"""A page over the archive: search, one record's story with its clips, trends. It only reads.

It is meant for this machine alone: whoever can reach it sees every record. No script is sent, and
the policy in every answer forbids any.
"""

import re
import threading
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from sqlalchemy import select
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from assistant.archive.database import Archive
from assistant.archive.page_story import story_of
from assistant.archive.questions import Filters, ask
from assistant.archive.tables import anchors, deviations, places, sessions, signatures, verdicts
from assistant.archive.trend import trend
from assistant.errors import AssistantError
from assistant.storage.record_reader import RecordReader
from assistant.view.wav import wav_response

__all__ = ["page"]

POLICY: Final = (
    "default-src 'none'; style-src 'self'; img-src 'self'; media-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
_MOST_ROWS: Final = 200
_LAST: Final = 50
_FIELDS: Final = ("product", "batch", "booth", "operator", "sampler")
_DAYS: Final = {"from": "first", "to": "last"}
_CLIP = re.compile(r"[0-9a-f]{64}")
_ASKED: Final = ("sessions", "unanchored", "unsigned", "doubtful-times")
_PART_OF_A_RECORD = {
    "deviations": deviations,
    "signatures": signatures,
    "anchors": anchors,
    "verdicts": verdicts,
}


def page(archive: Archive) -> Starlette:
    """Return the application.

    Args:
        archive: the index, open for reading.
    """
    pages = _Pages(archive)
    routes = [
        Route("/", pages.search),
        Route("/record/{head}", pages.record),
        Route("/record/{head}/clip/{name}.wav", pages.clip),
        Route("/trend", pages.trend),
        Route("/trend.svg", pages.picture),
        Route("/style.css", pages.style),
    ]
    # A page elsewhere must not reach this one under a name of its own (DNS rebinding).
    hosts = Middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost", "[::1]"])
    return Starlette(routes=routes, middleware=[hosts], exception_handlers={404: pages.not_found})


class _Pages:
    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._drawing = threading.Lock()
        self._templates = Environment(
            loader=PackageLoader("assistant.archive"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )

    def search(self, request: Request) -> Response:
        """Show the form and the records that fit."""
        asked = request.query_params.get("question", "sessions")
        fault, answer = "", None
        try:
            filters = _filters(request.query_params)
            answer = ask(self._archive, asked if asked in _ASKED else "sessions", filters)
        except (AssistantError, ValueError) as error:
            fault = str(error)
        rows = [] if answer is None else [_named(answer.headings, row) for row in answer.rows]
        return self._html(
            "search.html",
            title="Archive",
            rows=rows[-_MOST_ROWS:],
            count=len(rows),
            fault=fault,
            asked={name: request.query_params.get(name, "") for name in (*_FIELDS, *_DAYS)},
            question=asked,
            questions=_ASKED,
        )

    def record(self, request: Request) -> Response:
        """Show what the archive knows of a record, and its story as the folder has it."""
        head = str(request.path_params["head"])
        with self._archive.reading() as connection:
            known = connection.execute(select(sessions).where(sessions.c.head == head))
            session = known.mappings().first()
            parts = {
                name: [
                    dict(row)
                    for row in connection.execute(
                        select(table).where(table.c.head == head)
                    ).mappings()
                ]
                for name, table in _PART_OF_A_RECORD.items()
            }
        if session is None:
            return self.not_found(request, None)
        story, fault = story_of(self._folder(head))
        return self._html(
            "record.html",
            title=f"Record of batch {session['batch']}",
            session=session,
            story=story,
            fault=fault,
            parts=parts,
        )

    def clip(self, request: Request) -> Response:
        """Send a clip as WAV, proved unchanged."""
        name = str(request.path_params["name"])
        folder = self._folder(str(request.path_params["head"]))
        if folder is None or not _CLIP.fullmatch(name):
            return self.not_found(request, None)
        try:
            samples = RecordReader(folder).clip(name)
        except AssistantError:
            return self.not_found(request, None)
        response = wav_response(samples)
        response.headers.update(_HEADERS)
        return response

    def trend(self, request: Request) -> Response:
        """Show the batches of a product, live or rehearsed."""
        product = request.query_params.get("product", "")
        rehearsals = request.query_params.get("rehearsals", "") == "yes"
        found, fault = None, ""
        try:
            found = trend(self._archive, product, last=_LAST, rehearsals=rehearsals)
        except AssistantError as error:
            fault = str(error)
        return self._html(
            "trend.html",
            title=f"Trend of {product}",
            product=product,
            rehearsals=rehearsals,
            found=found,
            fault=fault,
        )

    def picture(self, request: Request) -> Response:
        """Draw the charts of a trend."""
        from assistant.report.plot_campaign import charts  # noqa: PLC0415 - loads matplotlib
        from assistant.report.plots import drawing, svg  # noqa: PLC0415 - the same

        product = request.query_params.get("product", "")
        rehearsals = request.query_params.get("rehearsals", "") == "yes"
        try:
            found = trend(self._archive, product, last=_LAST, rehearsals=rehearsals)
        except AssistantError:
            return self.not_found(request, None)
        with self._drawing, drawing():
            drawn = svg(charts(found.campaign))
        # Inside a picture a browser runs nothing and styles are the picture's own.
        headers = {
            **_HEADERS,
            "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'",
        }
        return Response(drawn, media_type="image/svg+xml", headers=headers)

    def style(self, _request: Request) -> Response:
        """Send the style sheet."""
        text = self._templates.get_template("style.css").render()
        return Response(text, media_type="text/css", headers=_HEADERS)

    def not_found(self, _request: Request, _fault: object) -> Response:
        """Say that there is nothing here."""
        return self._html("none.html", status=404, title="Nothing here")

    def _folder(self, head: str) -> Path | None:
        with self._archive.reading() as connection:
            folder = connection.scalar(
                select(places.c.folder)
                .where(places.c.head == head)
                .order_by(places.c.added_utc.desc(), places.c.folder)
            )
        return None if folder is None else Path(folder)

    def _html(self, name: str, status: int = 200, **values: object) -> HTMLResponse:
        text = self._templates.get_template(name).render(archive=self._archive.name, **values)
        return HTMLResponse(text, status_code=status, headers=_HEADERS)


def _named(headings: tuple[str, ...], row: tuple[object, ...]) -> dict[str, object]:
    return dict(zip(headings, row, strict=True))


def _filters(asked: Mapping[str, str]) -> Filters:
    """Return what a search is limited to; ValueError for a day that is none."""
    texts = {name: asked.get(name, "").strip() for name in _FIELDS}
    days = {name: date.fromisoformat(asked[key]) for key, name in _DAYS.items() if asked.get(key)}
    return Filters(**texts, **days)  # type: ignore[arg-type]  # texts and days by their names
