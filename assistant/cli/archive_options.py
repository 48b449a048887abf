"""The options of `archive` and its actions."""

import os
from collections.abc import Callable
from datetime import date
from pathlib import Path

from assistant.cli.output_options import overwrite_option
from assistant.cli.record_options import Sub, authority_options

QUESTIONS = (
    "samples",
    "deviations",
    "deviation-counts",
    "unanchored",
    "unsigned",
    "doubtful-times",
    "missing",
    "die-wear",
    "plan",
    "faults",
)
"""Of `archive find`; `assistant.archive.questions` is not imported, so that --help stays fast."""


def archive_url(sub: Sub) -> None:
    """Add the database."""
    sub.add_argument(
        "--archive",
        metavar="URL",
        help="database, sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE (default: "
        "$SAMPLING_ASSISTANT_ARCHIVE, else a file in the user's folder)",
    )


def day(text: str) -> date:
    """Read a day; argparse says what is wrong with it."""
    return date.fromisoformat(text)


def _form(sub: Sub) -> None:
    sub.add_argument(
        "--as",
        dest="form",
        choices=("table", "csv", "json"),
        default="table",
        help="table: the main columns on the terminal (default); csv and json: all of them",
    )
    sub.add_argument("-o", "--output", type=Path, help="file to write instead")
    overwrite_option(sub)


def _filters(sub: Sub) -> None:
    for name, what in (
        ("product", "product, as its plans name it"),
        ("batch", "batch"),
        ("booth", "machine on which the session ran"),
        ("operator", "first operator of the session"),
        ("sampler", "identity of the sampler"),
    ):
        sub.add_argument(f"--{name}", default="", help=what)
    sub.add_argument(
        "--plan", default="", help="plan file, or the first digits of its SHA-256 (8 or more)"
    )
    for flag, dest, what in (("--from", "first", "first"), ("--to", "last", "last")):
        sub.add_argument(
            flag, dest=dest, type=day, metavar="DAY", help=f"{what} day, UTC, like 2026-03-04"
        )


def _migrate(sub: Sub) -> None:
    archive_url(sub)


def _add(sub: Sub) -> None:
    sub.add_argument(
        "records",
        nargs="*",
        metavar="RECORD[=ASSAYS]",
        help="a record's folder, with the laboratory's sheet if there is one; without any, only "
        "what waits in the queue is added",
    )
    archive_url(sub)
    _witnesses(sub)


def _rebuild(sub: Sub) -> None:
    sub.add_argument(
        "roots",
        nargs="+",
        type=Path,
        metavar="FOLDER",
        help="every record below it is added; a CSV or XLSX file beside a record, of the same "
        "name, is its sheet of assays",
    )
    archive_url(sub)
    _witnesses(sub)


def _witnesses(sub: Sub) -> None:
    """Add what vouches for records from outside, and how their sheets are read."""
    sub.add_argument("--keys", type=Path, help="folder of public keys, to check the signatures")
    sub.add_argument("--register", type=Path, help="register of the station")
    authority_options(sub)
    sub.add_argument("--partial", action="store_true", help="take sheets that lack vials")
    sub.add_argument(
        "--unit",
        choices=("% of target", "% by weight", "fraction of target", "mg", "mg/g"),
        metavar="UNIT",
        help="unit of the assays, as for `evaluate`",
    )


def _list(sub: Sub) -> None:
    archive_url(sub)
    _filters(sub)
    _form(sub)


def _find(sub: Sub) -> None:
    sub.add_argument(
        "question",
        choices=QUESTIONS,
        help="what to find; `missing` asks which sessions of a --register the archive lacks, "
        "`plan` what rests on a --plan",
    )
    archive_url(sub)
    _filters(sub)
    sub.add_argument("--kind", default="", help="kind of deviation")
    sub.add_argument(
        "--register",
        type=Path,
        action="append",
        default=[],
        help="register of a station, for `missing`; may be given several times",
    )
    _form(sub)


def _trend(sub: Sub) -> None:
    sub.add_argument("product", help="product, as its plans name it")
    archive_url(sub)
    sub.add_argument("--last", type=int, default=100, help="most batches taken (default 100)")
    sub.add_argument(
        "--rehearsals",
        action="store_true",
        help="take rehearsals and simulated assays, and nothing else",
    )
    _form(sub)


def _fleet(sub: Sub) -> None:
    archive_url(sub)
    sub.add_argument(
        "--workers",
        type=int,
        default=os.cpu_count() or 1,
        help="processes to start on this machine (default: one per processor)",
    )
    sub.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="a Dask scheduler instead, like tcp://HOST:8786; its workers need this program and "
        "the records under the same paths",
    )


def _export(sub: Sub) -> None:
    sub.add_argument("into", type=Path, help="existing folder for the dated one that is written")
    archive_url(sub)
    _filters(sub)
    sub.add_argument("--keys", type=Path, help="folder of public keys, to go with the records")
    authority_options(sub)


def _page(sub: Sub) -> None:
    archive_url(sub)
    sub.add_argument("--port", type=int, default=8600, help="port of this machine (default 8600)")


def _roles(_sub: Sub) -> None:
    """No option."""


ARCHIVE_COMMANDS: tuple[tuple[str, str, str, Callable[[Sub], None]], ...] = (
    ("migrate", "archive_migrate", "make the tables, or bring them up to this version", _migrate),
    ("add", "archive_add", "add records that `verify` passes", _add),
    ("list", "archive_list", "list the records", _list),
    ("find", "archive_find", "answer a question about the records", _find),
    ("trend", "archive_trend", "show the batches of a product over time, with limits", _trend),
    ("check", "archive_check", "prove every record where it stands", _fleet),
    ("re-hear", "archive_re_hear", "hear the voice confirmations of every record again", _fleet),
    ("rebuild", "archive_rebuild", "make the index anew from the folders", _rebuild),
    ("export", "archive_export", "copy records into a dated folder with checksums", _export),
    ("page", "archive_page", "show the archive in a browser on this machine", _page),
    ("roles", "archive_roles", "print the SQL of the roles on PostgreSQL", _roles),
)
