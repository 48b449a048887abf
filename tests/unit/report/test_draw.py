"""The picture of a plan: forms, sameness, and what it shows."""

import re
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Path2D
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox

from assistant.plan import Plan, parse_plan
from assistant.plan.insertion_geometry import insertions
from assistant.plan.new_plan import plan_of
from assistant.plan.powder_bed import bed_of
from assistant.plan.questionnaire import answers_of
from assistant.plan.vials import vials
from assistant.report import draw as module
from assistant.report.draw import Form, draw
from assistant.report.draw_sampler import sampler
from assistant.report.draw_scene import UNSAFE, Scene

PLANS = Path(__file__).parents[3] / "plans"
FORMS: dict[Form, bytes] = {"svg": b"<?xml", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}


def read(name: str, *changes: tuple[str, str]) -> Plan:
    """Read a shipped plan with pieces of its text replaced."""
    text = (PLANS / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_plan(text.encode(), name)


def page(plan: Plan, footer: str = "") -> Figure:
    """Return the page before it is turned into bytes."""
    bed = bed_of(plan)
    scene = Scene(plan, bed, insertions(plan, bed), vials(plan))
    return module._page(scene, footer)  # noqa: SLF001 - what is on the page cannot be read from its bytes


def texts(figure: Figure) -> list[str]:
    """Every text on the page."""
    found = [text.get_text() for text in figure.texts]
    for axes in figure.axes:
        found += [text.get_text() for text in axes.texts]
    return found


def reds(figure: Figure) -> tuple[int, int]:
    """How many red crosses and how many red dashed tubes the drawing views show."""
    crosses = tubes = 0
    for axes in figure.axes[:3]:
        for drawn in axes.lines:
            if drawn.get_color() == UNSAFE and drawn.get_marker() == "x":
                crosses += 1
            elif drawn.get_color() == UNSAFE and drawn.is_dashed():
                tubes += 1
    return crosses, tubes


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "form"),
    [("double-cone", "svg"), ("v-blender", "svg"), ("bin", "png"), ("double-cone", "pdf")],
)
def test_same_plan_same_bytes(name: str, form: Form) -> None:
    """Each form begins as its format wants, and a second drawing is equal byte by byte."""
    plan = read(name)
    first = draw(plan, vials(plan), form, "plan 0f3a")
    assert first.startswith(FORMS[form])
    assert first == draw(plan, vials(plan), form, "plan 0f3a")
    assert first != draw(plan, vials(plan), form, "plan 77aa")


@pytest.mark.slow
def test_no_time_in_the_bytes() -> None:
    """Neither date nor program version is written into the file."""
    plan = read("bin")
    for form in FORMS:
        raw = draw(plan, vials(plan), form)
        assert not re.search(rb"CreationDate|<dc:date>|Matplotlib v|Software", raw), form


def test_svg_is_small_enough_to_file() -> None:
    """A drawing stays under 600 kB as it is and under 120 kB packed."""
    plan = read("double-cone")
    raw = draw(plan, vials(plan), "svg")
    assert len(raw) < 600_000
    assert len(zlib.compress(raw)) < 120_000


def test_png_can_be_small() -> None:
    """At 80 pixels per inch an A4 page is 935 pixels wide and under 160 kB."""
    plan = read("v-blender")
    raw = draw(plan, vials(plan), "png", dpi=80)
    assert int.from_bytes(raw[16:20]) == 935
    assert len(raw) < 160_000


def test_page_names_study_batch_and_vials() -> None:
    """Title block, table and every vial number are on the page."""
    plan = read("double-cone")
    shown = texts(page(plan, "double-cone.toml, sha256 0f3a"))
    assert plan.study.title in shown
    assert any("TV2611" in text for text in shown)
    assert "double-cone.toml, sha256 0f3a" in shown
    numbers = {int(n) for text in shown if ": " in text for n in re.findall(r"\d+", text[4:])}
    assert set(range(1, 31)) <= numbers
    assert shown.count("fit") == 10


def test_entries_and_tilts_stand_as_they_are_told() -> None:
    """The table gives the clock, and the view from above shows where its hours lie."""
    figure = page(read("double-cone"))
    shown = texts(figure)
    assert "155 mm at 9:00" in shown
    assert "17\N{DEGREE SIGN}, tip to 9:00" in shown
    assert shown.count("in the middle") == shown.count("upright") == 2
    hours = {text.get_text(): text.get_position() for text in figure.axes[2].texts}
    assert hours["12, back"][1] > hours["3"][1] > hours["6, front"][1]
    assert hours["9"][0] < hours["12, back"][0] < hours["3"][0]


def test_fit_plan_shows_no_red() -> None:
    """Nothing is marked unsafe where all ports are safe."""
    figure = page(read("v-blender"))
    assert reds(figure) == (0, 0)
    assert not any("UNSAFE" in text for text in texts(figure))


