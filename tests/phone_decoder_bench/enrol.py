"""What enrolment gains: the same clips with and without a profile of their voice."""

from collections.abc import Iterator

import numpy as np

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import Samples
from assistant.speech.phone_decoder import (
    PhoneModel,
    PhraseVerifier,
    Pronunciations,
    VoiceProfile,
    fit_profile,
)
from assistant.speech.phone_decoder.decision import Calibration

from .clips import LEVELS, Clip, Studio, grammar, laid, phrases
from .measure import interval, stakes

EDGE = 3 * SAMPLE_RATE // 10
ENROLLED = 30
"""Phrases said once for a profile: about a minute."""
ASKED = 30
"""Other phrases on which it is tried."""


def cut(clip: Clip) -> Samples:
    """Return the words with 0.3 s around them."""
    return clip.samples[max(clip.begin - EDGE, 0) : clip.end + EDGE]


def compare(
    model: PhoneModel, words: Pronunciations, rule: Calibration, studio: Studio
) -> Iterator[str]:
    """Yield a line for each voice and level: taken without, and with a profile."""
    order = np.random.default_rng(9).permutation(len(phrases()))
    chosen = [phrases()[int(place)] for place in order]
    for who in studio.voices:
        sayings = []
        for number, phrase in enumerate(chosen[:ENROLLED]):
            piece = (who.name, phrase, phrase, studio.say(who, phrase))
            clip = laid("phrase", "clean", number, piece, studio)
            sound = cut(clip).astype("<i2").tobytes()
            sayings.append((words.phrase(phrase), model.run(sound)))
        profile = fit_profile(who.name, model.sha256, sayings)
        for level in LEVELS:
            pieces = [(who.name, each, each, studio.say(who, each)) for each in chosen[-ASKED:]]
            clips = [laid("phrase", level, n, piece, studio) for n, piece in enumerate(pieces)]
            counts = [_taken(model, words, rule, each, clips) for each in (None, profile)]
            told = [f"{hits} {interval(hits, len(clips))}" for hits in counts]
            yield f"{who.name} {level}: {len(clips)} clips, taken {told[0]}, enrolled {told[1]}"


def _taken(
    model: PhoneModel,
    words: Pronunciations,
    rule: Calibration,
    profile: VoiceProfile | None,
    clips: list[Clip],
) -> int:
    verifier = PhraseVerifier(model, words, grammar()["digits"], rule, profile)
    verifier.set_legal(stakes())
    found = [(verifier.judge(cut(clip)), clip.phrase) for clip in clips]
    return sum(each.decision == "accept" and each.phrase == phrase for each, phrase in found)
