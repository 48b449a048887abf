"""Where speech begins and ends, on synthetic speech in noise of known place."""

import dataclasses

import numpy as np
import pytest

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE
from assistant.speech.endpoint import Endpointer, EndpointSettings, Segment, for_numbers
from assistant.speech.pcm import bytes_of, samples_of
from assistant.speech.simulated_room import Colour, SimulatedRoom
from assistant.speech.tts import Voice
from assistant.speech.utterance_verification.verifier import LONGEST

PHRASES = ("bottom port open", "shaft raised to middle", "stand by", "vial seven full")
VOICES = ("en-us", "en-us+f3", "en-gb-scotland")
COLOURS: tuple[Colour, ...] = ("white", "pink", "hum")


@pytest.fixture(scope="module")
def voices() -> list[Voice]:
    """Three voices that render each phrase once."""
    return [Voice(name) for name in VOICES]


def listen(endpointer: Endpointer, room: SimulatedRoom, seconds: float) -> list[Segment]:
    """Feed a stretch of the room and return what was cut out of it."""
    blocks = round(seconds * SAMPLE_RATE / BLOCK_SAMPLES)
    found = [endpointer.feed(room.next_block()) for _ in range(blocks)]
    return [segment for segment in found if segment is not None]


def settled(room: SimulatedRoom, settings: EndpointSettings | None = None) -> Endpointer:
    """Return an endpointer that knows the room."""
    endpointer = Endpointer(settings)
    assert listen(endpointer, room, 2.0) == []
    return endpointer


def tone(seconds: float) -> bytes:
    """Return a buzz rich in harmonics, loud from the first to the last sample."""
    time = np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    return bytes_of(8000 * np.sign(np.sin(2 * np.pi * 130 * time)))


@pytest.mark.parametrize("colour", COLOURS)
@pytest.mark.parametrize(("snr_db", "slack_ms"), [(30.0, 60), (20.0, 90), (10.0, 220)])
def test_each_phrase_is_cut_out_once_at_its_ends(
    voices: list[Voice], colour: Colour, snr_db: float, slack_ms: int
) -> None:
    """No phrase is missed, split or joined; the ends are found within the slack.

    In loud noise the faint last sounds of a phrase are under the noise, hence the slack.
    """
    room = SimulatedRoom(snr_db=snr_db, colour=colour, seed=11)
    endpointer = settled(room)
    for voice in voices:
        for phrase in PHRASES:
            begin = room.samples
            pcm = voice.render(phrase)
            room.say(pcm)
            end = begin + len(pcm) // 2
            found = listen(endpointer, room, len(pcm) / 2 / SAMPLE_RATE + 0.9)
            assert len(found) == 1, phrase
            segment = found[0]
            assert segment.ended_by == "quiet"
            assert not segment.too_short
            assert abs(segment.first_sample - begin) < slack_ms * 16 + BLOCK_SAMPLES
            assert end - slack_ms * 16 - BLOCK_SAMPLES < segment.last_sample < end + 60 * 16


def test_the_decision_falls_soon_after_the_end(voices: list[Voice]) -> None:
    """From the end of the sound to the decision: the hang time and at most 100 ms more."""
    room = SimulatedRoom(snr_db=20, seed=3)
    endpointer = settled(room)
    delays = []
    for voice in voices:
        for phrase in PHRASES:
            pcm = voice.render(phrase)
            end = room.samples + len(pcm) // 2
            room.say(pcm)
            (segment,) = listen(endpointer, room, len(pcm) / 2 / SAMPLE_RATE + 0.9)
            delays.append((segment.closed_sample - end) / 16)
    assert np.quantile(delays, 0.95) <= 350


@pytest.mark.parametrize("colour", COLOURS)
def test_a_minute_of_steady_noise_holds_no_speech(colour: Colour) -> None:
    """Nothing is cut out of noise alone."""
    room = SimulatedRoom(snr_db=20, colour=colour, seed=8)
    assert listen(Endpointer(), room, 60) == []