def test_unsafe_ports_have_cues_beside_colour() -> None:
    """Red ports also carry a cross, a dashed tube and the word, in every view and the table."""
    plan = read("double-cone", ("below_surface_mm = 95.0", "depth_mm = 640.0"))
    figure = page(plan)
    assert reds(figure) == (3, 3)
    shown = texts(figure)
    assert "C2: 1, 2, 3\nUNSAFE" in shown
    assert any(text.startswith("UNFIT: port 1 lies") for text in shown)


def test_several_faults_are_counted() -> None:
    """A verdict with more than one fault ends in dots."""
    plan = read("double-cone", ("below_surface_mm = 95.0", "depth_mm = 1240.0"))
    assert any(re.match(r"UNFIT: the tip comes .* \.\.\.$", text) for text in texts(page(plan)))


def test_long_lists_are_cut() -> None:
    """Fourteen rows fit; the rest is counted, and all ports are still drawn."""
    plan = read("bin")
    places = [
        plan.locations[0].model_copy(update={"code": f"L{n}", "x_mm": -200.0 + 20 * n})
        for n in range(20)
    ]
    many = plan.model_copy(update={"locations": tuple(places)})
    figure = page(many)
    shown = texts(figure)
    assert "and 6 more locations" in shown
    assert any(text.startswith("L19: ") for text in shown)


def test_long_texts_are_shortened() -> None:
    """A description longer than its column ends in dots."""
    plan = read("bin", ('"centre, under the lid"', f'"{"centre " * 9}"'))
    assert any(text.startswith("centre") and text.endswith("...") for text in texts(page(plan)))


def test_names_with_signs_and_foreign_letters() -> None:
    """A dollar sign is no mathematics, and a script without a font does not stop the drawing."""
    plan = read("bin", ("Blend uniformity in", "$x^2$ \N{CJK UNIFIED IDEOGRAPH-65E5} &<b> in"))
    assert draw(plan, vials(plan), "svg").startswith(b"<?xml")
    assert "$x^2$" in texts(page(plan))[0]


@pytest.mark.parametrize(
    "vessel",
    [
        {"kind": "drum", "diameter_mm": 900.0, "length_mm": 1200.0},
        {"kind": "cylinder", "diameter_mm": 900.0, "height_mm": 900.0},
        {
            "kind": "conical-bin",
            "diameter_mm": 900.0,
            "outlet_diameter_mm": 200.0,
            "hopper_height_mm": 400.0,
            "cylinder_height_mm": 600.0,
        },
        {
            "kind": "trough",
            "length_mm": 1200.0,
            "diameter_mm": 700.0,
            "height_mm": 800.0,
            "shaft_diameter_mm": 70.0,
        },
    ],
    ids=lambda vessel: str(vessel["kind"]),
)
@pytest.mark.parametrize("repose", [0.0, 20.0])
def test_every_vessel_can_be_drawn(vessel: dict[str, object], repose: float) -> None:
    """The other vessels too, level and heaped."""
    dumped = read("bin").model_dump(by_alias=True)
    dumped["vessel"] = vessel
    dumped["powder"]["repose_deg"] = repose
    plan = Plan.model_validate(dumped)
    assert draw(plan, vials(plan), "png").startswith(FORMS["png"])


def test_codes_avoid_each_other() -> None:
    """Codes of ports on one spot are written beside each other, not over each other."""
    figure = page(read("double-cone"))
    above = figure.axes[2]
    codes = {place.code for place in read("double-cone").locations}
    places = {t.get_text(): t.get_position() for t in above.texts if t.get_text() in codes}
    assert places["C1"] != places["C2"]
    assert len(set(places.values())) == len(places) == 10


def crosses(line: np.ndarray, box: Bbox) -> bool:
    """Whether a line of points, shape (n, 2), pixels, passes through a box."""
    path = Path2D(line)
    return bool(path.intersects_bbox(box, filled=False))


def struck(figure: Figure) -> list[str]:
    """Texts in the views and beside the sampler that a line or the edge of a shape runs through."""
    figure.canvas.draw()
    found = []
    for axes in figure.axes[:4]:
        drawn = [np.asarray(axes.transData.transform(line.get_xydata())) for line in axes.lines]
        leaders = [t.arrow_patch for t in axes.texts if isinstance(t, Annotation)]
        for patch in [*axes.patches, *(each for each in leaders if each is not None)]:
            polygons = patch.get_path().to_polygons(patch.get_transform(), closed_only=False)
            drawn += [np.asarray(points) for points in polygons]
        for outline in axes.collections:
            if not np.any(outline.get_linewidth()):
                continue
            for path in outline.get_paths():
                polygons = path.to_polygons(axes.transData, closed_only=False)
                drawn += [np.asarray(points) for points in polygons]
        for text in axes.texts:
            inner = Text.get_window_extent(text).padded(-1.0)
            found += [text.get_text() for line in drawn if crosses(line, inner)]
    return found


