"""Reading a plan: the shipped ones, and the sentence each mistake is answered with."""

import re
from pathlib import Path

import pytest

from assistant.errors import PlanError
from assistant.plan import Plan, Position, parse_plan
from assistant.plan.field_types import Part
from assistant.plan.parse import MAX_BYTES
from assistant.plan.vessel import KINDS, Vessel

PLANS = Path(__file__).parents[3] / "plans"
SHIPPED = ("double-cone.toml", "v-blender.toml", "bin.toml")


def shipped(name: str) -> str:
    """Return the text of a shipped plan."""
    return (PLANS / name).read_text(encoding="utf-8")


def changed(old: str, new: str, name: str = "double-cone.toml") -> bytes:
    """Return a shipped plan with one piece of its text replaced once."""
    text = shipped(name)
    assert old in text, f"{name} holds no {old!r}"
    return text.replace(old, new, 1).encode()


def sentence(raw: bytes) -> str:
    """Return the sentence with which a plan is refused."""
    with pytest.raises(PlanError) as caught:
        parse_plan(raw, "p.toml")
    return str(caught.value)


def only_locations(count: int) -> bytes:
    """Return a plan with many locations, all different."""
    text = shipped("double-cone.toml")
    head = text[: text.index("[[locations]]")]
    one = '[[locations]]\ncode="A{}"\nx_mm=0\ny_mm=0\ndepth_mm=900\n'
    return (head + "".join(one.format(number) for number in range(count))).encode()


@pytest.mark.parametrize(
    ("name", "kind", "positions", "ports"),
    [
        ("double-cone.toml", "double-cone", 3, 1),
        ("v-blender.toml", "v-blender", 2, 1),
        ("bin.toml", "rectangular-bin", 1, 2),
    ],
)
def test_shipped_plans_are_read(name: str, kind: str, positions: int, ports: int) -> None:
    """Each shipped plan has ten locations and the sampler it was written for."""
    plan = parse_plan(shipped(name).encode(), name)
    assert plan.vessel.kind == kind
    assert len(plan.locations) == 10
    assert len(plan.sampler.positions) == positions
    assert len(plan.sampler.ports_mm) == ports
    assert plan.vials_per_insertion == positions * ports


def test_dies_come_bottom_set_first() -> None:
    """All ports of one position are emptied before the next position begins."""
    plan = parse_plan(changed("ports_mm = [60.0]", "ports_mm = [60.0, 160.0]"), "p")
    assert list(plan.dies()) == [(0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1)]
    assert plan.sampler.positions == (Position.BOTTOM, Position.MIDDLE, Position.TOP)


