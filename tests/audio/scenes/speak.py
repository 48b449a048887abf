"""Scene: the program speaks; print when it was heard at the loudspeaker and when it said so.

Argument: how many sentences.
"""

import json
import sys
import threading
import time

from listener import Listener  # type: ignore[import-not-found] # stands beside this script

from assistant.speech.devices import SoundSystem
from assistant.speech.loudspeaker import LoudSpeaker
from assistant.speech.tts import Voice

SENTENCE = "Open the bottom port and wait for the timer."


def whole(speaker: LoudSpeaker, listener: Listener) -> dict[str, float]:
    """Speak a sentence to its end."""
    ended = threading.Event()
    asked = time.monotonic()
    speaker.say(SENTENCE, ended.set)
    assert ended.wait(20)
    done = time.monotonic()
    time.sleep(0.4)
    loud = listener.loud_times(asked)
    assert speaker.first_sample_ns is not None
    return {
        "first_ms": 1000 * (loud[0] - asked),
        "claimed_first_ms": speaker.first_sample_ns / 1e6 - 1000 * asked,
        "done_after_last_ms": 1000 * (done - loud[-1]),
        "loud_s": loud[-1] - loud[0],
    }


def cut(speaker: LoudSpeaker, listener: Listener) -> dict[str, float | bool]:
    """Silence a sentence after 0.8 s."""
    ended = threading.Event()
    speaker.say(SENTENCE, ended.set)
    time.sleep(0.8)
    told = time.monotonic()
    speaker.silence()
    returned = time.monotonic()
    called = ended.wait(1)
    time.sleep(0.4)
    after = listener.loud_times(told)
    return {
        "silent_ms": 1000 * (after[-1] - told) if after else 0.0,
        "returned_ms": 1000 * (returned - told),
        "done_called": called,
    }


def replaced(speaker: LoudSpeaker, listener: Listener) -> dict[str, object]:
    """Say a second sentence into the first."""
    order: list[str] = []
    ended = threading.Event()
    speaker.say(SENTENCE, lambda: order.append("first"))
    time.sleep(0.5)
    second = time.monotonic()

    def second_done() -> None:
        order.append("second")
        ended.set()

    speaker.say("Stop.", second_done)
    assert ended.wait(10)
    time.sleep(0.4)
    loud = listener.loud_times(second)
    return {"order": order, "loud_s": loud[-1] - second}


def main() -> None:
    """Run the scene."""
    listener = Listener()
    voice = Voice()
    voice.render(SENTENCE)
    speaker = LoudSpeaker(voice, SoundSystem())
    time.sleep(2.5)
    answer = {
        "whole": [whole(speaker, listener) for _ in range(int(sys.argv[1]))],
        "cut": [cut(speaker, listener) for _ in range(int(sys.argv[1]))],
        "replaced": replaced(speaker, listener),
        "sentence_s": len(voice.render(SENTENCE)) / 32000,
        "name": speaker.name,
    }
    speaker.close()
    listener.close()
    sys.stdout.write(json.dumps(answer) + "\n")


main()
