"""Sheets as laboratories send them: each is read right, or refused with the sentence that helps.

The session has four locations with two positions and one port: eight vials, 20 mg in 250 mg.
Firms, names and numbers are invented.
"""

import io
from collections.abc import Sequence

import openpyxl
import pytest

from assistant.errors import InputError
from assistant.evaluation.assay_units import Target, Unit
from assistant.evaluation.assays import Expected, Joined, join
from assistant.evaluation.sheet_import import table_from_csv, table_from_workbook
from assistant.evaluation.sheet_rows import Sheet, read_sheet
from assistant.evaluation.simulated_assays import regular_vials

TARGET = Target(label_mg=20.0, unit_mass_mg=250.0)
VIALS = [Expected(vial) for vial in regular_vials(4, 2)]
ASSAYS = (99.4, 100.1, 98.7, 99.9, 101.2, 100.6, 97.8, 99.5)  # mean 99.65, SD 1.068, RSD 1.071
PLACES = [(n, f"L{(n + 1) // 2}", 2 - n % 2) for n in range(1, 9)]


def rows(*heads: str, cells: Sequence[Sequence[object]], mark: str = ",") -> str:
    """CSV lines from headings and cells."""
    quoted = [f'"{head}"' for head in heads]
    return "".join(mark.join(map(str, row)) + "\n" for row in (quoted, *cells))


def plain(heading: str, scale: float = 1.0, key: str = "{}") -> str:
    """A sheet with two columns."""
    cells = [(key.format(n), round(a * scale, 6)) for n, a in enumerate(ASSAYS, start=1)]
    return rows("Vial", heading, cells=cells)


def joined(sheet: Sheet) -> Joined:
    """The sheet's assays at the session's vials."""
    return join(sheet, VIALS, TARGET, batch="TV2611")


def read(text: str, unit: Unit | None = None) -> Sheet:
    """A sheet from CSV text."""
    return read_sheet(table_from_csv(text, "lab.csv"), unit)


BODY = plain("Assay (% of target)")
INJECTED = [(n, a - 0.2, a + 0.2, a) for n, a in enumerate(ASSAYS, start=1)]
TWICE = [(n, i, round(a + (-0.3, 0.3)[i - 1], 1)) for n, a in enumerate(ASSAYS, 1) for i in (1, 2)]
CODES = [f"TV2611|{n}|{place}|{('bottom', 'top')[p - 1]}|1" for n, place, p in PLACES]

READ: dict[str, tuple[str, Unit | None]] = {
    "01 title rows": (f"Ostrava Analytik s.r.o.\nBatch:,TV2611\n\n{BODY}", None),
    "02 % of label claim": (plain("% of label claim"), None),
    "03 % w/w, settled": (plain("Assay % w/w", 0.08), Unit.BY_WEIGHT),
    "04 mg/g": (plain("Result [mg/g]", 0.8), None),
    "05 Potency": (plain("Potency (% LC)"), None),
    "06 Vial 1": (plain("Content, % nominal", key="Vial {}"), None),
    "07 leading zeros, hash": (plain("% Target", key="#{:03d}").replace("Vial", "Sample ID"), None),
    "08 label code": (
        rows("Label code", "% label claim", cells=list(zip(CODES, ASSAYS, strict=True))),
        None,
    ),
    "09 location and replicate": (
        rows(
            "Location",
            "Replicate",
            "Assay, % of target",
            cells=[(loc, p, a) for (_, loc, p), a in zip(PLACES, ASSAYS, strict=True)],
        ),
        None,
    ),
    "10 location, position, port": (
        rows(
            "Sampling location",
            "Shaft position",
            "Port",
            "Found (% theoretical)",
            cells=[
                (loc, ("bottom", "TOP")[p - 1], 1, a)
                for (_, loc, p), a in zip(PLACES, ASSAYS, strict=True)
            ],
        ),
        None,
    ),
    "11 injections side by side": (
        rows("Vial", "Inj. 1 (% LC)", "Inj. 2 (% LC)", "Mean (% LC)", cells=INJECTED),
        None,
    ),
    "12 injections below each other": (
        rows("Vial No.", "Injection", "% label claim", cells=TWICE),
        None,
    ),
    "13 gross and tare": (
        rows(
            "Vial",
            "Gross (g)",
            "Tare (g)",
            "Assay (mg)",
            cells=[(n, 10.85, 10.35, round(a * 0.4, 4)) for n, a in enumerate(ASSAYS, 1)],
        ),
        None,
    ),
    "14 gross, tare and net": (
        rows(
            "Vial",
            "Gross mass (mg)",
            "Tare mass (mg)",
            "Net mass (mg)",
            "Assay (mg)",
            cells=[(n, 10850, 10350, 500, round(a * 0.4, 4)) for n, a in enumerate(ASSAYS, 1)],
        ),
        None,
    ),
    "15 mean and RSD rows": (
        f"{BODY}\nMean,99.65\nSD,1.07\nRSD (%),1.07\nMin,97.8\nMax,101.2\nn,8\n",
        None,
    ),
    "16 footers": (f"{BODY}\nAnalyst: J. Kolar\nReviewed by M. Dvorak,\n", None),
    "17 decimal commas": (BODY.replace(",", ";").replace(".", ","), None),
    "18 tabs and % signs": (
        rows(
            "Vial", "Assay % LC", cells=[(n, f"{a} %") for n, a in enumerate(ASSAYS, 1)], mark="\t"
        ),
        None,
    ),
    "19 columns turned, remarks": (
        rows(
            "Remark",
            "Assay (% of claim)",
            "Lot",
            "Vial",
            cells=[("ok", a, "TV2611", n) for n, a in enumerate(ASSAYS, 1)],
        ),
        None,
    ),
    "20 mean column alone": (plain("Mean assay (% LC)"), None),
}