def test_windows_text_is_read_as_it_is() -> None:
    """A byte-order mark and carriage returns, as Windows editors write them, change nothing."""
    text = shipped("bin.toml")
    windows = b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()
    assert parse_plan(windows, "a") == parse_plan(text.encode(), "b")


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("plan = 1", "plan = 2", "top level, key 'plan' has 2: input should be 1."),
        ("plan = 1", "plan = 1\ncolour = 3", "top level, key 'colour' is not a known key"),
        ("repose_deg = 0.0", "repose = 1", "[powder], key 'repose' is not a known key"),
        ("mass_mg = 250.0\n", "", "[dose], key 'mass_mg' is missing; add it."),
        ("mass_mg = 250.0\n", "mass_mg = 0\n", "key 'mass_mg' has 0: input should be greater"),
        (
            "label_claim_mg = 20.0",
            "label_claim_mg = 900",
            "is more than the whole unit dose of 250",
        ),
        ("g_ml = 0.45", "g_ml = 450", "has 450: no blend is that dense; the unit is g/mL"),
        ("g_ml = 0.45", "g_ml = 450", "if it is in kg/m3, write 0.45."),
        ("g_ml = 1.3", "g_ml = 1300", "if it is in kg/m3, write 1.3."),
        ("g_ml = 0.45", "g_ml = -0.45", "has -0.45: input should be greater than 0."),
        ("g_ml = 0.45", "g_ml = inf", "has inf: input should be a finite number."),
        ("g_ml = 0.45", "g_ml = true", "has True: input should be a valid number."),
        ("g_ml = 0.45", "g_ml = '0.45'", "has '0.45': input should be a valid number."),
        ("g_ml = 0.45", f"g_ml = {'9' * 500}", "has 9999999999999999999999999999999999999..."),
        ("g_ml = 0.58", "g_ml = 0.40", "is less than bulk_density_g_ml 0.45; are they exchanged?"),
        ("active_gsd = 1.8\n", "", "go together; give all or none"),
        ('kind = "double-cone"', 'kind = "cube"', "[vessel]: key 'kind' has 'cube'; write one of"),
        ('kind = "double-cone"\n', "", "[vessel]: key 'kind' is missing; write one of double-cone"),
        (
            "outlet_diameter_mm = 200.0",
            "outlet_diameter_mm = 2000.0",
            "wider than the vessel itself",
        ),
        ("x_mm = 0.0, y", "x_mm = 0.0, z", "[vessel], key 'manway', key 'z_mm' is not a known key"),
        ("cone_height_mm = 450.0", "cone_height_mm = 45e9", "less than or equal to 20000"),
        (
            "ports_mm = [60.0]",
            "ports_mm = [60.0, 1600.0]",
            "a port at 1600 mm lies beyond length_mm",
        ),
        ("ports_mm = [60.0]", "ports_mm = [160.0, 60.0]", "must rise from the tip and not repeat"),
        ("ports_mm = [60.0]", "ports_mm = [60.0, -3]", "key 'ports_mm', value 2 has -3: input"),
        ("ports_mm = [60.0]", f"ports_mm = {list(range(1, 20))}", "more than the 12 entries"),
        ("clearance_mm = 0.43", "clearance_mm = 17", "thousandths of an inch, write 0.432."),
        ('"triplicate"', '"quadruple"', "input should be 'single', 'duplicate' or 'triplicate'."),
        ('code = "N2"', 'code = "c2"', "location code 'c2' stands twice: numbers 1 and 2"),
        ('code = "N2"', 'code = "C 2"', "[[locations]] number 2, key 'code' has 'C 2'"),
        ('code = "N2"', f'code = "{"C" * 13}"', "[[locations]] number 2, key 'code' has 'CCC"),
        ('"Jonas Pell"', '"MIRA Oostveld"', "name 'mira oostveld' stands twice"),
        ('"bravo"', '"alpha"', "call 'alpha' stands twice"),
        ('role = "operator"', 'role = "witness"', "people names no operator"),
        ("plan = 1", 'plan = 1\nwitnessed = ["vial"]', None),
        ('"Mira Oostveld"', '"Mira\\u0007"', "holds U+0007, which cannot be printed; remove it"),
        ('"Mira Oostveld"', '"Mira \\u202Edlev"', "holds U+202E"),
        ('"TV2611"', '"TÜ2611"', "holds 'Ü'; labels and barcodes carry plain ASCII"),
        ('"TV2611"', f'"{"T" * 81}"', "key 'batch' has 81 characters; 80 is the most."),
        ('"TV2611"', '"  "', "string should have at least 1 character"),
        ("fill_limit_s = 30.0", "fill_limit_s = 4.0", "fill_limit_s 4 must exceed fill_s 5"),
        (
            "below_surface_mm = ",
            "depth_mm = 3\nbelow_surface_mm = ",
            "either depth_mm or below_surface_mm",
        ),
        ("x_mm = 0.0\ny_mm", "tilt_deg = 75\nx_mm = 0.0\ny_mm", "less than or equal to 60"),
    ],
)
def test_a_mistake_is_answered_with_where_and_what(old: str, new: str, wanted: str | None) -> None:
    """The sentence names file, table, key and value, and says what is allowed."""
    raw = changed(old, new)
    if wanted is None:
        parse_plan(raw, "p.toml")
        return
    told = sentence(raw)
    assert told.startswith("p.toml: ")
    assert told.endswith(".")
    assert wanted in told


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        (
            "fill_mass_kg = 130.0",
            "fill_mass_kg = 280.0",
            "take 622.2 L, but the vessel holds 576.4",
        ),
        (
            "cone_height_mm = 450.0",
            "cone_height_mm = 45.0",
            "but the vessel holds 269.7 L; correct",
        ),
        ("repose_deg = 0.0", "repose_deg = 68.0", "level the bed (repose_deg = 0) or fill less."),
        ("diameter_mm = 440.0", "diameter_mm = 460.0", "reaches 230 mm from the middle, but the"),
    ],
)
def test_a_plan_against_its_own_vessel_is_refused(old: str, new: str, wanted: str) -> None:
    """What no later step could make good is told when the plan is read."""
    told = sentence(changed(old, new))
    assert told.startswith("p.toml: [")
    assert wanted in told


def test_steps_to_witness_need_a_witness() -> None:
    """A step cannot wait for somebody who is not named."""
    raw = changed("plan = 1", 'plan = 1\nwitnessed = ["vial"]').replace(b'"witness"', b'"operator"')
    assert "need a person whose role is 'witness'" in sentence(raw)