def test_the_cut_keeps_a_lead_and_a_tail() -> None:
    """The sound given out begins 300 ms before and ends 100 ms behind the loud part."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = settled(room)
    begin = room.samples
    room.say(tone(0.5))
    (segment,) = listen(endpointer, room, 1.5)
    assert segment.first_sample == pytest.approx(begin, abs=25 * 16)
    assert segment.last_sample == pytest.approx(begin + 8000, abs=50 * 16)
    length = len(segment.utterance.pcm) // 2
    assert length == segment.last_sample - segment.first_sample + 400 * 16
    assert segment.duration_ms == (segment.last_sample - segment.first_sample) // 16
    loud = np.flatnonzero(np.abs(samples_of(segment.utterance.pcm)) > 1000)
    assert loud[0] == pytest.approx(300 * 16, abs=25 * 16)


def test_levels_and_clipping_are_reported() -> None:
    """The level of the speech and of the room, and how many samples sit at the end of the scale."""
    room = SimulatedRoom(snr_db=30, speech_dbfs=-20, seed=2)
    endpointer = settled(room)
    room.say(tone(0.5))
    (segment,) = listen(endpointer, room, 1.5)
    assert segment.level_dbfs == pytest.approx(-20, abs=1)
    assert segment.floor_dbfs == pytest.approx(-50, abs=1.5)
    assert segment.clipped == 0
    room.say(tone(0.5), gain_db=30)
    (segment,) = listen(endpointer, room, 1.5)
    assert segment.clipped > 7000


def test_clicks_are_ignored_and_short_sounds_marked() -> None:
    """Under 100 ms is nothing; under 250 ms is too short to be a phrase."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = settled(room)
    room.say(tone(0.03))
    assert listen(endpointer, room, 1.0) == []
    room.say(tone(0.15))
    (segment,) = listen(endpointer, room, 1.0)
    assert segment.too_short
    room.say(tone(0.4))
    (segment,) = listen(endpointer, room, 1.0)
    assert not segment.too_short


def test_talk_past_the_limit_is_cut_and_its_end_is_not_heard() -> None:
    """After 3.5 s the sound is cut; what follows without a pause is not given out at all."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = settled(room)
    begin = room.samples
    # Changing loudness, since the floor would follow a steady tone.
    for number in range(45):
        room.say(tone(0.1), gain_db=-12.0 if number % 2 else 0.0)
    found = listen(endpointer, room, 6.0)
    assert [segment.ended_by for segment in found] == ["limit"]
    assert found[0].closed_sample - begin == pytest.approx(3.5 * SAMPLE_RATE, abs=100 * 16)
    room.say(tone(0.5))
    (segment,) = listen(endpointer, room, 1.5)
    assert segment.ended_by == "quiet"


def test_the_limit_is_a_setting() -> None:
    """A longer limit lets a longer sentence through."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = settled(room, EndpointSettings(maximum_ms=5000))
    for number in range(40):
        room.say(tone(0.1), gain_db=-12.0 if number % 2 else 0.0)
    (segment,) = listen(endpointer, room, 6.0)
    assert segment.ended_by == "quiet"
    assert segment.duration_ms == pytest.approx(4000, abs=100)


def test_a_fan_that_starts_is_no_endless_speech() -> None:
    """A sudden steady noise is at most one cut; afterwards phrases are heard over it."""
    quiet = SimulatedRoom(snr_db=45, seed=1)
    loud = SimulatedRoom(snr_db=20, seed=2)
    endpointer = settled(quiet)
    found = listen(endpointer, loud, 5.0)
    assert len(found) <= 1
    pcm = Voice().render("bottom port open")
    loud.say(pcm)
    (segment,) = listen(endpointer, loud, len(pcm) / 32000 + 0.9)
    assert segment.ended_by == "quiet"


CHATTER = (
    "please put the parcels on the second pallet near the door and call the office",
    "the forklift needs a new battery before the afternoon or it will not lift anything",
    "it rained all day and the road along the river was closed for several hours",
)


