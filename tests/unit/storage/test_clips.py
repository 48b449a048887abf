"""Clips: lossless, named by their content, proved before they are played."""

from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import RecordBroken, RecordError
from assistant.storage.clips import decode, encode, load_clip, save_clip

PCM = b"".join(((n * 977) % 65536).to_bytes(2, "little") for n in range(8000))


@given(st.binary(min_size=2, max_size=4000).map(lambda data: data[: len(data) // 2 * 2]))
def test_every_sample_comes_back(pcm: bytes) -> None:
    """FLAC is lossless, whatever the samples, the extremes included."""
    flac = encode(pcm)
    assert decode(flac) == pcm
    assert encode(pcm) == flac


@pytest.mark.parametrize("pcm", [b"", b"\0", b"\0\0\0"])
def test_half_samples_are_refused(pcm: bytes) -> None:
    """A clip of nothing, or of an odd number of bytes, is a programmer's slip."""
    with pytest.raises(ValueError, match="16-bit sample"):
        encode(pcm)


def test_the_name_is_the_hash_of_the_file(tmp_path: Path) -> None:
    """Anybody can check it with sha256sum."""
    name = save_clip(tmp_path, PCM)
    data = (tmp_path / f"{name}.flac").read_bytes()
    assert sha256(data).hexdigest() == name
    assert data.startswith(b"fLaC")
    assert load_clip(tmp_path, name) == PCM


def test_every_changed_byte_is_caught(tmp_path: Path) -> None:
    """All of them on one clip."""
    name = save_clip(tmp_path, PCM[:400])
    path = tmp_path / f"{name}.flac"
    data = path.read_bytes()
    for place in range(len(data)):
        path.write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
        with pytest.raises(RecordBroken, match="was changed"):
            load_clip(tmp_path, name)


@pytest.mark.parametrize("name", ["", "../plan", "A" * 64, "0" * 63])
def test_a_name_that_is_no_hash_is_refused(tmp_path: Path, name: str) -> None:
    """No path leads out of the folder."""
    with pytest.raises(RecordBroken, match="not a hash"):
        load_clip(tmp_path, name)


def test_a_missing_and_an_unreadable_clip_are_told(tmp_path: Path) -> None:
    """Missing is a broken record; unreadable is a matter of the disk."""
    with pytest.raises(RecordBroken, match="missing"):
        load_clip(tmp_path, "0" * 64)
    (tmp_path / f"{'1' * 64}.flac").mkdir()
    with pytest.raises(RecordError, match="Cannot read"):
        load_clip(tmp_path, "1" * 64)


def test_what_is_no_clip_is_told(tmp_path: Path) -> None:
    """The right hash over the wrong kind of file."""
    import io  # noqa: PLC0415 - only this test writes another format

    import soundfile  # noqa: PLC0415 - as above

    buffer = io.BytesIO()
    soundfile.write(buffer, [[0.0, 0.0]], 44_100, format="WAV")
    for data, fault in ((b"no sound", "not a FLAC"), (buffer.getvalue(), "not a mono FLAC")):
        name = sha256(data).hexdigest()
        (tmp_path / f"{name}.flac").write_bytes(data)
        with pytest.raises(RecordBroken, match=f"cannot be played: {fault}"):
            load_clip(tmp_path, name)