def test_a_missing_table_is_named_as_a_table() -> None:
    """What is absent is written the way it has to be added."""
    text = shipped("double-cone.toml")
    start, end = text.index("[sampler]"), text.index("[timing]")
    assert (
        sentence((text[:start] + text[end:]).encode()) == "p.toml: [sampler]: is missing; add it."
    )
    head = text[: text.index("[[locations]]")].encode()
    assert sentence(head) == "p.toml: [[locations]]: is missing; add it."


def test_further_mistakes_are_counted() -> None:
    """One sentence shows the first mistake and says how many stand behind it."""
    raw = changed("mass_mg = 250.0\nlabel_claim_mg = 20.0", "mass_mg = -1\nlabel_claim_mg = -2")
    assert sentence(raw).endswith("(1 more after this one).")


@pytest.mark.parametrize(
    ("angle", "length", "wanted"),
    [(75.0, 320.0, "must be 326 or more"), (75.0, 330.0, None), (20.0, 560.0, "greater than 30")],
)
def test_legs_of_a_v_must_clear_each_other(angle: float, length: float, wanted: str | None) -> None:
    """Legs so short that their caps cut each other make no V."""
    text = shipped("v-blender.toml")
    text = re.sub(r"angle_deg = .*", f"angle_deg = {angle}", text)
    text = re.sub(r"leg_length_mm = .*", f"leg_length_mm = {length}", text)
    text = re.sub(r"fill_mass_kg = .*", "fill_mass_kg = 20.0", text)
    if wanted is None:
        assert parse_plan(text.encode(), "p").vessel.kind == "v-blender"
    else:
        assert wanted in sentence(text.encode())


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("bin.toml", "outlet_length_mm = 250.0", "outlet_length_mm = 2500.0"),
        ("bin.toml", "outlet_width_mm = 250.0", "outlet_width_mm = 2500.0"),
        ("v-blender.toml", "leg_diameter_mm = 500.0", "leg_diameter_mm = 120.0"),
    ],
)
def test_an_outlet_is_no_wider_than_its_vessel(name: str, old: str, new: str) -> None:
    """A hopper narrows towards its outlet."""
    assert "is wider than the vessel itself" in sentence(changed(old, new, name))


def test_conical_bin_narrows_too() -> None:
    """The conical bin follows the same rule, and is read when it holds."""
    text = shipped("bin.toml")
    start, end = text.index("[vessel]"), text.index("[sampler]")
    vessel = (
        '[vessel]\nkind = "conical-bin"\ndiameter_mm = 1000\noutlet_diameter_mm = {}\n'
        "hopper_height_mm = 450\ncylinder_height_mm = 600\n"
    )
    wide = text[:start] + vessel.format(1200) + text[end:]
    good = text[:start] + vessel.format(200) + text[end:]
    assert "outlet_diameter_mm 1200 is wider" in sentence(wide.encode())
    assert parse_plan(good.encode(), "p").vessel.kind == "conical-bin"


@pytest.mark.parametrize(
    ("raw", "wanted"),
    [
        (b"\xff\xfeplan = 1", "not UTF-8 text at byte 0; save it as UTF-8."),
        (b"plan = ", "not valid TOML: Invalid value"),
        (b"plan = " + b"9" * 5000, "not valid TOML: a number has thousands"),
        (b"plan = " + b"[" * 5000, "not valid TOML: maximum recursion depth"),
        (b"", "is missing; add it"),
        (b"locations = 3", "is missing; add it"),
    ],
)
def test_what_is_no_plan_at_all(raw: bytes, wanted: str) -> None:
    """Bytes that are not text, not TOML, or another TOML file are told apart."""
    assert wanted in sentence(raw)


def test_too_many_locations_are_refused() -> None:
    """Two hundred locations are read; one more is refused by count."""
    assert len(parse_plan(only_locations(200), "p").locations) == 200
    told = sentence(only_locations(201))
    assert "[[locations]]: has more than the 200 entries a plan may have; divide it." in told


def test_a_million_locations_are_refused_by_size() -> None:
    """A file that no study can have is not even parsed."""
    raw = b"[[locations]]\n" * 1_000_000
    assert (
        sentence(raw) == f"p.toml: {len(raw)} bytes is too large for a plan; is it the right file?"
    )
    assert len(raw) > MAX_BYTES > len(only_locations(200))


def test_a_list_where_a_table_belongs_is_refused() -> None:
    """The whole of a list or table is never repeated in the sentence."""
    told = sentence(changed("[[people]]", "[people]").replace(b"[[people]]", b"[people2]"))
    assert told.startswith("p.toml: [[people]]: ")
    assert "Mira" not in told


