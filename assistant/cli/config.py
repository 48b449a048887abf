"""What a user wants every time: devices, headset, switch and engine, from one small file.

An option on the command line comes first, then this file, then the program's own choice.
"""

import argparse
import os
import tomllib
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from assistant.errors import InputError
from assistant.user_folder import user_folder

FILE_VARIABLE: Final = "SAMPLING_ASSISTANT_CONFIG"
"""Names another file."""


class Config(BaseModel):
    """The file's keys, each as the option of the same name."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    microphone: str = ""
    speaker: str = ""
    headset: bool = False
    key: Literal["enter", "space"] = "enter"
    engine: Literal["phones", "embedded", "vosk"] = "phones"
    model: Path | None = None
    profiles: Path | None = None
    authority_url: str = ""
    authority: Path | None = None


def config_path() -> Path:
    """Return the file that the environment names, else the one in the user's folder."""
    named = os.environ.get(FILE_VARIABLE)
    return Path(named) if named else user_folder() / "config.toml"


def read_config(path: Path, *, named: bool) -> Config:
    """Read the file.

    Args:
        path: of the file.
        named: whether somebody asked for this very file, so that it must be there.

    Raises:
        InputError: it is not there though named, cannot be read, or holds what it may not.
    """
    try:
        return Config.model_validate(tomllib.loads(path.read_text("utf-8")))
    except FileNotFoundError:
        if not named:
            return Config()
        raise InputError(f"There is no configuration {path}; check ${FILE_VARIABLE}.") from None
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The configuration {path} cannot be read: {reason}.") from None
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{path}: '{where}': {first['msg'].lower()}.") from None
    except ValueError as fault:  # not TOML, or not UTF-8
        raise InputError(f"{path}: not valid TOML: {fault}.") from None


def configure(options: argparse.Namespace) -> None:
    """Put what the file says where the command line says nothing.

    Raises:
        InputError: as for `read_config`.
    """
    named = bool(os.environ.get(FILE_VARIABLE))
    config = read_config(config_path(), named=named)
    for name in Config.model_fields:
        if getattr(options, name, "absent") in (None, ""):
            setattr(options, name, getattr(config, name))
