"""`check`, `draw`, `labels` and `new-plan` as a user runs them."""

from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Protocol

import pytest

from assistant.plan import Plan, parse_plan
from assistant.plan.questionnaire import QUESTIONS
from assistant.plan.vials import Vial
from assistant.report.draw import Form, draw
from assistant.report.labels import label_sheet
from assistant.storage import bundled_files


class Ended(Protocol):
    """A command that has ended."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Ended]
Refused = Callable[..., None]

CONE, VEE, BIN = "double-cone", "v-blender", "bin"


@pytest.fixture(autouse=True)
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables so wide that no sentence is folded."""
    monkeypatch.setenv("COLUMNS", "600")


def changed(folder: Path, name: str, *changes: tuple[str, str]) -> Path:
    """Write a shipped plan with pieces of its text replaced, each once."""
    text = bundled_files.read_plan(name).decode()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    made = folder / "plan.toml"
    made.write_text(text, encoding="utf-8")
    return made


@pytest.mark.parametrize("name", [CONE, VEE, BIN])
def test_a_shipped_plan_is_fit(name: str, command: Run) -> None:
    """Every group is printed, with the chances of passing, and the answer in front."""
    done = command("check", name, "--details")
    assert done.returncode == 0
    assert done.stdout.startswith(f"{name} is fit: ")
    for group in ("vessel and bed", "insertions", "locations", "dies", "sampler", "detectability"):
        assert group in done.stdout
    assert "chance of passing with 10 locations" in done.stdout
    assert "CAUTION" not in done.stdout
    assert "clock rounding" in done.stdout


UNFIT = (
    (CONE, "below_surface_mm = 95.0", "depth_mm = 640.0", "port 1 lies 48 mm above the powder"),
    (CONE, "below_surface_mm = 95.0", "depth_mm = 1240.0", "the tip comes too near the outlet"),
    (CONE, "length_mm = 1500.0", "length_mm = 1000.0", "the sampler is too short"),
    (CONE, "x_mm = 0.0\ny_mm = 155.0", "x_mm = 150.0\ny_mm = 190.0", "does not pass the manway"),
    (VEE, "below_surface_mm = 515.0", "below_surface_mm = 660.0", "the tip is in the wall"),
    (BIN, "die_volume_ml = 1.0", "die_volume_ml = 10.0", "take other dies, or state"),
    (BIN, "clearance_mm = 0.41", "clearance_mm = 0.2", "metal wears off into the product"),
    (BIN, "clearance_mm = 0.41", "clearance_mm = 0.9", "powder leaks into the tube"),
    (BIN, "minimum_mg = 82.0", "minimum_mg = 600.0", "600 mg or more"),
    (CONE, "active_d50_um = 35.0", "active_d50_um = 400.0", "a lower limit for single particles"),
    (CONE, "[timing]", "[limits]\nwake_mm = 300.0\n\n[timing]", "no order avoids it: move them"),
    (VEE, "plan = 1\n", 'plan = 1\ncautions = ["isolated"]\n', "add 'earthed' to cautions"),
)
"""Plan, what is changed in it, and the sentence that tells what is wrong."""


@pytest.mark.parametrize(("name", "old", "new", "sentence"), UNFIT)
def test_an_unfit_plan_is_told_and_drawn(  # noqa: PLR0917 - one case, one line
    name: str, old: str, new: str, sentence: str, command: Run, tmp_path: Path
) -> None:
    """Exit code 1, the line marked UNFIT with its sentence; the picture is drawn all the same."""
    plan = changed(tmp_path, name, (old, new))
    done = command("check", plan)
    assert done.returncode == 1, done.stdout
    assert done.stdout.startswith(f"{plan} is UNFIT: ")
    assert sentence in done.stdout
    assert sentence not in command("check", name).stdout or "lower limit" in sentence
    picture = tmp_path / "plan.svg"
    assert command("draw", plan, "-o", picture).returncode == 0
    assert picture.read_bytes().startswith(b"<?xml")


LONG = "N" * 81