def test_a_model_outside_the_file_is_frozen() -> None:
    """What has been read cannot be changed afterwards."""
    plan = parse_plan(shipped("bin.toml").encode(), "p")
    with pytest.raises(ValueError, match="frozen"):
        plan.study.batch = "other"  # type: ignore[misc]  # the point of the test


@pytest.mark.parametrize("value", ["1e-308", "9.9e-7"])
def test_next_to_nothing_is_no_quantity(value: str) -> None:
    """Numbers so small that reckoning with them overflows; the least is let pass as a number."""
    row = next(row for row in shipped("double-cone.toml").split("\n") if "fill_mass_kg" in row)
    text = sentence(changed(row, f"fill_mass_kg = {value}"))
    assert "is next to nothing; 1e-06 is the least" in text
    with pytest.raises(PlanError) as caught:
        parse_plan(changed(row, "fill_mass_kg = 0.0"), "p")
    assert "greater than 0" in str(caught.value)


def test_kinds_are_those_of_the_models() -> None:
    """The list shown in errors is the list the models accept."""
    members: tuple[type[Part], ...] = Vessel.__origin__.__args__  # type: ignore[attr-defined]  # typing keeps them there
    assert tuple(member.model_fields["kind"].annotation.__args__[0] for member in members) == KINDS  # type: ignore[union-attr]  # a Literal


def test_plan_is_written_back_as_read() -> None:
    """Dumping by alias and reading again gives the same plan."""
    plan = parse_plan(shipped("double-cone.toml").encode(), "p")
    assert Plan.model_validate(plan.model_dump(by_alias=True)) == plan


def test_acceptance_limits_stand_in_order_and_name_their_source() -> None:
    """The lower limit comes first, and each limit has a justification."""
    cone = shipped("double-cone.toml")
    table = '\n[acceptance]\njustification = "Protocol VP-07, 6.2"\nmean = '
    accepted = parse_plan(f"{cone}{table}[95, 105]\n".encode(), "plan.toml").acceptance
    assert accepted is not None
    assert (accepted.mean, accepted.individual) == ((95.0, 105.0), None)
    assert "put the lower first" in sentence(f"{cone}{table}[105, 95]\n".encode())
    assert "justification" in sentence(f"{cone}\n[acceptance]\nmean = [95, 105]\n".encode())


@pytest.mark.parametrize(
    ("size", "wrong"),
    [
        ("height_mm = 300", "height_mm 300 is less than half of diameter_mm 700"),
        ("shaft_diameter_mm = 800", "shaft_diameter_mm 800 is wider"),
        ("outlet_diameter_mm = 800", "outlet_diameter_mm 800 is wider"),
        ("", ""),
    ],
)
def test_a_trough_stands_above_its_round_bottom(size: str, wrong: str) -> None:
    """Shaft and outlet are no wider than the trough; its walls reach the axis at least."""
    sizes = {
        "kind": '"trough"',
        "length_mm": "1200",
        "diameter_mm": "700",
        "height_mm": "800",
        "shaft_diameter_mm": "70",
    }
    key, _, value = size.partition(" = ")
    sizes |= {key: value} if key else {}
    text = shipped("bin.toml")
    start, end = text.index("[vessel]"), text.index("[sampler]")
    lines = "\n".join(f"{name} = {number}" for name, number in sizes.items())
    raw = f"{text[:start]}[vessel]\n{lines}\n\n{text[end:]}".encode()
    if wrong:
        assert wrong in sentence(raw)
    else:
        assert parse_plan(raw, "p").vessel.kind == "trough"


def test_blending_says_at_least_one_thing() -> None:
    """Minutes, revolutions or both; an empty table is refused."""
    cone = shipped("double-cone.toml")
    assert "leave [blending] out" in sentence(f"{cone}\n[blending]\n".encode())
    read = parse_plan(f"{cone}\n[blending]\nrevolutions = 180\n".encode(), "p").blending
    assert read is not None
    assert (read.minutes, read.revolutions) == (None, 180.0)


def test_the_target_is_the_label_claim_or_an_overage() -> None:
    """T is 100 % unless the plan says more; less is refused."""
    claim = "label_claim_mg = 20.0"
    assert parse_plan(shipped("double-cone.toml").encode(), "p").dose.target_percent == 100.0
    over = changed(claim, f"{claim}\ntarget_percent = 103.5")
    assert parse_plan(over, "p").dose.target_percent == 103.5
    assert "target_percent" in sentence(changed(claim, f"{claim}\ntarget_percent = 98"))
