"""The evaluation report: what it says, and that both its forms say it the same each time."""

import json
import re
import shutil
import subprocess
import zlib
from base64 import a85decode, b64decode
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Literal

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.errors import InputError
from assistant.evaluation.simulated_assays import Truth
from assistant.journal.signing import sign
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import DeviceLost, Meaning, Resumed
from assistant.report.document_model import (
    Document,
    Facts,
    Heading,
    Picture,
    Table,
    Text,
    Verdict,
    table,
)
from assistant.report.evaluation_run import Case, EvaluationRequest, Laboratory, make_case
from assistant.report.html import html
from assistant.report.json_output import case_json
from assistant.report.pdf import pdf
from assistant.report.plots import components, drawing
from assistant.report.sections import document, in_short, verdict
from assistant.report.vial_records import RecordStudy
from assistant.testing import Departure

MakeCase = Callable[..., Case]
Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]

LATE = Departure(State.FILLING, 40.0, visit=2)
AGAIN = Departure(State.DISPOSING, Meaning(intent=Intent.INSERTION_REPEATED))
SECTIONS = [
    "What the numbers point to",
    "The study",
    "Results by location",
    "Where the samples were taken, and what was found there",
    "Acceptance schemes",
    "Variance components",
    "Sampling bias checks",
    "How often would such a blend meet the criteria?",
    "Screening, for information only",
    "How it was computed",
    "Deviations of the session",
    "Every vial",
    "Record, software and inputs",
    "Signatures under the record",
    "Methods and sources",
]


def pages_of(made: bytes, folder: Path) -> list[str]:
    """The text of each page of a PDF, as another program reads it."""
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    (folder / "r.pdf").write_bytes(made)
    told = subprocess.run([reader, str(folder / "r.pdf"), "-"], capture_output=True, check=True)
    return told.stdout.decode().split("\f")[:-1]


def words(made: Document) -> str:
    """Everything a document says, without its pictures' drawings."""
    said = [made.title, made.subtitle, made.footer]
    for block in made.blocks:
        match block:
            case Heading() | Text():
                said.append(block.text)
            case Verdict():
                said += [block.line, block.sentence, *block.asides]
            case Facts():
                said += [part for row in block.rows for part in row]
            case Table():
                said += [column.heading for column in block.columns]
                said += [cell for row in block.rows for cell in row]
                said.append(block.note)
            case Picture():
                said += [block.caption, block.describes]
    return "\n".join(said)


def section(made: Document, heading: str) -> Document:
    """The part of a document under one heading."""
    blocks = list(made.blocks)
    starts = [i for i, block in enumerate(blocks) if isinstance(block, Heading)]
    start = next(i for i in starts if getattr(blocks[i], "text", "") == heading)
    end = next((i for i in starts if i > start), len(blocks))
    return replace(made, blocks=tuple(blocks[start:end]))


def rows(made: Document, heading: str) -> list[tuple[str, ...]]:
    """All rows of all tables under one heading."""
    found = section(made, heading).blocks
    return [row for block in found if isinstance(block, Table) for row in block.rows]


