"""`sign-report`: put a signature under a report, or check those that are there.

The signatures lie beside the report, in a file of its name with `.signatures.jsonl` added.
"""

import unicodedata
from dataclasses import dataclass
from pathlib import Path

from assistant.cli.files import read_file, write_file
from assistant.cli.output import terminal
from assistant.cli.passphrase import passphrase
from assistant.clock import SystemClock
from assistant.errors import InputError
from assistant.journal.report_signing import (
    ReportMeaning,
    ReportSignature,
    check_report_signatures,
    read_report_signatures,
    sign_report,
)
from assistant.storage.keys import load_private_file, load_public
from assistant.storage.printed_name import printed_name

BESIDE = ".signatures.jsonl"


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `sign-report`."""

    report: Path
    name: str | None
    meaning: ReportMeaning | None
    key: Path | None
    passphrase_file: Path | None
    keys: Path | None


def run(options: Options) -> int:
    """Sign where a name is given, and list what stands under the report.

    Raises:
        InputError: the report, the key or the name cannot be used, or nobody has signed.
        RecordBroken: a signature does not hold.
    """
    report = read_file(options.report, "report")
    beside = options.report.with_name(options.report.name + BESIDE)
    lines = read_file(beside, "signature file") if beside.exists() else b""
    signatures = read_report_signatures(lines.splitlines(keepends=True), report)
    if options.keys is not None:
        check_report_signatures(signatures, load_public(options.keys))
    if options.name is not None or options.meaning is not None or options.key is not None:
        made = _signed(report, options, signatures)
        write_file(beside, lines + made.line(), overwrite=True)
        signatures = (*signatures, made)
    if not signatures:
        raise InputError(f"{options.report} is not signed: sign with --as, --meaning and --key.")
    checked = "genuine" if options.keys is not None else "not checked: name the keys with --keys"
    for one in signatures:
        said = one.statement
        terminal().print(f"{said.meaning} by {said.name}, {said.utc} ({checked})")
    terminal().print(f"report SHA-256 {signatures[0].statement.report}")
    return 0


def _signed(
    report: bytes, options: Options, before: tuple[ReportSignature, ...]
) -> ReportSignature:
    if options.name is None or options.meaning is None or options.key is None:
        raise InputError("A signature needs --as, --meaning and --key: name all three.")
    name = printed_name(options.name)
    if unicodedata.normalize("NFC", options.key.name) != f"{name}.key.pem":
        raise InputError(
            f"The key file {options.key.name} is not {name}.key.pem: sign with your own key."
        )
    key = load_private_file(options.key, passphrase(options.passphrase_file))
    return sign_report(
        report,
        name=name,
        meaning=options.meaning,
        utc=SystemClock().now().utc,
        key=key,
        before=before,
    )
