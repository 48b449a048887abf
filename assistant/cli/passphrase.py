"""Where a passphrase comes from: a file, the environment, or the person, unseen."""

import getpass
import os
import warnings
from pathlib import Path

from assistant.cli.files import read_file
from assistant.errors import InputError

VARIABLE = "SAMPLING_ASSISTANT_PASSPHRASE"
"""Environment variable that is taken before anybody is asked."""


def passphrase(file: Path | None, *, new: bool = False) -> str:
    """Return the passphrase of a private key.

    Args:
        file: holds it in its first line; None to look into the environment and then ask.
        new: ask twice, as it cannot be guessed again.

    Raises:
        InputError: the file cannot be read, is no text, the two did not agree, or there is nobody
            to ask.
    """
    if file is not None:
        try:
            text = read_file(file, "passphrase file").decode()
        except UnicodeDecodeError:
            raise InputError(f"The passphrase file {file} is no UTF-8 text.") from None
        return (text.splitlines() or [""])[0]
    if (given := os.environ.get(VARIABLE)) is not None:
        return given
    return _asked(new=new)


def _asked(*, new: bool) -> str:
    """Ask the person; never where the passphrase would stand on the screen."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", getpass.GetPassWarning)
            first = getpass.getpass("passphrase: ")
            if new and getpass.getpass("once more: ") != first:
                raise InputError("The two passphrases differ: begin again.")
    except getpass.GetPassWarning:
        raise InputError(
            f"No passphrase can be typed unseen here: use --passphrase-file, or set {VARIABLE}."
        ) from None
    except EOFError:
        raise InputError("No passphrase was given: type it, or use --passphrase-file.") from None
    return first
