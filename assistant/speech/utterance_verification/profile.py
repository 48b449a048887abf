"""One person's voice, as enrolment found it: what sharpens the decision for him.

The file holds one template for each phrase: its spectrum in 24 bands. It is personal data all the
same; its hash goes on record with the name of the judge, and nothing else of it.
"""

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from assistant.errors import InputError
from assistant.speech.utterance_verification.dtw_templates import (
    Compared,
    Powers,
    pack,
    spoken,
    unpack,
)
from assistant.speech.utterance_verification.trimming import samples_of
from assistant.user_folder import user_folder

USUAL_GAP: Final = 2.0
"""Taken for the distance between two phrases where only one of them has a template."""


class Profile(BaseModel):
    """A person's voice."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["voice profile 1"] = "voice profile 1"
    name: str = Field(min_length=1, max_length=80)
    templates: dict[str, tuple[str, ...]] = Field(min_length=1)
    """Each phrase to its sayings, packed as text."""

    @field_validator("templates")
    @classmethod
    def _readable(cls, found: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
        for sayings in found.values():
            for each in sayings:
                unpack(each)
        return found

    @cached_property
    def spectra(self) -> Mapping[str, Sequence[Powers]]:
        """Each phrase to its templates."""
        return {text: tuple(map(unpack, rows)) for text, rows in self.templates.items()}

    def figures(self, utterance: Compared, phrase: str, second: str) -> Mapping[str, float]:
        """Return how much an utterance is like this person saying the phrase.

        Args:
            utterance: what was heard.
            phrase: the phrase under test.
            second: the best other phrase, "" when there is none.

        Returns:
            `v_own`, the distance to the phrase, and `v_gap`, how much farther the other one is;
            empty where the person never said the phrase.
        """
        if phrase not in self.spectra:
            return {}
        own = self._distance(utterance, phrase)
        other = self._distance(utterance, second) if second in self.spectra else own + USUAL_GAP
        return {"v_own": own, "v_gap": other - own}

    def _distance(self, utterance: Compared, phrase: str) -> float:
        return min(utterance.distance(rows) for rows in self.spectra[phrase])

    def encoded(self) -> bytes:
        """Return the bytes of its file."""
        return (self.model_dump_json(indent=1) + "\n").encode()

    @property
    def digest(self) -> str:
        """SHA-256 of the file, in hexadecimal."""
        return hashlib.sha256(self.encoded()).hexdigest()


def make_profile(name: str, sayings: Iterable[tuple[str, bytes]]) -> Profile:
    """Make a profile from phrases and how they were said (16-bit mono at `SAMPLE_RATE`).

    Raises:
        InputError: nothing was said.
    """
    found: dict[str, tuple[str, ...]] = {}
    for phrase, pcm in sayings:
        found[phrase] = (*found.get(phrase, ()), pack(spoken(samples_of(pcm))))
    if not found:
        raise InputError(f'Nothing was heard of "{name}"; say each phrase when it is asked for.')
    return Profile(name=name, templates=found)


def profile_path(name: str, folder: Path | None = None) -> Path:
    """Return where a person's profile is kept.

    Raises:
        InputError: nothing of the name can stand in a file's name.
    """
    stem = re.sub(r"[^\w.-]+", "-", " ".join(name.split()).casefold()).strip("-.")
    if not stem:
        raise InputError(f'"{name}" cannot name a profile; use letters or digits.')
    return (folder or user_folder() / "profiles") / f"{stem}.voice.json"


def save_profile(profile: Profile, folder: Path | None = None) -> Path:
    """Write a profile, in place of an earlier one of the same person.

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


def load_profile(name: str, folder: Path | None = None) -> Profile:
    """Read a person's profile.

    Args:
        name: of the person, as given to `enrol`.
        folder: of the profiles; the user's if not given.

    Raises:
        InputError: there is none, or its file is damaged.
    """
    path = profile_path(name, folder)
    try:
        return Profile.model_validate_json(path.read_bytes())
    except FileNotFoundError:
        raise InputError(
            f'There is no voice profile of "{name}" ({path}); make one with: enrol "{name}"'
        ) from None
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The profile {path} cannot be read: {reason}.") from None
    except ValidationError:
        raise InputError(
            f'The voice profile {path} is damaged; make it again with: enrol "{name}"'
        ) from None
