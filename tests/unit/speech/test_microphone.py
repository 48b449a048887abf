"""What the microphone's callback does with overflows and a full queue.

No sound server can be made to overflow on purpose, so a library of the same interface delivers the
blocks here; everything else about the microphone is tested on a virtual sound system.
"""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from assistant.errors import DeviceError
from assistant.speech.audio_events import AudioLost, SoundBlock, SoundItem
from assistant.speech.devices import Device
from assistant.speech.microphone import QUEUED_BLOCKS, Microphone
from assistant.speech.pcm import BLOCK_BYTES

LOUD = b"\1\0" * (BLOCK_BYTES // 2)


class FaultyPortAudioError(Exception):
    """What the library raises."""


class HandPlayed:
    """A sound system whose blocks come by hand."""

    PortAudioError = FaultyPortAudioError

    def __init__(self, *rates: int) -> None:
        """Choose the rates at which the device can be opened."""
        self.library = self
        self.rates = rates or (16000,)
        self.callback: Callable[..., None] = lambda *_: None
        self.closed = 0

    def find(self, _kind: str, _wanted: str) -> Device:
        """Return the only device."""
        return Device(0, "hand", "test", 1, 0, 48000)

    def join(self, _owner: object) -> None:
        """Take note of a stream owner."""

    def leave(self, _owner: object) -> None:
        """Forget a stream owner."""

    def RawInputStream(self, **options: Any) -> "HandPlayed":  # noqa: N802, ANN401 - the library's name
        """Open the stream."""
        if options["samplerate"] not in self.rates:
            raise FaultyPortAudioError("Invalid sample rate")
        assert options["blocksize"] * 20 == options["samplerate"]
        self.callback = options["callback"]
        return self

    def start(self) -> None:
        """Start the stream."""

    def abort(self, *, ignore_errors: bool) -> None:
        """Stop the stream."""

    def close(self, *, ignore_errors: bool) -> None:
        """Close the stream."""
        self.closed += ignore_errors

    def block(self, pcm: bytes = LOUD, *, overflow: bool = False) -> None:
        """Deliver one block."""
        self.callback(pcm, 800, None, SimpleNamespace(input_overflow=overflow))


def test_blocks_are_copied_and_passed_on() -> None:
    """The library reuses its buffer; what was delivered must not change."""
    system, items = HandPlayed(), list[SoundItem]()
    microphone = Microphone(system, items.append)  # type: ignore[arg-type] # the hand-played one
    microphone.start()
    buffer = bytearray(LOUD)
    system.callback(buffer, 800, None, SimpleNamespace(input_overflow=False))
    buffer[:] = bytes(BLOCK_BYTES)
    microphone.close()
    assert [item.pcm for item in items if isinstance(item, SoundBlock)] == [LOUD]
    assert system.closed == 1
    assert microphone.name == "hand, test"
    assert not microphone.busy


def test_an_overflow_is_told_before_the_block_behind_it() -> None:
    """The system does not say how much was lost."""
    system, items = HandPlayed(), list[SoundItem]()
    microphone = Microphone(system, items.append)  # type: ignore[arg-type] # the hand-played one
    microphone.start()
    system.block()
    system.block(overflow=True)
    microphone.close()
    assert [type(item) for item in items] == [SoundBlock, AudioLost, SoundBlock]
    assert items[1] == AudioLost(0)


def test_a_full_queue_loses_sound_and_says_how_much() -> None:
    """Dropped blocks are counted and told as one gap when there is room again."""
    system, items = HandPlayed(), list[SoundItem]()
    waiting = QUEUED_BLOCKS
    microphone = Microphone(system, items.append, backlog=lambda: waiting)  # type: ignore[arg-type] # the hand-played one
    microphone.start()
    for _ in range(3):
        system.block()
    assert items == []
    waiting = QUEUED_BLOCKS - 1
    system.block()
    microphone.close()
    assert items[0] == AudioLost(150)
    assert isinstance(items[1], SoundBlock)


def test_leading_silence_is_not_delivered() -> None:
    """A stream that has just been opened may deliver zeros; they would spoil the noise floor."""
    system, items = HandPlayed(), list[SoundItem]()
    microphone = Microphone(system, items.append)  # type: ignore[arg-type] # the hand-played one
    microphone.start()
    system.block(bytes(BLOCK_BYTES))
    system.block()
    system.block(bytes(BLOCK_BYTES))
    microphone.close()
    assert [item.pcm for item in items if isinstance(item, SoundBlock)] == [
        LOUD,
        bytes(BLOCK_BYTES),
    ]


def test_a_device_with_a_rate_of_its_own_is_opened_at_that() -> None:
    """Many devices refuse 16 kHz; the blocks then say their rate and still last 50 ms."""
    system, items = HandPlayed(48000), list[SoundItem]()
    microphone = Microphone(system, items.append)  # type: ignore[arg-type] # the hand-played one
    microphone.start()
    system.block(LOUD * 3)
    microphone.close()
    (block,) = items
    assert isinstance(block, SoundBlock)
    assert (block.rate, len(block.pcm)) == (48000, 4800)


def test_a_device_that_cannot_be_opened_is_named() -> None:
    """With the library's reason and what to do."""
    microphone = Microphone(HandPlayed(96000), print)  # type: ignore[arg-type] # the hand-played one
    with pytest.raises(DeviceError, match=r"hand, test cannot record \(Invalid") as caught:
        microphone.start()
    assert caught.value.exit_code == 3
