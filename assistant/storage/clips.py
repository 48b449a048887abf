"""The audio behind an utterance, kept losslessly under the hash of its own bytes."""

import io
import re
from hashlib import sha256
from pathlib import Path

from assistant.errors import RecordBroken
from assistant.ports import SAMPLE_RATE
from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure

__all__ = ["decode", "encode", "load_clip", "save_clip"]

_NAME = re.compile(r"[0-9a-f]{64}")
_SAMPLE_BYTES = 2
MOST_SAMPLES = 1800 * SAMPLE_RATE
"""Half an hour; no utterance or remark comes near, and a forged header may claim any length."""


def encode(pcm: bytes) -> bytes:
    """Return mono 16-bit samples at `SAMPLE_RATE` as FLAC; the same samples give the same bytes.

    Raises:
        ValueError: no samples, or half a sample.
    """
    import soundfile  # noqa: PLC0415 - loads a sound library; most commands never need it

    if not pcm or len(pcm) % _SAMPLE_BYTES:
        raise ValueError("a clip holds at least one whole 16-bit sample")
    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer, "w", samplerate=SAMPLE_RATE, channels=1, format="FLAC", subtype="PCM_16"
    ) as clip:
        clip.buffer_write(pcm, dtype="int16")
    return buffer.getvalue()


def decode(flac: bytes) -> bytes:
    """Return the samples of a clip: mono, 16-bit.

    Raises:
        ValueError: not FLAC, or not in the form that `encode` gives.
    """
    import soundfile  # noqa: PLC0415 - as above

    try:
        with soundfile.SoundFile(io.BytesIO(flac)) as clip:
            if clip.frames > MOST_SAMPLES:
                raise ValueError(f"it claims to hold {clip.frames} samples")
            if (clip.format, clip.samplerate, clip.channels) != ("FLAC", SAMPLE_RATE, 1):
                raise ValueError("not a mono FLAC clip of the program's sample rate")
            return bytes(clip.buffer_read(dtype="int16"))
    except soundfile.LibsndfileError as error:
        raise ValueError(f"not a FLAC clip ({error})") from error


def save_clip(folder: Path, pcm: bytes, disk: Disk | None = None) -> str:
    """Store samples and return the clip's name, the SHA-256 of its file, when it is on the disk.

    Args:
        folder: where the clips of this record are.
        pcm: mono 16-bit samples at `SAMPLE_RATE`.
        disk: the system calls.

    Raises:
        ValueError: no samples, or half a sample.
        RecordError: the clip could not be stored.
    """
    flac = encode(pcm)
    name = sha256(flac).hexdigest()
    replace_file(folder / f"{name}.flac", flac, disk)
    return name


def load_clip(folder: Path, name: str, disk: Disk | None = None) -> bytes:
    """Return the samples of a stored clip after proving that its file is unchanged.

    Raises:
        RecordBroken: no such clip, a name that is not a hash, or a changed file.
        RecordError: the file cannot be read.
    """
    if _NAME.fullmatch(name) is None:
        raise RecordBroken(
            f"The record names a clip {name!r}, which is not a hash: do not trust it."
        )
    path = folder / f"{name}.flac"
    try:
        flac = (disk or Disk()).read_file(path)
    except FileNotFoundError as error:
        raise RecordBroken(f"The clip {path} is missing: look for another copy of it.") from error
    except OSError as error:
        raise failure("read", path, error) from error
    if sha256(flac).hexdigest() != name:
        raise RecordBroken(f"The clip {path} was changed: look for another copy of it.")
    try:
        return decode(flac)
    except ValueError as error:
        raise RecordBroken(f"The clip {path} cannot be played: {error}.") from error