class Page(HTMLParser):
    """What a browser would see: text, tags that open and close, and addresses."""

    def __init__(self, raw: bytes) -> None:
        """Read a page."""
        super().__init__()
        self.text: list[str] = []
        self.open: list[str] = []
        self.addresses: list[str] = []
        self.tags: set[str] = set()
        self.feed(raw.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag and where it points."""
        self.tags.add(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href")]
        if tag not in ("meta", "img", "col"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Every tag closes the one opened last."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note the text."""
        self.text.append(data)


def test_every_section_stands_in_its_place(case: MakeCase) -> None:
    """All that the report promises, verdict first, in a fixed order."""
    made = document(case())
    assert isinstance(made.blocks[0], Verdict)
    assert [block.text for block in made.blocks if isinstance(block, Heading)] == SECTIONS


def test_the_verdict_rests_on_its_numbers(case: MakeCase) -> None:
    """The first lines name scheme, number, places, mean and SD of the study itself."""
    found = case()
    verdict = document(found).blocks[0]
    assert isinstance(verdict, Verdict)
    summary = found.study.summary
    assert verdict.met
    assert verdict.line == "CRITERIA MET"
    assert f"30 results from 10 locations: mean {summary.mean:.2f}, SD {summary.sd:.2f}" in (
        verdict.sentence
    )
    assert verdict.asides == ("MADE-UP DATA: a rehearsal.",)
    uneven = document(case(truth=Truth(100.0, 7.0, 0.5))).blocks[0]
    assert isinstance(uneven, Verdict)
    assert (uneven.met, uneven.line) == (False, "CRITERIA NOT MET: INVESTIGATE")


def test_every_result_stands_beside_its_vial(case: MakeCase) -> None:
    """A reader can go from each vial of the record to its assay, and on to its location."""
    found = case()
    made = document(found)
    by_vial = {row[0]: row for row in rows(made, "Every vial")}
    for result in found.study.results:
        assert float(by_vial[result.vial][-1]) == pytest.approx(result.assay, abs=1e-9)
        assert by_vial[result.vial][1] == result.location
    table_rows = rows(made, "Results by location")
    assert [row[0] for row in table_rows] == [
        *(place.code for place in found.record.plan.locations),
        "all",
    ]


def test_components_show_what_was_computed(case: MakeCase) -> None:
    """Mean squares, F, components and limits are those of the study."""
    found = case()
    parts = found.study.components
    assert parts is not None
    said = words(section(document(found), "Variance components"))
    assert f"{parts.table.within:.3f}" in said
    assert f"{parts.intervals.between.lower:.3f} to {parts.intervals.between.upper:.3f}" in said
    assert "modified large-sample" in said
    assert "Graybill-Wang, one-sided" in said


def test_deviations_and_the_vials_they_touch(case: MakeCase) -> None:
    """The overrun, its disposal and reason; void vials in bold without a result."""
    found = case(LATE, AGAIN)
    made = document(found)
    (deviation,) = rows(made, "Deviations of the session")
    assert deviation[2:6] == ("overrun: middle", "C2", "2", "insertion repeated")
    assert deviation[6] == "seen and judged by the supervisor"
    vials = rows(made, "Every vial")
    void = [row for row in vials if row[8] == "void"]
    assert void
    assert all(row[-1] == "none" for row in void)
    assert next(row for row in vials if row[0] == "2")[9] == "1"
    assert next(row for row in vials if row[0] == "31")[1] == "C2 (attempt 2)"
    study = words(section(made, "The study"))
    assert "of these 1 repeated" in study


def test_what_limits_the_answer_stands_below_it(record: Record, sheet: Sheet) -> None:
    """A stopped session, vials left out, open deviations and a short design are said at once."""
    stopped = record(
        LATE,
        Departure(State.SEATING, Meaning(intent=Intent.STOP_SAMPLING), visit=4),
    )
    found = make_case(stopped, sheet(stopped), EvaluationRequest(partial=True), software="x")
    made = document(found)
    verdict = made.blocks[0]
    assert isinstance(verdict, Verdict)
    said = "\n".join(verdict.asides)
    assert "not closed; it is in state stopped" in said
    assert "Partial evaluation, as asked for. Vials not reconciled in the session: 10, 11" in said
    assert "3 locations, where at least 10 are asked for" in said
    assert "1 deviation not disposed of" in said
    assert "OPEN" in words(section(made, "Deviations of the session"))
    assert "stopped before its end" in words(section(made, "Record, software and inputs"))


def test_a_session_broken_off_says_where_it_stands(record: Record, sheet: Sheet) -> None:
    """A record that simply ends is not called stopped."""
    found = record(
        Departure(State.STOWING, DeviceLost(device="speaker", reason="dead")), until=State.COUNTING
    )
    made = document(make_case(found, sheet(found), EvaluationRequest(partial=True), software="x"))
    assert "not closed: counting" in words(section(made, "Record, software and inputs"))


def test_injections_stand_beside_their_mean(record: Record, sheet: Sheet) -> None:
    """Single determinations as sent, to one digit more in the mean; none, no section."""
    lines = "".join(f"{n},{98 + n % 3},{99.2 + n % 3}\n" for n in range(1, 31))
    assays = sheet("vial,Inj 1 (% of target),Inj 2 (% of target)\n" + lines)
    made = document(make_case(record(), assays, EvaluationRequest(), software="x"))
    shown = rows(made, "Injections")
    assert len(shown) == 30
    assert shown[0] == ("1", "99.0  100.2", "99.60")
    assert "in % of target" in words(section(made, "Injections"))
    without = document(make_case(record(), sheet(record()), EvaluationRequest(), software="x"))
    assert "Injections" not in words(without)


def test_one_result_per_location_says_what_cannot_be_told(record: Record, sheet: Sheet) -> None:
    """No components, no replicates, the curve on the SD of all; both forms are still set."""
    lines = "".join(f"{3 * n + 1},{99 + n % 3}\n" for n in range(10))
    assays = sheet("vial,assay (% of target)\n" + lines)
    found = make_case(record(), assays, EvaluationRequest(partial=True), software="x")
    made = document(found)
    assert "cannot be separated from" in words(section(made, "Variance components"))
    assert "No sample masses are known" in words(section(made, "Sampling bias checks"))
    assert "more assays needed" not in words(made)
    assert pdf(made).startswith(b"%PDF")
    assert b"true SD" not in html(made)
    with pytest.raises(ValueError, match="without replicates"), drawing():
        components(found)


def test_a_study_of_many_places_stays_readable(case: MakeCase) -> None:
    """Four ports in ten locations: no elevation with forty numbers, the farthest places as bars."""
    found = case(
        changes=[("ports_mm = [60.0]", "ports_mm = [60.0, 90.0, 120.0, 150.0]")],
        truth=Truth(100.0, 1.5, 0.8),
    )
    made = document(found)
    place = section(made, "Where the samples were taken, and what was found there").blocks[1]
    assert isinstance(place, Picture)
    assert "those farthest from the overall mean" in place.caption
    with drawing():
        figure = place.draw()
    assert len(figure.axes) == 2
    assert len(figure.axes[1].patches) == 24
    few = document(case()).blocks
    captions = [block.caption for block in few if isinstance(block, Picture)]
    assert not any("those farthest" in caption for caption in captions)
    assert figure.get_size_inches()[1] == place.height_in


def test_pictures_are_as_high_as_they_say(case: MakeCase) -> None:
    """Page breaks are worked out from the stated height."""
    for block in document(case()).blocks:
        if isinstance(block, Picture):
            with drawing():
                assert block.draw().get_size_inches()[1] == block.height_in


def test_long_lists_are_cut_at_the_top() -> None:
    """The verdict stays readable; the table of all vials has every one of them."""
    assert in_short(["a: 1, 2"]) == "a: 1, 2"
    cut = in_short([f"without an assay: {', '.join(map(str, range(200)))}", "b: 1"])
    assert len(cut) < 270
    assert cut.endswith("and more; b: 1")


def test_equal_results_are_reported_as_such(record: Record, sheet: Sheet) -> None:
    """Zero variance: no F, no REML, no screening, one indication, and both forms are set."""
    text = "vial,assay (% of target)\n" + "".join(f"{n},99\n" for n in range(1, 31))
    made = document(make_case(record(), sheet(text), EvaluationRequest(), software="x"))
    said = words(made)
    assert "All results are equal" in said
    assert "too few different results to screen" in said
    assert "Nothing in particular" not in said
    assert pdf(made).startswith(b"%PDF")
    assert html(made)


def test_nothing_to_compare_is_said(record: Record, sheet: Sheet) -> None:
    """Two locations with one result each know no factor that could be compared."""
    stopped = record(Departure(State.SEATING, Meaning(intent=Intent.STOP_SAMPLING), visit=3))
    assays = sheet("vial,assay (% of target)\n1,99\n4,101\n")
    made = document(make_case(stopped, assays, EvaluationRequest(partial=True), software="x"))
    assert "No known sampling factor varies" in words(section(made, "Sampling bias checks"))
    assert "Nothing in particular" in words(section(made, "What the numbers point to"))
    assert pdf(made).startswith(b"%PDF")


def test_unequal_and_negative_components_are_explained(record: Record, sheet: Sheet) -> None:
    """An estimate below zero is given as zero and said to be so."""
    text = "vial,assay (% of target)\n" + "".join(f"{n},{99 + n % 3}\n" for n in range(1, 31))
    made = document(make_case(record(), sheet(text), EvaluationRequest(), software="x"))
    assert "is negative and reported as zero" in words(section(made, "Variance components"))


def test_ports_bring_nested_tables(case: MakeCase) -> None:
    """With two ports the report nests ports in locations, and names ports beside places."""
    found = case(
        changes=[("ports_mm = [60.0]", "ports_mm = [60.0, 160.0]")], truth=Truth(100.0, 1.5, 0.8)
    )
    made = document(found)
    assert "Nested analysis of variance, location > port > residual" in words(made)
    assert "C2, port 2" in words(section(made, "Results by location"))
    assert pdf(made).startswith(b"%PDF")
    uneven = replace(found, study=replace(found.study, nested=tuple(
        replace(one, balanced=False, levels=tuple(replace(v, interval=None) for v in one.levels))
        for one in found.study.nested
    )))  # fmt: skip
    assert "the F tests are approximate" in words(document(uneven))


def test_signatures_are_printed_with_name_time_and_meaning(case: MakeCase) -> None:
    """21 CFR 11.50 asks for the three of them; unsigned records say so."""
    found = case()
    assert "Nobody has signed" in words(document(found))
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    signature = sign(
        found.record.last,
        name="Ines Vork",
        meaning="reviewed",
        utc="2026-03-05T09:10:11.000000Z",
        key=key,
        previous=None,
    )
    (row,) = rows(document(replace(found, signatures=(signature,))), "Signatures under the record")
    assert row[:4] == (
        "Ines Vork",
        "reviewed",
        "2026-03-05 09:10:11 UTC",
        str(found.record.last.seq),
    )


def test_without_particle_sizes_no_random_mixture_is_cited(case: MakeCase) -> None:
    """What was not computed is not among the methods."""
    changes = [
        ("active_d50_um = 35.0\n", ""),
        ("active_gsd = 1.8\n", ""),
        ("active_density_g_ml = 1.3\n", ""),
    ]
    assert "Poisson numbers" in words(document(case()))
    assert "Poisson numbers" not in words(document(case(changes=changes)))


def test_identity_is_complete(case: MakeCase) -> None:
    """Head code, last hash, hashes of plan, grammar and sheet, and both programs."""
    found = case()
    said = words(section(document(found), "Record, software and inputs"))
    opened = found.record.opened
    for part in (
        found.head,
        found.record.last.hash,
        opened.plan_sha256,
        opened.grammar_sha256,
        found.laboratory.sha256,
        opened.software,
        "sampling-assistant 9.9",
    ):
        assert part in said


@pytest.mark.slow
def test_the_same_case_gives_the_same_bytes(case: MakeCase) -> None:
    """Neither form depends on the clock, on chance or on what was set before."""
    first, second = case(LATE, AGAIN), case(LATE, AGAIN)
    one, other = document(first), document(second)
    raw = pdf(one)
    assert raw == pdf(other)
    assert html(one) == html(other)
    changed = document(case(LATE, AGAIN, truth=Truth(99.2, 1.4, 1.3)))
    assert pdf(changed) != raw
    assert html(changed) != html(one)


def test_the_page_says_what_the_document_says(case: MakeCase) -> None:
    """Every cell and line stands in the HTML; it is well formed, closed in itself, scriptless."""
    made = document(case(LATE))
    page = Page(html(made))
    assert page.open == []
    shown = " ".join("".join(page.text).split())
    for line in words(made).splitlines():
        if line not in {block.describes for block in made.blocks if isinstance(block, Picture)}:
            assert " ".join(line.split()) in shown
    assert "script" not in page.tags
    assert all(a.startswith("data:image/svg+xml;base64,") for a in page.addresses)
    assert len(page.addresses) == sum(isinstance(block, Picture) for block in made.blocks)
    for address in page.addresses:
        image = b64decode(address.partition(",")[2]).decode()
        assert "<svg" in image
        assert "<script" not in image


def test_names_from_files_cannot_become_markup(case: MakeCase) -> None:
    """A batch called like a tag is shown, in both forms, and does nothing."""
    changes = [('product = "Tarvolin', 'product = "<b>T</b> & <img src=x>$x^2$')]
    made = document(case(changes=changes))
    page = Page(html(made))
    assert "<b>T</b> & <img src=x>$x^2$ 20 mg tablets" in "".join(page.text)
    assert "x" not in page.addresses
    assert pdf(made).startswith(b"%PDF")


@pytest.mark.slow
def test_letters_beyond_latin_are_set(case: MakeCase) -> None:
    """Names in other scripts are embedded in the PDF and stand in the HTML."""
    made = document(case(changes=[("Mira Oostveld", "Łucja Ďurišová Ψ")]))
    assert "Łucja Ďurišová Ψ".encode() in html(made)
    assert b"/FontFile2" in pdf(made)


def streams(raw: bytes) -> list[bytes]:
    """Every page's drawing, unpacked."""
    found = re.findall(rb"/ASCII85Decode.*?stream\r?\n(.*?)endstream", raw, re.DOTALL)
    return [zlib.decompress(a85decode(one.strip().removesuffix(b"~>"))) for one in found]


def test_the_pdf_is_fit_for_an_archive(case: MakeCase) -> None:
    """Fonts embedded, nothing active, no picture of dots, a title, and several pages."""
    found = case()
    raw = pdf(document(found))
    ended = re.sub(r"\D", "", found.record.last.utc[:19])
    assert len(re.findall(rb"/Type /Page\b", raw)) >= 5
    assert b"/FontFile2" in raw
    assert b"/JavaScript" not in raw
    assert b"/Image" not in raw.replace(b"/ImageB", b"").replace(b"/ImageC", b"").replace(
        b"/ImageI", b""
    )
    assert b"(Evaluation: Blend uniformity" in raw
    assert raw.count(f"(D:{ended}Z)".encode()) == 2
    assert any(b" re" in stream or b" l" in stream for stream in streams(raw))


def test_a_heading_can_ask_for_a_new_page_and_a_warning_stands_out() -> None:
    """Blocks that no section uses at present are set all the same."""
    blocks = (
        Heading("one"),
        Text("a warning", "warning"),
        Heading("two", new_page=True),
        Facts((("a", "1"), ("b", "2"), ("c", "3")), columns=2),
        table([("x", 1.0, "centre")], [("1",)] * 200, bold=[0]),
        Heading("three"),
    )
    made = Document("t", "s", blocks, "f", "2026-03-04T08:05:06.000000Z")
    assert len(re.findall(rb"/Type /Page\b", pdf(made))) >= 4
    assert b'class="warning"' in html(made)
    assert b'class="new-page"' in html(made)


def test_a_break_shows_in_the_vials(case: MakeCase) -> None:
    """A port whose opening spans a restart has a dash where its seconds would be."""
    broken = Resumed(software="later", engine="typed", microphone="none", speaker="none")
    made = document(case(Departure(State.FILLING, broken)))
    first = rows(made, "Every vial")[0]
    assert first[6] == "\N{EN DASH}"


def test_made_up_data_is_marked_on_every_page(
    case: MakeCase, record: Record, sheet: Sheet, tmp_path: Path
) -> None:
    """Across each page, at its head, beside the answer, in the numbers; a live one has no mark."""
    rehearsed = case()
    mark = "MADE-UP DATA: a rehearsal"
    pages = pages_of(pdf(document(rehearsed)), tmp_path)
    assert len(pages) > 3
    assert all(mark in page for page in pages)
    assert mark in verdict(rehearsed).asides[0]
    assert f'<p class="mark">{mark}</p>'.encode() in html(document(rehearsed))
    assert json.loads(case_json(rehearsed))["made_up"] == ["a rehearsal"]

    def of_kind(kind: Literal["", "live", "typed"], *, simulated: bool = False) -> Case:
        told = record()
        assays = sheet(told)
        return make_case(
            replace(told, opened=told.opened.model_copy(update={"kind": kind})),
            replace(assays, sheet=replace(assays.sheet, made_up=simulated)),
            EvaluationRequest(),
            software="sampling-assistant 9.9",
        )

    assert document(of_kind("live")).mark == ""
    assert document(of_kind("live", simulated=True)).mark == "MADE-UP DATA: simulated assays"
    assert b'class="mark"' not in html(document(of_kind("live")))
    assert "does not say whether" in verdict(of_kind("")).asides[0]
    assert "The session was typed" in verdict(of_kind("typed")).asides[0]


def test_standards_are_quoted_for_what_they_say(case: MakeCase) -> None:
    """Edition and section, the FDA's answer, the regulation; nothing is printed from memory."""
    said = words(document(case()))
    for quoted in (
        "Of the pharmacopoeial test E2810-23, 4.3, says that it is not intended for lot release",
        "in-process testing or lot release (E2810-19, 4.5)",
        "variability by location is not significant",
        "its results should not be extrapolated to a larger population",
        "21 CFR 211.110(a)(3)",
    ):
        assert quoted in said
    assert "memory" not in said


def test_samples_of_more_than_one_dose_are_warned_about(case: MakeCase) -> None:
    """A dosage-unit scheme on samples of 1.5 doses says so on its first page, with the factor."""
    plain = case()
    said = words(document(plain))
    assert "The samples hold 1.52 to 1.74 unit doses." in said
    assert "about 1.28 times as much" in said  # root of 1.63
    assert not any("unit doses" in aside for aside in verdict(plain).asides)
    asides = verdict(case(request=EvaluationRequest(scheme="usp-905"))).asides
    assert any("usp-905 judges dosage units" in aside for aside in asides)
    unweighed = words(document(case(masses=False)))
    assert "The samples hold 1.44 to 1.86 unit doses." in unweighed
    large = [("mass_mg = 250.0", "mass_mg = 440.0")]
    single = words(document(case(changes=large)))
    assert "A larger sample averages" not in single


def test_how_the_batch_was_blended_is_said(case: MakeCase) -> None:
    """Minutes and revolutions as far as the plan states them."""
    for stated, said in (
        ("minutes = 12\nrevolutions = 180", "in a double-cone, 12 min, 180 revolutions"),
        ("revolutions = 180", "in a double-cone, 180 revolutions"),
    ):
        blended = [("[powder]", f"[blending]\n{stated}\n\n[powder]")]
        assert said in words(document(case(changes=blended)))
    assert " min" not in words(document(case())).split("in a double-cone", 1)[1][:8]


def test_stage_1_and_what_comes_next(case: MakeCase, record: Record, sheet: Sheet) -> None:
    """The vials assayed, those kept, and those to assay next where the scheme asks for more."""
    taken = record()

    def first(spread: float) -> str:
        rows = "".join(f"{n},{100 + spread * (n % 2 - 0.5):.1f}\n" for n in range(1, 31, 3))
        found = make_case(
            taken,
            sheet(f"vial,assay (% of target)\n{rows}"),
            EvaluationRequest(stage_1=True),
            software="s",
        )
        return " ".join(verdict(found).asides)

    assert "Stage 1: vials 1, 4, 7, 10" in first(2.0)
    assert "Not assayed: vials 2, 3, 5" in first(2.0)
    assert "Assay next: vials 2, 3, 5" in first(8.0)
    single = record(changes=[('kind = "triplicate"', 'kind = "single"')])
    rows = "".join(f"{n},{99 + n % 3}\n" for n in range(1, 11))
    only = make_case(
        single,
        sheet(f"vial,assay (% of target)\n{rows}"),
        EvaluationRequest(stage_1=True),
        software="s",
    )
    assert "Not assayed" not in " ".join(verdict(only).asides)
    whole = case(request=EvaluationRequest(scheme="usp-905"))
    assert "Stage 1: vials" not in " ".join(verdict(whole).asides)
    rows = "".join(f"{n},100\n" for n in range(1, 31, 3))
    ten = sheet(f"vial,assay (% of target)\n{rows}")
    with pytest.raises(InputError, match="evaluate them with --stage 1"):
        make_case(taken, ten, EvaluationRequest(), software="s")
