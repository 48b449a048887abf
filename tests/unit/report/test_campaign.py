"""Batches against each other: when they differ, and what the report of it says."""

import json
import re
from collections.abc import Callable, Sequence

import pytest

from assistant.errors import InputError
from assistant.evaluation.simulated_assays import Truth
from assistant.report.campaign import Comparison, document, make_comparison, verdict
from assistant.report.document_model import Facts, Heading, Picture, Table, Verdict
from assistant.report.evaluation_run import Laboratory
from assistant.report.html import html
from assistant.report.json_output import campaign_json
from assistant.report.pdf import pdf
from assistant.report.vial_records import RecordStudy

Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]
Compare = Callable[..., Comparison]


@pytest.fixture
def compare(record: Record, sheet: Sheet) -> Compare:
    """Return a function that compares batches of stated truths."""

    def make(
        truths: Sequence[Truth], *, significance: float = 0.05, minutes: Sequence[int] = ()
    ) -> Comparison:
        pairs = []
        for number, truth in enumerate(truths):
            changes = [("TV2611", f"TV26{number:02d}")]
            if minutes:
                said = f"minutes = {minutes[number]}\nrevolutions = {15 * minutes[number]}"
                changes.append(("[powder]", f"[blending]\n{said}\n\n[powder]"))
            taken = record(changes=changes)
            pairs.append((taken, sheet(taken, truth, 10 + number)))
        return make_comparison(pairs, partial=False, significance=significance, software="x")

    return make


ALIKE = [Truth(100.0, 0.8, 0.8)] * 4


def test_batches_of_one_truth_are_alike(compare: Compare) -> None:
    """Nothing stands out, and the verdict says so without promising more."""
    found = compare(ALIKE)
    assert found.alike
    said = verdict(found)
    assert said.met
    assert said.line == "NO DIFFERENCE BETWEEN THE BATCHES FOUND"
    assert "only a large difference can be detected" in said.sentence


def test_a_batch_with_another_mean_is_found(compare: Compare) -> None:
    """The means differ by the analysis of the location means."""
    found = compare([*ALIKE[:3], Truth(94.0, 0.8, 0.8)])
    assert not found.alike
    assert any(text.startswith("means differ") for text in found.differences)
    said = verdict(found)
    assert (said.met, said.line) == (False, "THE BATCHES DIFFER")
    assert "means differ" in said.sentence


def test_a_batch_with_another_spread_is_found(compare: Compare) -> None:
    """By the tests of spread, and by the chart of the SDs."""
    found = compare([*ALIKE[:3], Truth(100.0, 0.8, 4.0)])
    assert any("spread differ" in text for text in found.differences)
    (chart,) = [text for text in found.remarkable if text.startswith("SD within locations")]
    assert "TV2603" in chart


def test_p_values_are_adjusted_over_the_tests(compare: Compare) -> None:
    """Holm: no adjusted p is below its own, and the smallest is three times its own."""
    found = compare(ALIKE)
    pairs = [(q.p, q.adjusted) for q in found.questions]
    assert len(pairs) == 3
    assert all(p is not None and a is not None and a >= p for p, a in pairs)
    least, adjusted = min(pairs, key=lambda pair: pair[0] or 0.0)
    assert adjusted == pytest.approx(min(1.0, 3 * (least or 0.0)), rel=1e-12)


def test_batches_without_any_spread_differ_by_their_numbers(record: Record, sheet: Sheet) -> None:
    """Where every result of a batch is the same there is no F, yet the means are not alike."""
    pairs = []
    for number in (99, 101):
        taken = record(changes=[("TV2611", f"TV{number}")])
        rows = "".join(f"{n},{number}\n" for n in range(1, 31))
        pairs.append((taken, sheet(f"vial,assay (% of target)\n{rows}")))
    found = make_comparison(pairs, partial=False, significance=0.05, software="x")
    assert found.differences[0] == "means differ, with no spread inside the batches"
    assert found.questions[0].adjusted is None
    assert pdf(document(found)).startswith(b"%PDF")
    same = make_comparison(
        [pairs[0], (record(changes=[("TV2611", "TV98")]), pairs[0][1])],
        partial=False,
        significance=0.05,
        software="x",
    )
    assert same.alike


