"""The options of commands that write a file: its name, and whether it may replace another."""

import argparse
from pathlib import Path

Sub = argparse.ArgumentParser


def output_options(sub: Sub, what: str = "file to write") -> None:
    """Add the file to write, which must be named."""
    sub.add_argument("-o", "--output", type=Path, required=True, help=what)
    overwrite_option(sub)


def overwrite_option(sub: Sub) -> None:
    """Add the leave to replace an existing file."""
    sub.add_argument("--overwrite", action="store_true", help="replace a file of that name")
