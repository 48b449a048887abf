"""Sound files: which are taken, what is said about the others, and how they become blocks."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import InputError
from assistant.ports import SAMPLE_RATE
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.files import LEAD_BLOCKS, TAIL_BLOCKS, blocks_of, read_sound
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.pcm import BLOCK_BYTES, level_dbfs, samples_of
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.tts import Voice
from tests.plain_judge import PlainJudge

TONE = (3000 * np.sin(np.arange(8000) / 5)).astype(np.int16)


def write(
    path: Path, signal: object = TONE, rate: int = SAMPLE_RATE, subtype: str = "PCM_16"
) -> Path:
    """Write a sound file."""
    soundfile.write(path, signal, rate, subtype=subtype)
    return path


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_wav_and_flac_are_read_bit_by_bit(tmp_path: Path, name: str) -> None:
    """16 bits at 16 kHz come out as they went in."""
    assert read_sound(write(tmp_path / name)) == TONE.tobytes()


def test_two_channels_are_mixed_into_one(tmp_path: Path) -> None:
    """The mean of both channels."""
    stereo = np.stack([TONE, np.full_like(TONE, 100)], axis=1)
    mixed = samples_of(read_sound(write(tmp_path / "a.wav", stereo)))
    assert np.abs(mixed - (TONE.astype(float) + 100) / 2).max() <= 0.5


@pytest.mark.parametrize(
    ("rate", "subtype", "found"),
    [
        (8000, "PCM_16", "WAV PCM_16 at 8000 Hz"),
        (48000, "PCM_16", "WAV PCM_16 at 48000 Hz"),
        (16000, "PCM_24", "WAV PCM_24 at 16000 Hz"),
        (16000, "FLOAT", "WAV FLOAT at 16000 Hz"),
        (16000, "ULAW", "WAV ULAW at 16000 Hz"),
    ],
)
def test_other_rates_and_formats_are_refused_with_the_cure(
    tmp_path: Path, rate: int, subtype: str, found: str
) -> None:
    """The sentence says what was found, what is needed, and the command that converts."""
    path = write(tmp_path / "a.wav", TONE / 32768, rate, subtype)
    with pytest.raises(InputError, match=found) as caught:
        read_sound(path)
    assert "sox a.wav -b 16 -r 16000" in str(caught.value)
    assert caught.value.exit_code == 2


def test_other_containers_are_refused(tmp_path: Path) -> None:
    """Even at the right rate."""
    path = tmp_path / "a.aiff"
    soundfile.write(path, TONE, SAMPLE_RATE, subtype="PCM_16")
    with pytest.raises(InputError, match="AIFF"):
        read_sound(path)


def test_empty_missing_and_foreign_files_are_refused(tmp_path: Path) -> None:
    """Each has its own sentence that begins with the file."""
    empty = write(tmp_path / "empty.wav", TONE[:0])
    with pytest.raises(InputError, match=r"empty\.wav: contains no sound"):
        read_sound(empty)
    with pytest.raises(InputError, match=r"none\.wav: no such file"):
        read_sound(tmp_path / "none.wav")
    with pytest.raises(InputError, match="no such file"):
        read_sound(tmp_path)
    for content in (b"", b"hello", b"RIFF\0\0\0\0WAVE"):
        path = tmp_path / "foreign.wav"
        path.write_bytes(content)
        with pytest.raises(InputError, match=r"foreign\.wav: "):
            read_sound(path)


def test_a_file_becomes_whole_blocks_between_noise() -> None:
    """Lead, the file itself, the last block filled up, tail."""
    blocks = list(blocks_of(TONE.tobytes() + TONE[:100].tobytes()))
    assert {len(block) for block in blocks} == {BLOCK_BYTES}
    assert len(blocks) == LEAD_BLOCKS + 10 + 1 + TAIL_BLOCKS
    assert b"".join(blocks[LEAD_BLOCKS : LEAD_BLOCKS + 10]) == TONE.tobytes()
    assert all(any(block) for block in blocks)
    assert list(blocks_of(TONE.tobytes())) == list(blocks_of(TONE.tobytes()))


def test_the_noise_around_is_as_loud_as_the_quiet_parts_of_the_file() -> None:
    """A noisy recording gets a noisy lead; a clean one the faintest."""
    noise = np.random.default_rng(1).normal(0, 200, 80000).astype(np.int16)
    lead = b"".join(list(blocks_of(noise.tobytes()))[:LEAD_BLOCKS])
    assert level_dbfs(lead) == pytest.approx(level_dbfs(noise.tobytes()), abs=1.5)
    for clean in (np.zeros(16000, np.int16), np.zeros(10, np.int16)):
        assert level_dbfs(next(blocks_of(clean.tobytes()))) == pytest.approx(-80.8, abs=1)


def test_a_clean_recording_that_begins_with_speech_is_heard(tmp_path: Path) -> None:
    """Without any pause before and behind, in digital silence, the phrase is still heard."""
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare(["bottom port open", "vial seven full"])
    path = write(tmp_path / "a.wav", samples_of(Voice().render("vial seven full")))
    pipeline = ListeningPipeline(CutAndJudge(PlainJudge(recogniser)))
    judgements = [
        judgement for block in blocks_of(read_sound(path)) for judgement in pipeline.feed(block)
    ]
    assert [judgement.text for judgement in judgements] == ["vial seven full"]