@pytest.mark.parametrize("name", READ)
def test_a_realistic_sheet_is_read_right(name: str) -> None:
    """Eight vials, each with its own assay."""
    found = joined(read(*READ[name]))
    assert found.problems == ()
    assert [result.assay for result in found.results] == pytest.approx(list(ASSAYS))


def workbook(**sheets: list[list[object]]) -> io.BytesIO:
    """An XLSX workbook of named sheets."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, lines in sheets.items():
        page = book.create_sheet(name)
        for line in lines:
            page.append(line)
    stream = io.BytesIO()
    book.save(stream)
    stream.seek(0)
    return stream


def test_21_a_workbook_with_several_sheets() -> None:
    """The sheet with a heading is taken; the others are named."""
    lines: list[list[object]] = [["Uniformity"], [], ["Vial", "% LC"]]
    lines += [[n, assay] for n, assay in enumerate(ASSAYS, 1)]
    stream = workbook(
        Cover=[["Ostrava Analytik s.r.o."], ["Report", 4711]],
        Results=lines,
    )
    found = read_sheet(table_from_workbook(stream, "lab.xlsx"))
    assert found.ignored == ("Uniformity", "sheet 'Cover'")
    assert [r.assay for r in joined(found).results] == list(ASSAYS)


def test_22_a_workbook_with_percent_cells() -> None:
    """A cell that shows 99.4 % holds 0.994."""
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    page.append(["Vial", "Assay (% of target)"])
    for n, assay in enumerate(ASSAYS, 1):
        page.append([n, assay / 100])
        page.cell(n + 1, 2).number_format = "0.0%"
    stream = io.BytesIO()
    book.save(stream)
    stream.seek(0)
    found = joined(read_sheet(table_from_workbook(stream, "lab.xlsx")))
    assert [result.assay for result in found.results] == pytest.approx(list(ASSAYS))


def test_only_the_column_of_origin_marks_a_sheet_as_made_up() -> None:
    """A laboratory's sheet is not."""
    text = rows("Vial", "% LC", "Origin", cells=[(1, 99, "made up by sampling-assistant")])
    assert read(text).made_up
    assert not read(BODY).made_up


def test_injections_are_kept_beside_their_mean() -> None:
    """By vial, as they stand in the sheet; an empty one does not count."""
    assert joined(read(READ["12 injections below each other"][0])).injections["1"] == (99.1, 99.7)
    text = rows("Vial", "Assay 1 (% LC)", "Assay 2 (% LC)", cells=[(1, 99.0, ""), (2, 98.0, 100.0)])
    assert joined(read(text)).injections == {"2": (98.0, 100.0)}
    text = rows("Vial", "Inj", "% LC", "Net (g)", cells=[(1, 1, 99.0, 0.4), (1, 2, "", "")])
    assert [(e.value, e.mass_mg, e.injections) for e in read(text).entries] == [(99.0, 400.0, ())]
    text = rows("Vial", "Inj", "% LC", cells=[(1, 1, 99.0), (2, 1, "")])
    assert [entry.value for entry in read(text).entries] == [99.0, None]


