"""Records and evaluations for the tests of reports, made without sound and without files."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256

import pytest
from reportlab.graphics.barcode.qr import QrCodeWidget

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.evaluation.sheet_import import table_from_csv
from assistant.evaluation.sheet_rows import read_sheet
from assistant.evaluation.simulated_assays import Truth, results
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.enums import State
from assistant.report import qr_code
from assistant.report.evaluation_run import Case, EvaluationRequest, Laboratory, make_case
from assistant.report.vial_records import RecordStudy, study_of
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")

Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]
MakeCase = Callable[..., Case]


@cache
def _record(
    plan: str,
    departures: tuple[Departure, ...],
    until: State | None,
    changes: tuple[tuple[str, str]],
) -> RecordStudy:
    raw = full(plan).decode()
    for old, new in changes:
        assert old in raw
        raw = raw.replace(old, new)
    journal = MemoryJournal()
    clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
    quick_record(journal, clock, raw.encode(), GRAMMAR, departures=departures, until=until)
    read = parse_plan(raw.encode(), plan)
    return study_of(retell(journal.lines(), read, parse_grammar(GRAMMAR, "en")), read)


@pytest.fixture
def coded(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The texts of all QR codes made, in order; the codes are made all the same."""
    made: list[str] = []

    class Seen(QrCodeWidget):  # type: ignore[misc]  # the package carries no types
        """Notes what it is asked to carry."""

        def __init__(self, text: str, **measures: object) -> None:
            made.append(text)
            super().__init__(text, **measures)

    monkeypatch.setattr(qr_code, "QrCodeWidget", Seen)
    return made


@pytest.fixture
def record() -> Record:
    """Return a function that makes a record and gathers what it says."""

    def make(
        *departures: Departure,
        plan: str = "double-cone",
        until: State | None = None,
        changes: Sequence[tuple[str, str]] = (),
    ) -> RecordStudy:
        return _record(plan, departures, until, tuple(changes))

    return make


@pytest.fixture
def sheet() -> Sheet:
    """Return a function that makes a laboratory's sheet: from a text, or of a record's vials."""

    def make(
        of: RecordStudy | str, truth: Truth | None = None, seed: int = 5, *, masses: bool = True
    ) -> Laboratory:
        text = of if isinstance(of, str) else _text(of, truth or Truth(99.2, 1.4, 0.9), seed)
        if not masses:
            text = "\n".join(",".join(line.split(",")[:2]) for line in text.splitlines())
        read = read_sheet(table_from_csv(text, "lab-4711.csv"))
        return Laboratory(read, sha256(text.encode()).hexdigest())

    return make


def _text(record: RecordStudy, truth: Truth, seed: int) -> str:
    filled = [vial for vial in record.vials if vial.status.value in ("full", "short")]
    made = results(filled, truth, seed)
    rows = [
        f"{one.vial},{one.assay},{one.mass_mg or 380 + 7 * (index % 9)}"
        for index, one in enumerate(made)
    ]
    return "\n".join(["vial,assay (% of target),net mass (mg)", *rows]) + "\n"


@pytest.fixture
def case(record: Record, sheet: Sheet) -> MakeCase:
    """Return a function that evaluates a record with made-up assays."""

    def make(
        *departures: Departure,
        plan: str = "double-cone",
        changes: Sequence[tuple[str, str]] = (),
        truth: Truth | None = None,
        request: EvaluationRequest | None = None,
        masses: bool = True,
    ) -> Case:
        taken = record(*departures, plan=plan, changes=changes)
        assays = sheet(taken, truth, masses=masses)
        return make_case(
            taken, assays, request or EvaluationRequest(), software="sampling-assistant 9.9"
        )

    return make
