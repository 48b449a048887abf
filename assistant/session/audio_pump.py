"""Feeds sound and keys from the queue to a dialogue outside a session."""

from collections.abc import Callable
from typing import Final, assert_never

from assistant.errors import DeviceError
from assistant.ports import Utterance
from assistant.speech import audio_events
from assistant.speech.audio_events import QueueItem, SoundQueue
from assistant.speech.resample import ProgramRate

_WAIT_S: Final = 0.05


def attend(
    queue: SoundQueue,
    what: str,
    *,
    over: Callable[[], bool],
    tick: Callable[[bytes], object],
    key: Callable[[Utterance], object] = lambda _typed: None,
) -> list[QueueItem]:
    """Forward input until the dialogue is over.

    Args:
        queue: all input.
        what: name of the dialogue in errors.
        over: returns whether it is over.
        tick: takes 50 ms of sound at the program's rate.
        key: takes a typed line or a key press.

    Returns:
        other items that arrived meanwhile, such as device reports, in order.

    Raises:
        DeviceError: the sound ended, or the microphone was lost.
    """
    rate, others = ProgramRate(), list[QueueItem]()
    while not over():
        match queue.get(_WAIT_S):
            case None:
                pass
            case audio_events.SoundBlock() as block:
                for pcm in rate.blocks(block):
                    tick(pcm)
            case Utterance() as utterance:
                key(utterance)
            case audio_events.SoundEnded():
                raise DeviceError(f"The sound ended during the {what}.")
            case audio_events.MicrophoneLost(reason=reason):
                raise DeviceError(f"The {what} found no sound: {reason}")
            case (
                audio_events.AudioLost()
                | audio_events.MicrophoneBack()
                | audio_events.SpeakerLost()
                | audio_events.SpeakerBack()
            ) as other:
                others.append(other)
            case never:
                assert_never(never)
    return others