REFUSED = (
    (CONE, "diameter_mm = 1000.0", "diameter_mm = 0", "key 'diameter_mm' has 0: input should be g"),
    (CONE, "cylinder_height_mm = 300.0", "cylinder_height_mm = -1", "has -1: input should be g"),
    (BIN, "hopper_height_mm = 450.0", "hopper_height_mm = nan", "has nan: input should be a fin"),
    (BIN, "diameter_mm = 600.0", "diameter_mm = -600.0", "has -600.0: input should be greater"),
    (CONE, "fill_mass_kg = 130.0", "fill_mass_kg = 1300.0", "but the vessel holds 576.4 L"),
    (CONE, "bulk_density_g_ml = 0.45", "bulk_density_g_ml = 450", "if it is in kg/m3, write 0.45"),
    (CONE, "bulk_density_g_ml = 0.45", "bulk_density_g_ml = 0.00045", "but the vessel holds"),
    (VEE, "angle_deg = 75.0", "angle_deg = 180.0", "has 180.0: input should be less than 150"),
    (VEE, "tilt_deg = 31.0", "tilt_deg = -31.0", "has -31.0: input should be greater than or equ"),
    (VEE, "tilt_deg = 31.0", "tilt_deg = 90.0", "has 90.0: input should be less than or equal"),
    (VEE, "towards_deg = 15.0", "towards_deg = 1500.0", "has 1500.0: input should be less than"),
    (CONE, "repose_deg = 0.0", "repose_deg = 90.0", "has 90.0: input should be less than or equal"),
    (BIN, "ports_mm = [60.0, 210.0]", "ports_mm = [60.0, 2100.0]", "lies beyond length_mm 1500"),
    (BIN, "ports_mm = [60.0, 210.0]", "ports_mm = [0.0, 210.0]", "value 1 has 0.0: input should"),
    (BIN, 'code = "NE2"', 'code = "c2"', "location code 'c2' stands twice: numbers 1 and 2"),
    (BIN, '"Pieter Kraal"', '"anouk delvaux"', "name 'anouk delvaux' stands twice"),
    (
        BIN,
        '"SX4419"',
        '"S\N{LATIN CAPITAL LETTER U WITH DIAERESIS}4419"',
        "labels and barcodes carry plain ASCII",
    ),
    (BIN, '"Anouk Delvaux"', f'"{LONG}"', "key 'name' has 81 characters; 80 is the most"),
    (BIN, 'code = "NE2"', 'code = "N\N{LATIN SMALL LETTER E WITH ACUTE}2"', "key 'code' has 'N"),
    (BIN, "below_surface_mm = 195.0", "below_surface_mm = -5.0", "input should be greater than 0"),
)
"""Bad input: plan, what is changed in it, and a piece of the sentence."""


@pytest.mark.parametrize(("name", "old", "new", "sentence"), REFUSED)
def test_bad_input_is_one_sentence(  # noqa: PLR0917 - one case, one line
    name: str, old: str, new: str, sentence: str, command: Run, refused: Refused, tmp_path: Path
) -> None:
    """Every command that reads a plan refuses it in one sentence with the file's name."""
    plan = changed(tmp_path, name, (old, new))
    out = tmp_path / "out"
    for words in (
        ("check", plan),
        ("draw", plan, "-o", out.with_suffix(".svg")),
        ("labels", plan, "-o", out.with_suffix(".pdf")),
    ):
        refused(command(*words), 2, f"{plan}: ", sentence)
    assert list(tmp_path.iterdir()) == [plan]


def test_a_million_locations_are_refused(command: Run, refused: Refused, tmp_path: Path) -> None:
    """By its size, before anything is parsed."""
    one = '[[locations]]\ncode = "A"\nx_mm = 0.0\ny_mm = 0.0\ndepth_mm = 900.0\n'
    plan = tmp_path / "plan.toml"
    plan.write_text(bundled_files.read_plan(CONE).decode() + one * 1_000_000, encoding="utf-8")
    refused(command("check", plan), 2, "is too large for a plan; is it the right file?")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no endless file on this system")
def test_an_endless_file_is_refused(command: Run, refused: Refused) -> None:
    """A device in place of a plan is not read for ever."""
    refused(command("check", "/dev/zero"), 2, "/dev/zero is no file; name a file")


@pytest.mark.slow
def test_picture_and_labels_name_the_plan_on_record(command: Run, tmp_path: Path) -> None:
    """The hash at the foot is that of the file's bytes, as the record's first entry has it."""
    plan = changed(tmp_path, CONE)
    short = sha256(plan.read_bytes()).hexdigest()[:16]
    first, second = tmp_path / "a.svg", tmp_path / "b.svg"
    assert command("draw", plan, "-o", first).returncode == 0
    # Letters are drawn as outlines, so another hash shows as another picture.
    plan.write_bytes(plan.read_bytes() + b"\n# seen\n")
    assert sha256(plan.read_bytes()).hexdigest()[:16] != short
    assert command("draw", plan, "-o", second).returncode == 0
    assert first.read_bytes() != second.read_bytes()
    for form, head in (("png", b"\x89PNG"), ("pdf", b"%PDF-")):
        made = tmp_path / f"a.{form}"
        assert command("draw", plan, "-o", made).returncode == 0
        assert made.read_bytes().startswith(head)
    labels = tmp_path / "labels.pdf"
    assert command("labels", plan, "-o", labels).returncode == 0
    assert labels.read_bytes().startswith(b"%PDF-")


