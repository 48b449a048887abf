"""Whatever comes in, a clear sentence or an answer of finite numbers comes out."""

import contextlib
import io
import json
import warnings
import zipfile
from dataclasses import asdict

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import InputError
from assistant.evaluation.assay_units import Target, Unit
from assistant.evaluation.assays import Expected, join
from assistant.evaluation.campaign import Batch, compare
from assistant.evaluation.dosage_unit_sheet import dosage_units
from assistant.evaluation.dosage_unit_study import evaluate_units
from assistant.evaluation.results import Result
from assistant.evaluation.sheet_import import table_from_csv, table_from_workbook
from assistant.evaluation.sheet_rows import read_sheet
from assistant.evaluation.simulated_assays import regular_vials
from assistant.evaluation.study import evaluate

CELLS = st.sampled_from(
    [
        "vial",
        "assay (% of target)",
        "mass (g)",
        "1",
        "02",
        "99.4",
        "99,4",
        "1,234",
        "-1",
        "",
        "n.d.",
        '"',
        "%",
    ]
)
SHEETS = st.builds(
    lambda separator, rows: "\n".join(separator.join(row) for row in rows),
    st.sampled_from([",", ";", "\t", "|"]),
    st.lists(st.lists(CELLS, min_size=1, max_size=4), max_size=5),
)
ASSAYS = st.one_of(
    st.sampled_from([0.0, 1e-6, 100.0, 999.9, 1000.0]), st.floats(1e-6, 1000.0), st.floats(99, 101)
)


def unit_rows(assays: list[str], masses: list[str]) -> st.SearchStrategy[list[tuple[str, ...]]]:
    """Rows of dosage units: location, number, assay, mass."""
    cells = (st.sampled_from(column) for column in (list("12N"), list("12x"), assays, masses))
    return st.lists(st.tuples(*cells), max_size=8, unique_by=lambda row: row[:2])


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(["% of label claim not weight-corrected", "mg/g", "mg", "%"]),
    st.one_of(
        unit_rows(["99.5", "101", "97", "80"], ["250"]),
        unit_rows(
            ["80", "99.5", "101", "0", "1e9", "", "n.d."], ["250", "249.5", "255", "0.25", ""]
        ),
    ),
)
def test_any_dosage_units_are_judged_or_refused_in_words(
    unit: str, rows: list[tuple[str, ...]]
) -> None:
    """Whatever a sheet of units holds; what is judged is finite."""
    text = f"location,tablet,assay ({unit}),mass (mg)\n" + "\n".join(map(",".join, rows))
    blend = [Result.of(vial, 100.0 + index, None) for index, vial in enumerate(regular_vials(3, 1))]
    with contextlib.suppress(InputError), warnings.catch_warnings():
        warnings.simplefilter("error")
        sheet = read_sheet(table_from_csv(text, "units.csv"))
        found = evaluate_units(dosage_units(sheet, Target(20.0, 250.0)), blend)
        json.dumps(asdict(found), allow_nan=False)


@settings(max_examples=300)
@given(st.one_of(st.text(max_size=60), SHEETS, SHEETS.map("vial,assay (% of target)\n".__add__)))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """No CSV text raises anything but an input error."""
    error: InputError | None = None
    try:
        sheet = read_sheet(table_from_csv(text, "lab.csv"))
        join(sheet, [Expected(site) for site in regular_vials(2, 1)])
    except InputError as refused:
        error = refused
    assert error is None or len(str(error)) > 20


def zipped(name: str, content: bytes) -> bytes:
    """A zip archive with one member, as a damaged workbook could be."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr(name, content)
    return stream.getvalue()


@settings(max_examples=60)
@given(
    st.one_of(
        st.binary(max_size=80),
        st.builds(
            zipped,
            st.sampled_from(["[Content_Types].xml", "xl/workbook.xml", "x"]),
            st.sampled_from([b"", b"<", b"<Types/>", b"\xff\xfe"]),
        ),
    )
)
def test_any_bytes_are_no_workbook(content: bytes) -> None:
    """Neither noise nor a zip without a workbook's parts raises anything but an input error."""
    with pytest.raises(InputError, match=r"lab\.xlsx"):
        table_from_workbook(io.BytesIO(content), "lab.xlsx")


def a_workbook() -> bytes:
    """A small workbook of a laboratory."""
    book = openpyxl.Workbook()
    for row in (["vial", "assay (% of target)"], [1, 99.4], ["2", "100,1"]):
        book.worksheets[0].append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


WORKBOOK = a_workbook()


@settings(max_examples=200)
@given(
    st.integers(0, len(WORKBOOK) - 1), st.integers(1, 255), st.integers(0, len(WORKBOOK)), st.data()
)
def test_a_damaged_workbook_is_read_whole_or_refused(
    place: int, flip: int, length: int, data: st.DataObject
) -> None:
    """A flipped byte or a lost tail gives the same table or an input error, never a crash."""
    content = bytearray(WORKBOOK)
    if data.draw(st.booleans()):
        content[place] ^= flip
    else:
        content = content[:length]
    with contextlib.suppress(InputError), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl warns of odd parts before it gives up
        assert len(table_from_workbook(io.BytesIO(bytes(content)), "lab.xlsx").rows) == 2


@st.composite
def studies(draw: st.DrawFn) -> tuple[Result, ...]:
    """Studies of up to five locations, two positions and two ports, with vials left out."""
    vials = regular_vials(draw(st.integers(2, 5)), draw(st.integers(1, 2)), draw(st.integers(1, 2)))
    kept = draw(st.lists(st.sampled_from(vials), min_size=2, unique=True))
    return tuple(
        Result.of(each, draw(ASSAYS), draw(st.one_of(st.none(), st.floats(0, 1e4))))
        for each in kept
    )


@pytest.mark.slow
@settings(max_examples=150)
@given(studies())
def test_any_study_gets_finite_numbers(made: tuple[Result, ...]) -> None:
    """Odd designs, zero spread and extreme contents end in strict JSON or in a sentence."""
    if len({result.location for result in made}) == 1:
        with pytest.raises(InputError, match="one location"):
            evaluate(made)
        return
    study = evaluate(made)
    json.dumps(asdict(study), allow_nan=False)
    assert study.summary.low <= study.summary.mean <= study.summary.high


@pytest.mark.slow
@settings(max_examples=60)
@given(st.lists(studies(), min_size=2, max_size=4))
def test_any_campaign_gets_finite_numbers(made: list[tuple[Result, ...]]) -> None:
    """Batches of different designs are compared, or refused for one that cannot be judged."""
    batches = [Batch(str(i), one) for i, one in enumerate(made)]
    if any(len({result.location for result in one}) == 1 for one in made):
        with pytest.raises(InputError, match="one location"):
            compare(batches)
        return
    campaign = compare(batches)
    json.dumps(asdict(campaign), allow_nan=False)
    assert np.all(np.isfinite([chart.centre for chart in campaign.charts]))


@given(st.sampled_from(list(Unit)), st.floats(0.01, 5.0))
def test_a_unit_asked_for_is_the_unit_used(unit: Unit, value: float) -> None:
    """A sheet without a unit takes the one asked for, whatever its size."""
    table = table_from_csv(f"vial,assay\n1,{value!r}\n", "lab.csv")
    assert read_sheet(table, unit).unit is unit
