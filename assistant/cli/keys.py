"""`keys`: a person's key pair for signing records."""

from dataclasses import dataclass
from pathlib import Path

from assistant.cli.output import terminal
from assistant.cli.passphrase import passphrase
from assistant.errors import InputError
from assistant.storage.keys import make_keys


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `keys`."""

    name: str
    into: Path
    passphrase_file: Path | None


def run(options: Options) -> int:
    """Make the keys and say where they are.

    Raises:
        InputError: the folder is not there, or the name or passphrase cannot be used.
        RecordError: the files cannot be written.
    """
    if not options.into.is_dir():
        raise InputError(f"There is no folder {options.into}: make it first.")
    public = make_keys(options.into, options.name, passphrase(options.passphrase_file, new=True))
    console = terminal()
    console.print(f"public key {public}: give it to whoever checks records")
    private = public.with_suffix(".key.pem")
    console.print(f"private key {private}: keep it to yourself")
    return 0
