"""Voice profiles of the synthetic speakers, made as enrolment makes them.

Each speaker says every phrase once, at another pace than in the measurements and almost without
noise. A synthesiser repeats itself more exactly than a person does, so what a profile gains here is
the most that it can gain.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import bytes_of
from assistant.speech.utterance_verification.dtw_templates import Compared
from assistant.speech.utterance_verification.profile import Profile, make_profile
from tests.listening_bench.cases import Case, Material
from tests.listening_bench.noise import laid_in, trimmed_speech
from tests.listening_bench.voices import Speaker, speech

PACE: Final = 1.09
"""Of the enrolment, relative to the pace of the measurements."""
_ROOM_DB: Final = 40.0
_AROUND: Final = SAMPLE_RATE // 5
"""Samples kept before and after the words."""


class Enrolled:
    """The sayings of one half's speakers, each made when it is first needed."""

    def __init__(self, material: Material, folder: Path) -> None:
        """Say whose, and where renderings are kept."""
        self._material = material
        self._folder = folder
        self._sayings: dict[tuple[str, str], Profile] = {}

    def figures(
        self, case: Case, utterance: Compared, phrase: str, second: str
    ) -> Mapping[str, float]:
        """Return the evidence of the profile in force.

        That is the speaker's own, and for other talk anybody's; of the profile only what the
        figures need is made.

        Args:
            case: who speaks.
            utterance: what was heard.
            phrase: the phrase under test.
            second: the best other phrase, "" when there is none.
        """
        people = self._material.speakers
        own = [who for who in people if who.name == case.voice and case.kind != "chatter"]
        who = own[0] if own else people[case.number % len(people)]
        said = [self._said(who, text) for text in (phrase, second) if text]
        templates = {text: rows for each in said for text, rows in each.templates.items()}
        profile = Profile(name=who.name, templates=templates)
        return profile.figures(utterance, phrase, second)

    def _said(self, who: Speaker, text: str) -> Profile:
        key = who.name, text
        if key not in self._sayings:
            other = replace(who, speed=round(who.speed * PACE, 3))
            words = trimmed_speech(speech(other, text, self._folder))
            seed = int.from_bytes(hashlib.sha256(f"{who.name}|{text}".encode()).digest()[:4])
            generator = np.random.default_rng(seed)
            clip, begin, end = laid_in(words, "pink", _ROOM_DB, generator, self._material.talk)
            pcm = bytes_of(clip[begin - _AROUND : end + _AROUND])
            self._sayings[key] = make_profile(who.name, [(text, pcm)])
        return self._sayings[key]