def chatter(seconds: float, dbfs: float) -> list[bytes]:
    """Return blocks in which somebody talks on and on, with short pauses between sentences."""
    room = SimulatedRoom(snr_db=15, speech_dbfs=dbfs, seed=9)
    voice = Voice("en-gb-scotland", 170)
    blocks: list[bytes] = []
    while len(blocks) * 0.05 < seconds:
        if not room.speaking:
            room.say(voice.render(CHATTER[len(blocks) % 3]), after_s=0.4)
        blocks.append(room.next_block())
    return blocks


def over_chatter(endpointer: Endpointer, distance_db: float) -> tuple[int, int]:
    """Say ten phrases over chatter; return how many were cut out by themselves, and all cuts."""
    background = chatter(36.0, -26.0 - distance_db)
    room = SimulatedRoom(snr_db=60, seed=1)
    voices = [Voice(name) for name in VOICES]
    found: list[Segment] = []
    places: list[tuple[int, int]] = []
    for number, block in enumerate(background):
        if number % 60 == 59 and len(places) < 10:
            pcm = voices[len(places) % 3].render(PHRASES[len(places) % len(PHRASES)])
            places.append((room.samples, room.samples + len(pcm) // 2))
            room.say(pcm)
        mixed = samples_of(room.next_block()).astype(float) + samples_of(block)
        segment = endpointer.feed(bytes_of(mixed))
        found += [] if segment is None else [segment]
    alone = [
        any(
            abs(segment.first_sample - first) < 4000 and abs(segment.last_sample - last) < 5000
            for segment in found
        )
        for first, last in places
    ]
    return sum(alone), len(found)


def test_phrases_are_cut_out_of_chatter_far_below_them() -> None:
    """Somebody who talks without end, 20 dB fainter, neither joins nor swallows the phrases."""
    alone, _all = over_chatter(Endpointer(), 20.0)
    assert alone >= 9


def test_with_the_operators_level_known_chatter_is_no_speech() -> None:
    """Nothing but the ten phrases is given out when the least level is set."""
    alone, cuts = over_chatter(Endpointer(EndpointSettings(least_dbfs=-41.0)), 22.0)
    assert alone >= 9
    assert cuts <= 11


def test_a_much_louder_voice_is_heard_in_the_deaf_time_of_a_long_talk() -> None:
    """After a cut nothing of the talk is heard, but the operator is."""
    endpointer = Endpointer()
    room = SimulatedRoom(snr_db=60, speech_dbfs=-26, seed=1)
    listen(endpointer, room, 1.0)
    for number in range(45):
        room.say(tone(0.1), gain_db=-30.0 if number % 2 else -24.0)
    found = listen(endpointer, room, 4.0)
    assert [segment.ended_by for segment in found] == ["limit"]
    room.hush()
    begin = room.samples
    room.say(tone(0.6))
    for _ in range(15):
        room.say(tone(0.1), gain_db=-24.0)
    segment, *_faint = listen(endpointer, room, 2.5)
    assert segment.first_sample == pytest.approx(begin, abs=100 * 16)
    assert segment.duration_ms == pytest.approx(600, abs=120)


def test_nothing_is_heard_before_the_room_is_known() -> None:
    """The first 300 ms only teach the floor."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = Endpointer()
    room.say(tone(0.25))
    assert listen(endpointer, room, 1.0) == []


def test_the_end_of_the_stream_gives_out_what_had_begun() -> None:
    """A file may end in the middle of a phrase; without one there is nothing to give out."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = settled(room)
    assert endpointer.finish() is None
    room.say(tone(2.0))
    assert listen(endpointer, room, 0.5) == []
    segment = endpointer.finish()
    assert segment is not None
    assert segment.ended_by == "end"
    assert segment.duration_ms == pytest.approx(500, abs=60)
    assert endpointer.finish() is None


def test_skipping_moves_the_place_and_drops_what_had_begun() -> None:
    """Sound that is kept from the detector still counts as time."""
    room = SimulatedRoom(snr_db=30, seed=2)
    endpointer = settled(room)
    room.say(tone(0.3))
    listen(endpointer, room, 0.3)
    assert endpointer.in_speech
    before = endpointer.position
    endpointer.skip(BLOCK_SAMPLES)
    assert not endpointer.in_speech
    assert endpointer.position == before + BLOCK_SAMPLES
    room.hush()
    assert listen(endpointer, room, 1.0) == []
    room.say(tone(0.5))
    (segment,) = listen(endpointer, room, 1.5)
    assert len(segment.utterance.pcm) // 2 == segment.last_sample - segment.first_sample + 6400


def test_a_forgotten_room_is_learned_again() -> None:
    """After a change of microphone its louder noise is no speech."""
    endpointer = settled(SimulatedRoom(snr_db=60, seed=1))
    endpointer.forget_room()
    assert listen(endpointer, SimulatedRoom(snr_db=10, seed=1), 3.0) == []


def test_the_same_blocks_give_the_same_segments() -> None:
    """The detector is a function of what it was fed."""
    results = []
    for _ in range(2):
        room = SimulatedRoom(snr_db=15, seed=6)
        endpointer = settled(room)
        room.say(tone(0.5))
        results.append(listen(endpointer, room, 1.5))
    assert results[0] == results[1]
    assert dataclasses.is_dataclass(results[0][0])


def test_a_block_of_another_length_is_refused() -> None:
    """Half a block is a mistake of the program."""
    with pytest.raises(ValueError, match="800 samples"):
        Endpointer().feed(bytes(800))


def test_what_is_pending_is_what_is_given_out_when_nothing_more_is_said(
    voices: list[Voice],
) -> None:
    """The utterance announced in the pause holds the very samples of the finished one."""
    room = SimulatedRoom(snr_db=25, colour="pink", seed=3)
    endpointer = settled(room)
    ahead = []
    for voice in voices:
        for phrase in PHRASES:
            room.say(voice.render(phrase))
            early, early_at = None, 0
            segment = None
            while segment is None:
                segment = endpointer.feed(room.next_block())
                pending = endpointer.pending()
                if pending is not None and pending != early:
                    early, early_at = pending, endpointer.position
            assert endpointer.pending() is None
            if early == segment.utterance:
                ahead.append((endpointer.position - early_at) / SAMPLE_RATE)
            listen(endpointer, room, 0.6)
    assert len(ahead) == len(PHRASES) * len(voices)
    assert min(ahead) >= 0.10


def test_nothing_is_pending_before_speech_and_within_a_click() -> None:
    """Noise alone and what is too short are not announced."""
    room = SimulatedRoom(snr_db=25, colour="pink", seed=3)
    endpointer = settled(room)
    room.say(tone(0.12))
    for _ in range(12):
        endpointer.feed(room.next_block())
        assert endpointer.pending() is None


def test_the_longest_that_is_cut_out_is_the_longest_that_is_judged() -> None:
    """With the quiet that the judge leaves around it (200 ms before) it is not too long for it."""
    kept = EndpointSettings().post_roll_ms / 1000
    longest = EndpointSettings().maximum_ms / 1000 + 0.2 + kept
    assert LONGEST - 0.25 <= longest <= LONGEST


def test_digits_may_take_longer_and_pause_longer(voices: list[Voice]) -> None:
    """Nine words with pauses of 300 ms are one utterance while a number is asked for, else not."""
    words = ["one", "two", "three", "four", "five", "decimal", "six", "seven", "milligrams"]
    cut = []
    for settings in (EndpointSettings(), for_numbers(EndpointSettings())):
        room = SimulatedRoom(snr_db=25, colour="pink", seed=3)
        endpointer = settled(room, settings)
        for word in words:
            room.say(voices[0].render(word), after_s=0.1)
        cut.append(listen(endpointer, room, 12.0))
    assert len(cut[0]) > 1 or cut[0][0].ended_by == "limit"
    assert [each.ended_by for each in cut[1]] == ["quiet"]
