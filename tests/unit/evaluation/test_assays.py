"""The laboratory's sheet: what is read, what is asked about, and what is listed by name."""

import io
from datetime import date

import openpyxl
import pytest

from assistant.errors import InputError
from assistant.evaluation.assay_units import Target, Unit, percent_of_target
from assistant.evaluation.assays import Expected, State, join
from assistant.evaluation.number_parsing import Cell, Place, decimal_mark, number, text_of
from assistant.evaluation.results import Result, Vial
from assistant.evaluation.sheet_import import columns_of, table_from_csv, table_from_workbook
from assistant.evaluation.sheet_rows import Sheet, read_sheet
from assistant.evaluation.simulated_assays import Truth, regular_vials, results, sheet

PLACE = Place(2, "assay")
SITES = regular_vials(2, 2)
VIALS = [Expected(site) for site in SITES]
TARGET = Target(label_mg=25.0, unit_mass_mg=250.0)


def read(text: str, unit: Unit | None = None) -> Sheet:
    """A sheet from CSV text."""
    return read_sheet(table_from_csv(text, "lab.csv"), unit)


def workbook(*sheets: list[list[object]]) -> io.BytesIO:
    """An XLSX workbook of the given sheets."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for rows in sheets:
        page = book.create_sheet()
        for row in rows:
            page.append(row)
    stream = io.BytesIO()
    book.save(stream)
    stream.seek(0)
    return stream


@pytest.mark.parametrize(
    "text",
    [
        "vial,assay (% of target)\n1,99.4\n2,100.1\n",
        "\ufeffAssay (% of target);VIAL No.\n99,4;1\n100,1;2\n",
        "batch\tvial\tassay [% of target]\tremark\r\nB7\t1\t99.4 %\tok\r\n\r\nB7\t2\t100.1\t\r\n",
        '"vial","% target"\n"1","99,4"\n"2","100,1"\n',
        "vial,assay (% of target),\n1,99.4,\n2,100.1,,\n",
    ],
    ids=["comma", "semicolon and decimal comma", "tab", "quoted decimal comma", "empty columns"],
)
def test_the_same_two_vials_in_five_dialects(text: str) -> None:
    """Separator, order of columns, decimal mark and line ends do not matter."""
    found = read(text)
    assert [(entry.vial, entry.value) for entry in found.entries] == [("1", 99.4), ("2", 100.1)]
    assert found.unit is Unit.PERCENT


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "lab.csv is empty"),
        ("\n \n", "lab.csv is empty"),
        (",,\n", "no heading with a vial"),
        ("vial|assay (% of target)\n1|99\n", "no heading with a vial and an assay column"),
        ("vial,weight\n1,99\n", "no heading with a vial"),
        ('vial,"assay\n1,99\n', "no heading with a vial"),
        ("vial,assay (% of target)\n", "a heading but no vial"),
        ("vial,assay (% of target)\n1,99,4\n", "row 2: 3 cells under 2 headings"),
        ("vial,assay (% of target),% target\n1,99,99\n", "could both be the assay"),
        ("vial,assay (% of target),mass\n1,99,500\n", "should name its unit"),
        ("vial,assay (% of target)\n,99\n", "row 2: the vial has no label"),
        (
            "vial,assay (% of target)\n1,n.d.\n",
            "'n.d.' .row 2, column 'assay .% of target.'. is not a number",
        ),
        ("vial,assay (% of target)\n1,NaN\n", "not a number"),
        ("vial,assay (% of target)\n1,1e999\n", "not a usable number"),
        ("vial,assay (% of target)\n1,-3\n", "vial 1 .row 2. is negative"),
        ("vial,assay (% of target),mass (mg)\n1,99,0\n", "mass of vial 1 .row 2. must be above 0"),
        ("vial,assay (% of target)\n1,\n", "contains no assay"),
        ("vial;mg\n1;1,234\n", "could separate thousands or decimals"),
        ("vial;mg\n1;1.234,5\n", "more than one mark"),
        ("vial;mg\n1;24.5\n2;24,7\n", "one decimal mark in the whole file"),
    ],
)
def test_a_bad_sheet_gets_its_sentence(text: str, words: str) -> None:
    """Every way of being wrong is named, with the place."""
    with pytest.raises(InputError, match=words):
        read(text)


def test_the_unit_of_the_command_fills_in_or_agrees() -> None:
    """Without a heading's unit the command's is taken; against it, it is refused."""
    assert read("vial,assay\n1,99\n", Unit.PERCENT).unit is Unit.PERCENT
    assert read("vial,assay (mg/g)\n1,99\n", Unit.MG_PER_G).unit is Unit.MG_PER_G
    with pytest.raises(InputError, match="is in mg, not in % of target as requested"):
        read("vial,assay (mg)\n1,99\n", Unit.PERCENT)


def test_a_comma_is_clear_once_another_cell_shows_it() -> None:
    """99,123 beside 98,7 is a decimal; so is 0,998."""
    assert [e.value for e in read("vial;% lc\n1;99,123\n2;98,7\n").entries] == [99.123, 98.7]
    assert [e.value for e in read("vial;fraction of target\n1;0,998\n").entries] == [0.998]


def test_text_and_numbers_of_cells() -> None:
    """Whole floats lose their '.0', empty cells are None, truth values are no numbers."""
    assert [text_of(cell) for cell in (None, 7.0, 7.5, " a ", 3)] == ["", "7", "7.5", "a", "3"]
    assert number(" 1.5e1 % ", PLACE, ".") == 15.0
    assert number(None, PLACE, ".") is None
    assert number(4, PLACE, ",") == 4.0
    assert decimal_mark([(PLACE, 1.5), (PLACE, "text"), (PLACE, None), (PLACE, "12")]) == "."
    for bad in (True, float("nan")):
        with pytest.raises(InputError, match="is not a"):
            number(bad, PLACE, ".")


def test_a_workbook_reads_like_its_csv() -> None:
    """Numbers come as numbers; blank rows above and unused sheets do not matter."""
    rows: list[list[object]] = [
        [None],
        ["Vial", "Assay (mg/g)", "Net (g)"],
        [1, 99.4, 0.5],
        [2.0, "101,5", None],
    ]
    found = read_sheet(table_from_workbook(workbook(rows, []), "lab.xlsx"))
    assert [(e.vial, e.value, e.mass_mg) for e in found.entries] == [
        ("1", 99.4, 500.0),
        ("2", 101.5, None),
    ]


def test_bad_workbooks_get_their_sentences() -> None:
    """No workbook, an empty one, two sheets in use, no heading, a date for an assay."""
    head: list[object] = ["vial", "assay (% of target)"]
    for stream, words in (
        (io.BytesIO(b"vial,assay\n1,99\n"), "is not a readable XLSX workbook"),
        (workbook([]), "is empty"),
        (workbook([head, [1, 99]], [head, [1, 99]]), "sheets 'Sheet' and 'Sheet1' hold assays"),
        (workbook([[1, 99]]), "no sheet has a row that names"),
    ):
        with pytest.raises(InputError, match=words):
            table_from_workbook(stream, "lab.xlsx")
    with pytest.raises(InputError, match="is not a number"):
        read_sheet(table_from_workbook(workbook([head, [1, date(2026, 1, 2)]]), "lab.xlsx"))


def test_unused_columns_are_named() -> None:
    """What is not used is listed, so that nothing vanishes silently."""
    found = columns_of(
        table_from_csv("vial,assay (% of target),analyst,mass (lb)\n1,99,X,1\n", "lab.csv")
    )
    assert found.ignored == ("analyst", "mass (lb)")
    assert read("vial,assay (% of target),analyst\n1,99,X\n").ignored == ("analyst",)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("% by weight", Unit.BY_WEIGHT),
        ("Assay, % of target", Unit.PERCENT),
        ("content_mg/g", Unit.MG_PER_G),
        ("Found [mg]", Unit.MG),
        ("mg/g", Unit.MG_PER_G),
        ("% LC", Unit.PERCENT),
        ("Result (fraction)", Unit.FRACTION),
    ],
)
def test_headings_name_their_unit_in_several_ways(heading: str, unit: Unit) -> None:
    """In brackets, after the word, or alone."""
    value = "0.99" if unit is Unit.FRACTION else "99"
    assert read(f'vial;"{heading}";net weight g\n1;{value};0.5\n').unit is unit


def test_join_gives_results_in_the_order_of_the_session() -> None:
    """Rows may come in any order; the place of each vial comes from the session."""
    joined = join(read("assay (% of target),vial\n97.0,4\n98.0,2\n99.0,3\n100.0,01\n"), VIALS)
    assert joined.problems == ()
    found = joined.require()
    assert [(r.vial, r.location, r.assay) for r in found] == [
        ("1", "L1", 100.0),
        ("2", "L1", 98.0),
        ("3", "L2", 99.0),
        ("4", "L2", 97.0),
    ]


def test_leading_zeros_are_forgiven_only_where_no_other_vial_is_meant() -> None:
    """With vials 1 and 01 in the session, 001 is unknown and 01 is itself."""
    vials = [Expected(Vial(label, "L1", 1, 1)) for label in ("1", "01", "A0")]
    joined = join(read("vial,assay (% of target)\n1,99\n01,98\n001,97\nA0,96\n"), vials)
    assert joined.unknown == ("001",)
    assert [result.assay for result in joined.results] == [99.0, 98.0, 96.0]


def test_everything_that_does_not_fit_is_listed_by_name() -> None:
    """Unknown, duplicate, foreign, missing, void and unreconciled vials, each in its list."""
    states = [State.TAKEN, State.VOID, State.UNRECONCILED, State.TAKEN]
    vials = [Expected(site, state) for site, state in zip(SITES, states, strict=True)]
    text = "vial,assay (% of target),lot\n1,99,B1\n1,98,B1\n2,97,B1\n9,96,B1\n4,95,B2\n3,94,\n"
    joined = join(read(text), vials, batch="B1")
    assert joined.problems == (
        "unknown to the session: 9",
        "more than once in the sheet: 1",
        "of another batch: 4 (B2)",
        "without an assay: 4",
        "void in the session but assayed: 2",
        "not reconciled in the session: 3",
    )
    with pytest.raises(InputError, match=r"unknown to the session: 9.*correct the sheet"):
        joined.require(partial=True)


def test_a_partial_evaluation_goes_on_without_what_is_missing() -> None:
    """Missing, void and unreconciled vials stop only until the user decides."""
    states = [State.TAKEN, State.VOID, State.UNRECONCILED, State.TAKEN]
    vials = [Expected(site, state) for site, state in zip(SITES, states, strict=True)]
    joined = join(read("vial,assay (% of target)\n1,99\n2,97\n4,\n"), vials)
    with pytest.raises(InputError, match=r"without an assay: 4; void .* partial evaluation"):
        joined.require()
    assert [result.vial for result in joined.require(partial=True)] == ["1"]
    void_without_assay = join(read("vial,assay (% of target)\n1,99\n"), vials[:2])
    assert void_without_assay.problems == ()


def test_weights_come_from_session_or_sheet_and_must_agree() -> None:
    """The session's weight wins; a sheet's fills in; more than 0.5 % apart is listed."""
    weighed = Expected(Vial("1", "L1", 1, 1, mass_mg=500.0))
    bare = Expected(Vial("2", "L2", 1, 1))
    head = "vial,assay (mg),mass (mg)\n"
    joined = join(read(f"{head}1,50,502\n2,49,490\n"), [weighed, bare], TARGET)
    assert [(r.mass_mg, r.assay) for r in joined.require()] == [(500.0, 100.0), (490.0, 100.0)]
    apart = join(read(f"{head}1,50,503\n2,49,490\n"), [weighed, bare], TARGET)
    assert apart.problems == ("with different weights in session and sheet: 1",)
    assert len(apart.require(partial=True)) == 2


def test_units_become_percent_of_target() -> None:
    """25 mg in 250 mg: 100 mg/g, 0.998, 49.9 mg in 500 mg."""
    assert percent_of_target("1", 99.8, Unit.PERCENT, None, None) == 99.8
    assert percent_of_target("1", 0.998, Unit.FRACTION, None, None) == pytest.approx(99.8)
    assert percent_of_target("1", 99.8, Unit.MG_PER_G, None, TARGET) == pytest.approx(99.8)
    assert percent_of_target("1", 49.9, Unit.MG, 500.0, TARGET) == pytest.approx(99.8)


@pytest.mark.parametrize(
    ("unit", "mass", "target", "value", "words"),
    [
        (Unit.MG, 500.0, None, 50.0, "need the target content"),
        (Unit.MG, None, TARGET, 50.0, "needs the net mass"),
        (Unit.MG_PER_G, None, TARGET, 5000.0, "above 1000 %"),
        (Unit.PERCENT, None, None, 1e300, "check the unit and the typing"),
    ],
)
def test_units_that_cannot_be_converted(
    unit: Unit, mass: float | None, target: Target | None, value: float, words: str
) -> None:
    """What is missing, or impossible, is said with the vial's name."""
    with pytest.raises(InputError, match=words):
        percent_of_target("1", value, unit, mass, target)


@pytest.mark.parametrize("masses", [(0.0, 250.0), (300.0, 250.0), (float("nan"), 250.0)])
def test_a_target_is_part_of_its_unit(masses: tuple[float, float]) -> None:
    """The active weighs more than nothing and no more than the dosage unit."""
    with pytest.raises(InputError, match="cannot hold"):
        Target(*masses)


def test_a_made_up_sheet_reads_back_to_the_same_results() -> None:
    """Synthetic results survive the way through the laboratory's file."""
    places = regular_vials(3, 2, 2)
    made = results(places, Truth(), seed=7)
    vials = [Expected(each) for each in places]
    found = read(sheet(made, "B-7"))
    assert found.made_up
    assert join(found, vials, batch="B-7").require() == made


def test_cells_know_their_place() -> None:
    """Messages name row and heading."""
    assert str(PLACE) == "row 2, column 'assay'"
    cell: Cell = "1,5"
    assert decimal_mark([(PLACE, cell)]) == ","


def test_results_of_a_join_are_results() -> None:
    """The composition gets plain results."""
    (found,) = join(read("vial,assay (% of target)\n1,99\n"), VIALS[:1]).results
    assert isinstance(found, Result)
