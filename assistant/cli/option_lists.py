"""The options of each command, one function per command; shared options are further below."""

import argparse
from collections.abc import Callable
from pathlib import Path

from assistant.cli.evaluation_options import assays_options, compare_options, evaluate_options
from assistant.cli.output_options import output_options, overwrite_option
from assistant.cli.record_options import (
    Sub,
    export_options,
    keys_options,
    register_options,
    sign_options,
    sign_report_options,
    station_options,
    time_stamp_options,
    transcribe_options,
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
    overwrite_option(sub)


def _plan_to_file(sub: Sub) -> None:
    _plan(sub)
    output_options(sub)


def _new_plan(sub: Sub) -> None:
    output_options(sub)
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
    station_options(sub)
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
    ("transcribe", "transcribe", "type the text of spoken remarks", transcribe_options),
    ("sign-report", "sign_report", "sign a report, or check its signatures", sign_report_options),
    ("export", "export", "export a record as tables, JSON or a sheet to print", export_options),
    ("assays", "assays", "simulate assay results", assays_options),
    ("evaluate", "evaluate", "evaluate assay results and write the report", evaluate_options),
    ("compare", "compare", "compare the batches of a campaign", compare_options),
)