def test_what_is_not_used_is_named() -> None:
    """Title rows, notes and foreign columns are listed."""
    text = f"Ostrava Analytik\n{BODY}Analyst: J. Kolar\n"
    assert read(text).ignored == ("Ostrava Analytik", "Analyst: J. Kolar")


REFUSED: dict[str, tuple[str, str]] = {
    "% w/w": (plain("Assay % w/w", 0.08), "read as % by weight the mean is 99.65"),
    "a mean that is not the mean": (f"{BODY}Mean,99.05\n", "own 'Mean' is 99.05, but the assays"),
    "an RSD that is not the RSD": (f"{BODY}RSD,2.1\n", "row 10: the sheet's own 'RSD' is 2.1"),
    "gross less tare": (
        rows("Vial", "Gross (mg)", "Tare (mg)", "Net (mg)", "% LC", cells=[(1, 900, 500, 390, 99)]),
        "net mass of 390 mg, but gross less tare is 400 mg",
    ),
    "units row": (BODY.replace("\n", "\n,% LC\n", 1), "row 2: the vial has no label"),
    "injections not numbered": (
        rows("Vial", "Assay (% LC)", "Result (% LC)", cells=[(1, 99, 99)]),
        "could both be the assay",
    ),
    "injections in two units": (
        rows("Vial", "Inj 1 (% LC)", "Inj 2 (mg/g)", cells=[(1, 99, 80)]),
        "are in different units",
    ),
    "injections of two weighings": (
        rows("Vial", "Inj", "% LC", "Net (g)", cells=[(1, 1, 99, 0.4), (1, 2, 99, 0.5)]),
        "injections of vial 1 .from row 2. differ in mass",
    ),
    "no position": (
        rows("Location", "Replicate", "% LC", cells=[("L1", "", 99)]),
        "has no location or position",
    ),
    "two batches": (
        rows("Vial", "Batch", "Lot", "% LC", cells=[(1, "A", "B", 99)]),
        "columns 'Batch' and 'Lot' could both be the batch",
    ),
    "tablets": (rows("Tablet", "mg/tablet", cells=[(1, 20)]), "no heading with a vial"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_realistic_sheet_is_refused_with_its_sentence(name: str) -> None:
    """The sentence names the place and what to do."""
    text, words = REFUSED[name]
    with pytest.raises(InputError, match=words):
        joined(read(text))


@pytest.mark.parametrize(
    ("key", "unknown"),
    [
        ("ZZ9999|1|L1|bottom|1", "ZZ9999|1|L1|bottom|1"),
        ("TV2611|1|L2|bottom|1", "TV2611|1|L2|bottom|1"),
        ("TV2611|99|L1|bottom|1", "TV2611|99|L1|bottom|1"),
        ("Vial X", "Vial X"),
    ],
)
def test_a_label_of_another_vial_is_unknown(key: str, unknown: str) -> None:
    """Batch, place and number of the label's code must all be this session's."""
    assert joined(read(f"vial,% LC\n{key},99\n")).unknown == (unknown,)


def test_vial_and_location_must_agree() -> None:
    """A location of this session beside the vial is checked; a foreign word is not."""
    text = rows(
        "Vial", "Location", "% LC", cells=[(1, "L2", 99), (2, "shelf 4", 98), (3, "l2", 97)]
    )
    found = joined(read(text))
    assert found.unknown == ("1 at L2",)
    assert [result.vial for result in found.results] == ["2", "3"]


def test_a_location_may_be_called_like_a_figure() -> None:
    """'S' is a location here, with a position beside it; 'n' alone is a count."""
    text = rows(
        "Location", "Replicate", "% LC", cells=[("S", 1, 99.0), ("S", 2, 98.0), ("n", "", 2)]
    )
    assert [entry.vial for entry in read(text).entries] == ["S 1", "S 2"]


def test_figures_that_cannot_be_checked_are_left() -> None:
    """An empty cell, and a spread of one result."""
    assert len(read("vial,% LC\n1,99\nSD,0.0\nMean,\n").entries) == 1
