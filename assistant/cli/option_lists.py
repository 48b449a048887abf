"""The options of each command, one function per command; shared options are further below."""

import argparse
from collections.abc import Callable
from pathlib import Path

from assistant.cli.record_options import (
    Sub,
    export_options,
    keys_options,
    proof_options,
    register_options,
    sign_options,
    sign_report_options,
    time_stamp_options,
    verify_options,
    view_host_option,
    view_options,
)

Options = Callable[[Sub], None]


def _nothing(_sub: Sub) -> None:
    """No option."""


def _check(sub: Sub) -> None:
    _plan(sub)
    sub.add_argument(
        "--details", action="store_true", help="add limits, sources and chances of passing"
    )


def _phrases(sub: Sub) -> None:
    sub.add_argument("plan", nargs="?", default="double-cone", help="plan file or shipped plan")
    _grammar(sub)
    sub.add_argument(
        "--card", type=Path, help="write a phrase card to print (A5, PDF) instead of checking"
    )


def _output(sub: Sub) -> None:
    sub.add_argument("-o", "--output", type=Path, required=True, help="file to write")


def _plan_to_file(sub: Sub) -> None:
    _plan(sub)
    _output(sub)


def _new_plan(sub: Sub) -> None:
    _output(sub)
    sub.add_argument(
        "--answer",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="answer to a question, given in advance",
    )
    sub.add_argument("--defaults", action="store_true", help="use every default answer")


def _rehearse(sub: Sub) -> None:
    _plan(sub, optional=True)
    _grammar(sub)
    sub.add_argument("--into", type=Path, help="folder for the record (default: a fresh one)")
    sub.add_argument("--script", help="script of operator errors: a file, or a shipped one by name")
    sub.add_argument(
        "--seed", type=int, default=1, help="random seed for the operator's pauses and the noise"
    )
    sub.add_argument(
        "--snr-db", type=float, default=25.0, help="signal-to-noise ratio of the room, dB"
    )
    sub.add_argument("--voice", default="", help="the operator's eSpeak voice")
    sub.add_argument("--real-time", action="store_true", help="run at real speed")
    sub.add_argument("--aloud", action="store_true", help="play the prompts (implies --real-time)")
    sub.add_argument("--quiet", action="store_true", help="no transcript, only the result")
    view_options(sub, " (implies --real-time)")
    _engine(sub)


def _run(sub: Sub) -> None:
    sub.add_argument(
        "plan", nargs="?", help="plan file, or a shipped plan by name; not with --resume"
    )
    _grammar(sub)
    sub.add_argument("--into", type=Path, required=True, help="folder of the record")
    sub.add_argument("--operator", help="first operator (default: the first in the plan)")
    sub.add_argument("--audio", type=Path, help="WAV or FLAC file instead of the microphone")
    sub.add_argument("--resume", action="store_true", help="continue the record in the folder")
    _devices(sub)
    sub.add_argument(
        "--keyboard", action="store_true", help="no microphone: type phrases, press keys"
    )
    sub.add_argument(
        "--headset",
        action=argparse.BooleanOptionalAction,
        help="a legal phrase may interrupt a prompt",
    )
    sub.add_argument("--key", choices=("enter", "space"), help="the confirm key or foot switch")
    _engines(sub)
    sub.add_argument("--plain", action="store_true", help="lines of text instead of the panel")
    sub.add_argument(
        "--register",
        type=Path,
        help="register file for opening, heads and end, preferably on another medium",
    )
    view_options(sub)
    view_host_option(sub)


def _sound_check(sub: Sub) -> None:
    _plan(sub, optional=True)
    _grammar(sub)
    _devices(sub)
    _engines(sub)


def _devices(sub: Sub) -> None:
    """Options of the commands that use real devices; missing ones are read from a file."""
    sub.set_defaults(configured=True)
    sub.add_argument("--microphone", help="part of the device's name")
    sub.add_argument("--speaker", help="part of the device's name")
    sub.add_argument("--silent", action="store_true", help="prompts as text only")


def _engine(sub: Sub, default: str | None = "phones") -> None:
    sub.add_argument(
        "--engine",
        choices=("phones", "embedded", "vosk"),
        default=default,
        help="the recogniser: the phone model of this program (default), pocketsphinx, or Vosk",
    )
    sub.add_argument("--model", type=Path, help="folder of a dynamic-graph Vosk model")


def _engines(sub: Sub) -> None:
    _engine(sub, default=None)
    sub.add_argument("--profile", metavar="NAME", help="name of the enrolled speaker")
    _profiles(sub)


def _enrol(sub: Sub) -> None:
    sub.add_argument("name", help="name of the speaker")
    _plan(sub, optional=True)
    _grammar(sub)
    _devices(sub)
    sub.add_argument(
        "--audio",
        type=Path,
        metavar="FOLDER",
        help="folder of recordings, one per phrase, such as dies-are-seated.wav",
    )
    _profiles(sub)


def _replay(sub: Sub) -> None:
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument(
        "--speed", type=float, default=1.0, help="2 plays twice as fast as the session"
    )
    sub.add_argument("--aloud", action="store_true", help="play the clips and the prompts")
    view_options(sub)
    start = sub.add_mutually_exclusive_group()
    start.add_argument("--from", type=int, dest="start", metavar="SEQ", help="entry to start with")
    start.add_argument("--deviation", type=int, metavar="N", help="start at deviation N")
    start.add_argument("--location", metavar="CODE", help="start at this location")