def test_a_partial_comparison_says_what_it_left_out(record: Record, sheet: Sheet) -> None:
    """Below the verdict, batch by batch."""
    first, second = record(), record(changes=[("TV2611", "TV2612")])
    rows = "".join(f"{n},{99 + n % 4}\n" for n in range(2, 31))
    pairs = [(first, sheet(f"vial,assay (% of target)\n{rows}")), (second, sheet(second))]
    with pytest.raises(InputError, match="without an assay: 1"):
        make_comparison(pairs, partial=False, significance=0.05, software="x")
    found = make_comparison(pairs, partial=True, significance=0.05, software="x")
    hint, left_out = verdict(found).asides
    assert hint.startswith("Beyond the limits of a control chart, batch mean: TV2611, TV2612.")
    assert left_out == "Partial, as asked for: batch TV2611, vials without an assay: 1."


def test_one_batch_or_a_batch_twice_is_no_campaign(record: Record, sheet: Sheet) -> None:
    """Two or more, each once."""
    pair = (record(), sheet(record()))
    for pairs, complaint in (([pair], "One batch only"), ([pair, pair], "same batch name")):
        with pytest.raises(InputError, match=complaint):
            make_comparison(pairs, partial=False, significance=0.05, software="x")


def test_the_report_shows_every_batch(compare: Compare) -> None:
    """A row, an identity and a place in the pictures for each; both forms the same each time."""
    found = compare([*ALIKE[:3], Truth(94.0, 0.8, 0.8)])
    made = document(found)
    assert isinstance(made.blocks[0], Verdict)
    batches = next(block for block in made.blocks if isinstance(block, Table))
    names = [f"TV26{n:02d}" for n in range(4)]
    assert [row[0] for row in batches.rows] == names
    facts = [block for block in made.blocks if isinstance(block, Facts)]
    assert [block.rows[0][1].partition(",")[0] for block in facts] == names
    assert sum(isinstance(block, Picture) for block in made.blocks) == 2
    assert pdf(made) == pdf(document(found))
    assert html(made) == html(document(found))
    assert len(re.findall(rb"/Type /Page\b", pdf(made))) >= 2


def test_many_batches_with_long_names_are_drawn(record: Record, sheet: Sheet) -> None:
    """Names are turned and thinned out, never dropped from the table."""
    pairs = []
    for number in range(21):
        taken = record(changes=[("TV2611", f"LONG-NAME-{number:03d}")])
        pairs.append((taken, sheet(taken, Truth(100.0, 0.8, 0.8), number)))
    found = make_comparison(pairs, partial=False, significance=0.001, software="x")
    made = document(found)
    assert pdf(made).startswith(b"%PDF")
    batches = next(block for block in made.blocks if isinstance(block, Table))
    assert len(batches.rows) == 21


def test_the_numbers_as_json(compare: Compare) -> None:
    """Means, tests and charts at full precision, with what identifies each batch."""
    found = compare(ALIKE)
    read = json.loads(campaign_json(found))
    assert read["format"] == "campaign 1"
    assert read["alike"] is True
    assert read["campaign"]["means"]["f"] == found.campaign.means.f
    assert [one["hash"] for one in read["batches"]] == [
        member.record.last.hash for member in found.members
    ]
    assert read["tests"][0]["adjusted"] == found.questions[0].adjusted


def test_a_trend_with_blending_time_is_shown(compare: Compare) -> None:
    """Longer blending, smaller spread: the ratio is in the report, the JSON and the answer."""
    truths = [Truth(100.0, sd, 0.1) for sd in (8.0, 4.0, 2.0, 1.0)]
    found = compare(truths, minutes=(5, 10, 15, 20))
    assert [(t.figure, t.factor) for t in found.trends] == [
        ("mean", "blending time"),
        ("SD of location means", "blending time"),
        ("mean", "revolutions"),
        ("SD of location means", "revolutions"),
    ]
    heads = [block.text for block in document(found).blocks if isinstance(block, Heading)]
    assert "Blending time and revolutions" in heads
    assert json.loads(campaign_json(found))["trends"][1]["r"] == found.trends[1].r
    said = verdict(found).asides
    assert any("SD of location means changes with blending time: SD x 0." in text for text in said)
    assert compare(ALIKE).trends == ()
    calm = compare(ALIKE, minutes=(10, 5, 20, 15))
    assert min(trend.p_adjusted for trend in calm.trends) > 0.05
    assert all("changes with" not in text for text in verdict(calm).asides)


def test_a_mean_that_follows_blending_is_told_in_percent(compare: Compare) -> None:
    """A batch mean has a change in % of target."""
    truths = [Truth(100.0 - n, 0.1, 0.1) for n in range(4)]
    said = verdict(compare(truths, minutes=(5, 10, 15, 20))).asides
    assert any(re.search(r"the mean changes with .*: -\d\.\d\d % of target", t) for t in said)
