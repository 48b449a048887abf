"""`sign-report`: prepared, reviewed and approved under the bytes of a report."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.cli import main
from assistant.cli.parser import build_parser
from assistant.errors import RecordBroken
from assistant.journal.report_signing import (
    REPORT_MEANINGS,
    ReportSignature,
    check_report_signatures,
    read_report_signatures,
    sign_report,
)

TIME = "2026-03-04T08:00:00.000000Z"
NAMES = ("Ada Lindqvist", "Ines Vork", "Jonas Pell")


@pytest.fixture
def report(tmp_path: Path) -> Path:
    """A file that is signed; what it holds does not matter."""
    path = tmp_path / "r.pdf"
    path.write_bytes(b"%PDF-1.4 a report")
    return path


def test_three_people_sign_and_all_is_checked(
    report: Path, pairs: Path, public: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each name, time and meaning is shown; a changed report or file of signatures is refused."""
    secret = ["--passphrase-file", str(pairs / "passphrase")]
    for name, meaning in zip(NAMES, REPORT_MEANINGS, strict=True):
        key = ["--key", str(pairs / f"{name}.key.pem"), *secret]
        assert main(["sign-report", str(report), "--as", name, "--meaning", meaning, *key]) == 0
    capsys.readouterr()
    assert main(["sign-report", str(report), "--keys", str(public)]) == 0
    shown = capsys.readouterr().out
    for name, meaning in zip(NAMES, REPORT_MEANINGS, strict=True):
        assert re.search(rf"^{meaning} by {name}, \S+Z \(genuine\)$", shown, re.MULTILINE)
    assert main(["sign-report", str(report)]) == 0
    assert "not checked" in capsys.readouterr().out
    report.write_bytes(report.read_bytes() + b" ")
    assert main(["sign-report", str(report), "--keys", str(public)]) == 1
    assert "this one was changed since" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "is not signed"),
        (["--as", "Ada Lindqvist"], "needs --as, --meaning and --key"),
        (
            ["--as", "Ines Vork", "--meaning", "approved", "--key", "Ada Lindqvist.key.pem"],
            "sign with your own key",
        ),
    ],
)
def test_what_cannot_be_signed_is_said(
    options: list[str], words: str, report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, and nothing is written beside the report."""
    assert main(["sign-report", str(report), *options]) == 2
    assert words in capsys.readouterr().err
    assert [path.name for path in report.parent.iterdir()] == ["r.pdf"]


def test_the_parser_offers_these_meanings(capsys: pytest.CaptureFixture[str]) -> None:
    """Its own list, kept for speed, is no other one."""
    with pytest.raises(SystemExit):
        build_parser().parse_args(["sign-report", "--help"])
    assert "{" + ",".join(REPORT_MEANINGS) + "}" in capsys.readouterr().out


Change = Callable[[list[ReportSignature]], list[bytes]]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda made: [made[0].line()[:9] + b"\n"], "Signature 1 under the report cannot be read"),
        (lambda made: [made[1].line()], "does not follow the one before it"),
        (lambda made: [made[0].line()[:-1]], "does not follow the one before it"),
    ],
    ids=["no signature", "one cut out", "another spelling"],
)
def test_damaged_signatures_are_refused(change: Change, words: str) -> None:
    """A line that is none, one cut out, one spelled otherwise."""
    key = Ed25519PrivateKey.generate()
    made: list[ReportSignature] = []
    for meaning in REPORT_MEANINGS:
        made.append(sign_report(b"x", name="A", meaning=meaning, utc=TIME, key=key, before=made))
    assert read_report_signatures([one.line() for one in made], b"x") == tuple(made)
    with pytest.raises(RecordBroken, match=words):
        read_report_signatures(change(made), b"x")


def test_forged_signatures_are_refused() -> None:
    """An all-zero signature, an unknown person, another key."""
    key, other = Ed25519PrivateKey.generate(), Ed25519PrivateKey.generate()
    one = sign_report(b"x", name="A", meaning="approved", utc=TIME, key=key, before=())
    check_report_signatures([one], {"A": key.public_key()})
    with pytest.raises(RecordBroken, match="was not made by A"):
        check_report_signatures(
            [ReportSignature(statement=one.statement, signature="0" * 128)],
            {"A": key.public_key()},
        )
    for keys in ({}, {"A": other.public_key()}):
        with pytest.raises(RecordBroken, match="no key of A fits it"):
            check_report_signatures([one], keys)
