"""The options of the commands that prove, sign, stamp, show and export a record."""

import argparse
from pathlib import Path

from assistant.cli.output_options import output_options, overwrite_option

MEANINGS = ("performed", "witnessed", "reviewed", "approved")
"""Meanings of a signature; the journal's own list is not imported, so that --help stays fast."""

REQUIREMENTS = ("anchored-to-end", "closed", "live", "steady-time", "trusted-time", *MEANINGS)
"""Values of `verify --require`; `assistant.record.standing` checks them."""

Sub = argparse.ArgumentParser


def proof_options(sub: Sub) -> None:
    """Add what vouches for a record from outside, and what must hold."""
    sub.add_argument("--head", help="head code heard or noted during the session")
    sub.add_argument("--keys", type=Path, help="folder of public keys, to check the signatures")
    authority_options(sub)
    sub.add_argument(
        "--require",
        action="append",
        choices=REQUIREMENTS,
        default=[],
        help="condition that must be met, else exit code 1; may be given several times; several "
        "meanings must be signed by different persons",
    )


def authority_options(sub: Sub) -> None:
    """Add the certificates by which time stamps are trusted."""
    sub.add_argument(
        "--authority",
        type=Path,
        metavar="CERTIFICATES",
        help="PEM file of the root and intermediate certificates of the time-stamping authority",
    )


def station_options(sub: Sub) -> None:
    """Add what keeps a live session's heads outside its record."""
    sub.add_argument(
        "--register",
        type=Path,
        help="register file for opening, heads and end, preferably on another medium",
    )
    sub.add_argument(
        "--authority-url",
        metavar="ADDRESS",
        help="time-stamping authority (RFC 3161) to be asked at opening, after every insertion and "
        "at the end; the session does not wait for it",
    )
    authority_options(sub)


def time_stamp_options(sub: Sub) -> None:
    """Add the options of `time-stamp`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    how = sub.add_mutually_exclusive_group(required=True)
    how.add_argument("--request", type=Path, help="file to write the request to (RFC 3161)")
    overwrite_option(sub)
    how.add_argument("--response", type=Path, help="file with the authority's response")
    how.add_argument("--url", help="address of the authority, to ask it over the network")
    authority_options(sub)


def register_options(sub: Sub) -> None:
    """Add the options of `register`."""
    sub.add_argument("register", type=Path, help="register of the station")
    sub.add_argument("--head", help="head code of the register noted earlier")


def verify_options(sub: Sub) -> None:
    """Add the options of `verify`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    proof_options(sub)
    sub.add_argument(
        "--signed",
        metavar="CODE",
        help="signature code noted earlier; shows whether a signature has been removed since",
    )
    sub.add_argument(
        "--register",
        type=Path,
        help="register of the station; also lists the sessions that have vanished since",
    )
    sub.add_argument(
        "--re-hear",
        action="store_true",
        help="also recognise every voice confirmation again with the phone model and "
        "pocketsphinx, and list the differences; does not change the exit code",
    )


def sign_options(sub: Sub) -> None:
    """Add the options of `sign`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument("--as", dest="name", required=True, metavar="NAME", help="printed name")
    sub.add_argument("--meaning", choices=MEANINGS, required=True, help="why you sign")
    sub.add_argument("--key", type=Path, required=True, help="your private key, NAME.key.pem")
    passphrase_options(sub)


def transcribe_options(sub: Sub) -> None:
    """Add the options of `transcribe`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument("--as", dest="name", required=True, metavar="NAME", help="printed name")
    sub.add_argument("--key", type=Path, required=True, help="your private key, NAME.key.pem")
    passphrase_options(sub)
    sub.add_argument(
        "--entry", type=int, metavar="SEQ", help="this remark only, also to correct its text"
    )
    sub.add_argument("--text", help="its text, without listening now; needs --entry")


def sign_report_options(sub: Sub) -> None:
    """Add the options of `sign-report`."""
    sub.add_argument("report", type=Path, help="the report, PDF or HTML")
    sub.add_argument("--as", dest="name", metavar="NAME", help="printed name, to sign")
    sub.add_argument("--meaning", choices=("prepared", "reviewed", "approved"), help="why you sign")
    sub.add_argument("--key", type=Path, help="your private key, NAME.key.pem")
    passphrase_options(sub)
    sub.add_argument("--keys", type=Path, help="folder of public keys, to check the signatures")


def keys_options(sub: Sub) -> None:
    """Add the options of `keys`."""
    sub.add_argument("name", help="printed name of the person")
    sub.add_argument("--into", type=Path, required=True, help="existing folder for both keys")
    passphrase_options(sub)


def passphrase_options(sub: Sub) -> None:
    """Add the source of the passphrase."""
    sub.add_argument(
        "--passphrase-file",
        type=Path,
        help="file whose first line is the passphrase (default: a hidden prompt)",
    )


def export_options(sub: Sub) -> None:
    """Add the options of `export`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument(
        "--as",
        dest="form",
        choices=("csv", "json", "sheet"),
        required=True,
        help="csv: a folder of tables; json: one file with a published schema; sheet: a PDF to "
        "print, with vial labels",
    )
    output_options(sub, "file, or folder for csv")
    proof_options(sub)


VIEW_PORT = 8580


def view_options(sub: Sub, more: str = "") -> None:
    """Add the page for a second person."""
    sub.add_argument("--view", action="store_true", help=f"serve a page for a second person{more}")
    sub.add_argument(
        "--view-port",
        type=int,
        default=VIEW_PORT,
        metavar="PORT",
        help=f"port of the page (default {VIEW_PORT}; 0: any free one)",
    )


def view_host_option(sub: Sub) -> None:
    """Let the page be seen from other machines."""
    sub.add_argument(
        "--view-host",
        metavar="ADDRESS",
        help="serve the page in the network at this machine's address, with TLS and a code for "
        "each viewer (default: this machine alone)",
    )
