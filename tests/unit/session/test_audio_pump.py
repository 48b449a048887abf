"""The queue of a dialogue outside a session: sound at the program's rate, keys, and the rest."""

import pytest

from assistant.errors import DeviceError
from assistant.ports import BLOCK_SAMPLES, Utterance
from assistant.session.audio_pump import attend
from assistant.speech.audio_events import (
    AudioLost,
    MicrophoneLost,
    QueueItem,
    SoundBlock,
    SoundEnded,
    SoundQueue,
)
from assistant.speech.pcm import BLOCK_BYTES


def test_sound_of_another_rate_is_brought_to_the_program_s() -> None:
    """As in a session; keys are handed on, and what is neither waits its turn."""
    queue, blocks, keys = SoundQueue(), list[bytes](), list[Utterance]()
    key, lost = Utterance(source="key"), AudioLost(milliseconds=20)
    items: list[QueueItem] = [key, lost]
    items += [SoundBlock(bytes(3 * BLOCK_BYTES), 0, rate=48_000)] * 6
    for item in items:
        queue.put(item)
    late = attend(
        queue, "trial", over=lambda: len(blocks) >= 4, tick=blocks.append, key=keys.append
    )
    assert {len(block) for block in blocks} == {2 * BLOCK_SAMPLES}
    assert (keys, late) == ([key], [lost])


@pytest.mark.parametrize(
    ("item", "message"),
    [
        (SoundEnded(), "The sound ended during the trial."),
        (MicrophoneLost(reason="unplugged"), "The trial found no sound: unplugged"),
    ],
)
def test_without_sound_there_is_no_dialogue(item: QueueItem, message: str) -> None:
    """Nobody waits for what can no longer come."""
    queue = SoundQueue()
    queue.put(item)
    with pytest.raises(DeviceError, match=message):
        attend(queue, "trial", over=lambda: False, tick=lambda _pcm: None)