def many_ports() -> Plan:
    """Ninety vials: three ports at three positions."""
    return plan_of(answers_of({"vessel": "conical-bin", "ports": "3", "fill_mass_kg": "300"}))


@pytest.mark.parametrize(
    "plan",
    [*map(read, ("double-cone", "v-blender", "bin")), many_ports()],
    ids=["double-cone", "v-blender", "bin", "many ports"],
)
def test_no_label_is_struck_through(plan: Plan) -> None:
    """Neither a sampler nor a rim, an outline or a leader runs through a word, nor the frame."""
    figure = page(plan)
    assert struck(figure) == []
    for axes in figure.axes[:3]:
        frame = axes.get_window_extent()
        for text in axes.texts:
            inner = Text.get_window_extent(text)
            assert frame.x0 < inner.x0 < inner.x1 < frame.x1, text
            assert frame.y0 < inner.y0 < inner.y1 < frame.y1, text


def test_a_struck_label_is_seen() -> None:
    """The twin: a line drawn through a code is found by the test above."""
    figure = page(read("bin"))
    above = figure.axes[2]
    (code,) = (text for text in above.texts if text.get_text() == "NE2")
    x, y = code.get_position()
    above.plot([x - 200, x + 200], [y, y])
    assert "NE2" in struck(figure)


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_both_elevations_have_one_scale(name: str) -> None:
    """A length is as long in the one as in the other, across and up."""
    south, east, *_ = page(read(name)).axes
    assert np.ptp(south.get_xlim()) == pytest.approx(np.ptp(east.get_xlim()))
    assert south.get_ylim() == pytest.approx(east.get_ylim())


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("double-cone", ["port, 60 mm from the tip", "(bottom, middle, top)", "shaft, metal"]),
        ("bin", ["ports, 60, 210 mm from the tip", "dies of 1 mL: one for each port"]),
    ],
)
def test_the_sampler_is_drawn_once_with_its_parts(name: str, pieces: list[str]) -> None:
    """Tube, shaft, ports, dies, tip, handles and scale, and a die for each port and position."""
    plan = read(name)
    shown = " | ".join(text.get_text() for text in page(plan).axes[3].texts)
    for piece in [*pieces, "tip |", "outer tube, ", "scale, steps of 5 mm", "handle"]:
        assert piece in shown
    windows = [p for p in page(plan).axes[3].patches if isinstance(p, Rectangle)]
    ports, positions = len(plan.sampler.ports_mm), len(plan.sampler.positions)
    assert len(windows) == ports * (1 + positions)


def test_many_ports_are_named_by_the_first_and_the_last() -> None:
    """Twelve ports and thirty-six dies: none lies on another."""
    plan = read(
        "double-cone", ("ports_mm = [60.0]", f"ports_mm = {[60.0 + 70 * n for n in range(12)]}")
    )
    drawn = Figure().add_subplot()
    sampler(drawn, plan.sampler)
    assert "ports, 60 to 830 mm from the tip" in [text.get_text() for text in drawn.texts]
    dies = sorted(p.get_x() for p in drawn.patches if isinstance(p, Rectangle) and p.get_y() < 30)
    assert len(dies) == 36
    assert np.diff(dies).min() > 0.3


def test_the_clock_stands_around_the_view_from_above() -> None:
    """Twelve hours, each in its direction from the middle: three to the right, six to the front."""
    above = page(read("v-blender")).axes[2]
    middle = np.array([sum(above.get_xlim()), sum(above.get_ylim())]) / 2
    hours = {12: "12, back", 6: "6, front"}
    places = {text.get_text(): np.array(text.get_position()) for text in above.texts}
    for hour in range(1, 13):
        way = places[hours.get(hour, str(hour))] - middle
        turned = np.deg2rad(30 * hour)
        wanted = np.array([np.sin(turned), np.cos(turned)])
        assert way / np.hypot(*way) == pytest.approx(wanted, abs=1e-6)


def test_drawing_leaves_settings_alone(settings_before: Callable[[], bool]) -> None:
    """No setting of matplotlib is left changed behind."""
    plan = read("bin")
    draw(plan, vials(plan), "svg")
    assert settings_before()


@pytest.fixture
def settings_before() -> Callable[[], bool]:
    """Return a function that says whether matplotlib's settings are still the same."""
    import matplotlib as mpl  # noqa: PLC0415 - only here

    before = dict(mpl.rcParams)
    return lambda: dict(mpl.rcParams) == before