def _report(sub: Sub) -> None:
    sub.add_argument(
        "-o",
        dest="output",
        type=Path,
        action="append",
        default=[],
        help="the report: a name ending in .pdf or .html; may be given twice",
    )
    sub.add_argument("--json", type=Path, help="JSON file for every number at full precision")


def _evaluate(sub: Sub) -> None:
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument("assays", type=Path, help="the laboratory's sheet, CSV or XLSX")
    proof_options(sub)
    _report(sub)
    sub.add_argument(
        "--partial",
        action="store_true",
        help="leave out missing, void and unreconciled vials, and say so",
    )
    _unit(sub)
    sub.add_argument(
        "--scheme",
        choices=("industry-2014", "usp-905", "e2810-plan-1", "e2810-plan-2"),
        default="industry-2014",
        help="scheme that gives the verdict and the exit code (default: industry-2014)",
    )
    sub.add_argument(
        "--confidence", type=float, default=0.95, help="confidence of the intervals, 0 to 1"
    )
    sub.add_argument(
        "--limit-confidence",
        type=float,
        default=0.90,
        help="confidence level of the acceptance limits, 0 to 1",
    )
    sub.add_argument(
        "--coverage",
        type=float,
        default=0.95,
        help="coverage of the acceptance limits, 0 to 1",
    )
    sub.add_argument("--method-sd", type=float, help="SD of the analytical method, %% of target")
    sub.add_argument(
        "--tolerance-interval",
        metavar="P/C",
        help="also report tolerance limits of the batch, such as 95/95: proportion and "
        "confidence level, %%, 90 to 99.9 each; the verdict does not depend on them",
    )


def _compare(sub: Sub) -> None:
    sub.add_argument(
        "batches",
        nargs="+",
        metavar="RECORD=ASSAYS",
        help="a record's folder and its sheet; two or more",
    )
    _report(sub)
    sub.add_argument(
        "--partial",
        action="store_true",
        help="leave out missing, void and unreconciled vials of every batch",
    )
    _unit(sub)
    sub.add_argument(
        "--significance",
        type=float,
        default=0.05,
        help="largest adjusted p-value that counts as a difference",
    )


def _assays(sub: Sub) -> None:
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument("-o", dest="output", type=Path, required=True, help="file to write, CSV")
    truth = "% of target"
    for name, default, what in (
        ("mean", 100.0, "true mean"),
        ("between", 1.0, "SD between locations"),
        ("within", 1.0, "SD within a location: sampling and method"),
        ("bias", 0.0, "added by the thief to every sample"),
        ("depth-slope", 0.0, "added for every 100 mm of depth"),
        ("position-slope", 0.0, "added for every position above the bottom one"),
        ("order-slope", 0.0, "added for every insertion after the first"),
        ("open-slope", 0.0, "added for every 10 s the port was open"),
    ):
        sub.add_argument(
            f"--{name}", type=float, default=default, help=f"{what}, %{truth} (default {default:g})"
        )
    sub.add_argument("--decimals", type=int, default=1, help="decimals of the assays (default 1)")
    sub.add_argument("--seed", type=int, default=1, help="random seed (default 1)")


def _unit(sub: Sub) -> None:
    sub.add_argument(
        "--unit",
        choices=("% of target", "% by weight", "fraction of target", "mg", "mg/g"),
        metavar="UNIT",
        help="unit of the assays: '%% of target', '%% by weight', 'fraction of target', mg or mg/g",
    )


def _plan(sub: Sub, *, optional: bool = False) -> None:
    if optional:
        sub.add_argument("plan", nargs="?", default="double-cone", help="plan file or shipped plan")
    else:
        sub.add_argument("plan", help="plan file, or a shipped plan by name")


def _profiles(sub: Sub) -> None:
    sub.add_argument("--profiles", type=Path, help="folder of the profiles (default: the user's)")


def _grammar(sub: Sub) -> None:
    sub.add_argument("--grammar", default="en", help="grammar file or shipped language")


COMMANDS: tuple[tuple[str, str, str, Options], ...] = (
    ("plans", "plans", "list the plans, scripts and grammars that are shipped", _nothing),
    ("check", "check", "check a plan against the limits", _check),
    ("draw", "draw", "draw a plan", _plan_to_file),
    ("labels", "labels", "make a sheet of vial labels as a PDF", _plan_to_file),
    ("new-plan", "new_plan", "write a plan from a few answers", _new_plan),
    ("phrases", "phrases", "check that the phrases sound different enough", _phrases),
    (
        "rehearse",
        "rehearse",
        "rehearse a session with a simulated operator",
        _rehearse,
    ),
    ("sound-check", "sound_check", "check the room, the devices and your voice", _sound_check),
    ("enrol", "enrol", "enrol a speaker", _enrol),
    ("run", "run", "run a live session", _run),
    ("replay", "replay", "play back a session", _replay),
    ("verify", "verify", "verify a record", verify_options),
    ("register", "register", "list the sessions of a station's register", register_options),
    ("time-stamp", "time_stamp", "have an authority stamp a record (RFC 3161)", time_stamp_options),
    ("keys", "keys", "make a pair of signing keys", keys_options),
    ("sign", "sign", "sign a record", sign_options),
    ("sign-report", "sign_report", "sign a report, or check its signatures", sign_report_options),
    ("export", "export", "export a record as tables, JSON or a sheet to print", export_options),
    ("assays", "assays", "simulate assay results", _assays),
    ("evaluate", "evaluate", "evaluate assay results and write the report", _evaluate),
    ("compare", "compare", "compare the batches of a campaign", _compare),
)
