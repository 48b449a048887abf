"""The tones: short, different from each other, and in front of the words."""

from itertools import combinations
from typing import get_args

from assistant.ports import SAMPLE_RATE, Tone
from assistant.speech.pcm import level_dbfs, samples_of
from assistant.speech.tones import sound_of
from assistant.speech.tts import Voice
from tests.unit.speech.test_tts import SENTENCE, CountingRenderer

TONES: tuple[Tone, ...] = get_args(Tone)


def test_each_is_short_loud_enough_and_its_own() -> None:
    """A third of a second at most, no click at either end, nothing clipped."""
    for tone in TONES:
        signal = samples_of(sound_of(tone))
        assert 0.05 < signal.size / SAMPLE_RATE < 0.34
        assert abs(int(signal[0])) < 100
        assert abs(int(signal[-1])) < 100
        assert -25 < level_dbfs(sound_of(tone)) < -10
    assert all(sound_of(one) != sound_of(other) for one, other in combinations(TONES, 2))


def test_a_tone_comes_before_the_words_or_alone() -> None:
    """The words are rendered as ever; no words need no renderer."""
    renderer = CountingRenderer()
    voice = Voice("alto", 120, renderer)
    assert voice.render("", "heard") == sound_of("heard")
    assert renderer.asked == []
    assert voice.render(SENTENCE, "doubt") == sound_of("doubt") + voice.render(SENTENCE)