def test_the_footer_is_name_and_hash(
    command: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What `draw` and `labels` print: the file's name without its folder, and sixteen digits."""
    seen: list[str] = []

    def drawn(plan: Plan, numbered: Sequence[Vial], form: Form, footer: str) -> bytes:
        seen.append(footer)
        return draw(plan, numbered, form, footer)

    def labelled(plan: Plan, numbered: Sequence[Vial], foot: str) -> bytes:
        seen.append(foot)
        return label_sheet(plan, numbered, foot)

    monkeypatch.setattr("assistant.cli.draw.draw", drawn)
    monkeypatch.setattr("assistant.cli.labels.label_sheet", labelled)
    plan = changed(tmp_path, BIN)
    short = sha256(plan.read_bytes()).hexdigest()[:16]
    assert command("draw", plan, "-o", tmp_path / "p.svg").returncode == 0
    assert command("labels", plan, "-o", tmp_path / "l.pdf").returncode == 0
    assert command("draw", BIN, "-o", tmp_path / "q.svg").returncode == 0
    assert seen == [
        f"plan.toml | plan {short}",
        f"plan {short}",
        f"bin.toml | plan {short}",
    ]


def test_a_new_plan_by_questions(process: Run, tmp_path: Path) -> None:
    """What is not answered beforehand is asked; an empty answer takes the default."""
    plan = tmp_path / "mine.toml"
    typed = "\n".join("kettle\ndrum" if q.key == "vessel" else "" for q in QUESTIONS) + "\n"
    done = process("new-plan", "-o", plan, "--answer", "sampler=duplicate", typed=typed)
    assert done.returncode == 0, done.stderr
    assert "What stands before you?" in done.stdout
    assert "Which sampler?" not in done.stdout
    made = parse_plan(plan.read_bytes(), "p")
    assert (made.vessel.kind, made.sampler.kind) == ("drum", "duplicate")


def test_a_wrong_answer_is_told_at_once_and_asked_again(process: Run, tmp_path: Path) -> None:
    """The sentence comes before the next question, and the other answers are kept."""
    plan = tmp_path / "mine.toml"
    typed = ["drum", "much", "-3", "120", *[""] * (len(QUESTIONS) - 2)]
    done = process("new-plan", "-o", plan, typed="\n".join(typed) + "\n")
    assert done.returncode == 0, done.stderr
    first = done.stdout.index("fill_mass_kg has 'much', which is not a number")
    second = done.stdout.index("fill_mass_kg has '-3.0': ")
    assert first < second < done.stdout.index("bulk density")
    made = parse_plan(plan.read_bytes(), "p")
    assert (made.vessel.kind, made.powder.fill_mass_kg) == ("drum", 120.0)


def test_answers_that_contradict_each_other_are_kept(process: Run, tmp_path: Path) -> None:
    """Ten times too much powder for the vessel: one answer is corrected, the others by Enter."""
    plan = tmp_path / "mine.toml"
    wanted = {"vessel": "drum", "vessel_litres": "100", "fill_mass_kg": "600", "batch": "B7"}
    typed = [wanted.get(q.key, "") for q in QUESTIONS]
    typed += ["30" if q.key == "fill_mass_kg" else "" for q in QUESTIONS]
    done = process("new-plan", "-o", plan, typed="\n".join(typed) + "\n")
    assert done.returncode == 0, done.stderr
    assert "Your answers are kept" in done.stdout
    made = parse_plan(plan.read_bytes(), "p")
    assert (made.vessel.kind, made.study.batch) == ("drum", "B7")
    assert made.powder.fill_mass_kg == 30.0


def test_the_end_of_input_says_what_was_given(process: Run, tmp_path: Path) -> None:
    """One sentence with the answers so far, to be given again; no plan is written."""
    plan = tmp_path / "mine.toml"
    done = process("new-plan", "-o", plan, typed="drum\n120\n")
    assert done.returncode == 2
    assert "--answer vessel=drum --answer fill_mass_kg=120" in done.stderr
    assert not plan.exists()


def test_an_answer_in_advance_is_checked_before_any_question(process: Run, tmp_path: Path) -> None:
    """Nothing is asked where one cannot be used."""
    done = process("new-plan", "-o", tmp_path / "p.toml", "--answer", "fill_mass_kg=much")
    assert done.returncode == 2
    assert "fill_mass_kg has 'much'" in done.stderr
    assert done.stdout == ""
