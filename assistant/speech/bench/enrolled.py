"""Voice profiles of the synthetic speakers, made as enrolment makes them.

Each speaker says every phrase once, at another pace than in the measurements and almost without
noise. A synthesiser repeats itself more exactly than a person does, so what a profile gains here is
the most that it can gain.
"""

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from assistant.ports import SAMPLE_RATE
from assistant.speech.acceptance.profile import (
    Profile,
    load_profile,
    make_profile,
    profile_path,
    save_profile,
)
from assistant.speech.bench.cases import Case, Material
from assistant.speech.bench.noise import laid_in, trimmed_speech
from assistant.speech.bench.voices import Speaker, speech
from assistant.speech.pcm import bytes_of

PACE: Final = 1.09
"""Of the enrolment, relative to the pace of the measurements."""
_ROOM_DB: Final = 40.0
_AROUND: Final = SAMPLE_RATE // 5
"""Samples kept before and after the words."""


class Enrolled:
    """The profiles of one half, each made when it is first needed."""

    def __init__(self, material: Material, folder: Path) -> None:
        """Say whose profiles, and where renderings are kept."""
        self._material = material
        self._folder = folder
        self._profiles: dict[str, Profile] = {}

    def for_case(self, case: Case) -> Profile:
        """Return the profile in force: the speaker's own, for other talk anybody's."""
        people = self._material.speakers
        own = [who for who in people if who.name == case.voice and case.kind != "chatter"]
        who = own[0] if own else people[case.number % len(people)]
        if who.name not in self._profiles:
            self._profiles[who.name] = self._kept(who)
        return self._profiles[who.name]

    def _kept(self, who: Speaker) -> Profile:
        folder = self._folder / "profiles"
        if not profile_path(who.name, folder).is_file():
            save_profile(self._made(who), folder)
        return load_profile(who.name, folder)

    def _made(self, who: Speaker) -> Profile:
        other = replace(who, speed=round(who.speed * PACE, 3))
        sayings: list[tuple[str, bytes]] = []
        for text in self._material.union:
            seed = int.from_bytes(hashlib.sha256(f"{who.name}|{text}".encode()).digest()[:4])
            words = trimmed_speech(speech(other, text, self._folder))
            generator = np.random.default_rng(seed)
            clip, begin, end = laid_in(words, "pink", _ROOM_DB, generator, self._material.talk)
            sayings.append((text, bytes_of(clip[begin - _AROUND : end + _AROUND])))
        return make_profile(who.name, sayings)
