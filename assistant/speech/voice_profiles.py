"""Storage of speakers' voice profiles."""

import re
from pathlib import Path

from assistant.errors import InputError
from assistant.speech.phone_decoder import VoiceProfile
from assistant.user_folder import user_folder


def profile_path(name: str, folder: Path | None = None) -> Path:
    """Return the path of a person's profile.

    Args:
        name: the person's name, as given to `enrol`.
        folder: folder of the profiles; by default the user's.

    Raises:
        InputError: the name has no character that can be used in a file name.
    """
    stem = re.sub(r"[^\w.-]+", "-", " ".join(name.split()).casefold()).strip("-.")
    if not stem:
        raise InputError(f'"{name}" cannot name a profile; use letters or digits.')
    return (folder or user_folder() / "profiles") / f"{stem}.voice.json"


def existing_profile(name: str, folder: Path | None = None) -> Path:
    """Return the path of an existing profile.

    Raises:
        InputError: there is no such profile.
    """
    path = profile_path(name, folder)
    if not path.is_file():
        raise InputError(
            f'There is no voice profile of "{name}" ({path}); create one with: enrol "{name}"'
        )
    return path


def save_profile(profile: VoiceProfile, folder: Path | None = None) -> Path:
    """Write a profile, replacing an earlier one of the same person.

    Raises:
        InputError: the folder cannot be written.
    """
    path = profile_path(profile.name, folder)
    beside = path.with_suffix(".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(profile.encoded())
        beside.replace(path)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The profile {path} cannot be written: {reason}.") from None
    return path
