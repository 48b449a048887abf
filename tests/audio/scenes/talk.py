"""Scene: microphone and loudspeaker together; each line of standard input is spoken.

Prints JSON lists: seconds since the start, kind, detail. Kinds are "sound", "lost" and "back" of
the microphone, "silent" when the loudspeaker is lost, "done" with the milliseconds a sentence took.
"""

import json
import sys
import threading
import time

from assistant.speech.audio_events import MicrophoneBack, MicrophoneLost, SoundBlock, SoundItem
from assistant.speech.devices import SoundSystem
from assistant.speech.loudspeaker import LoudSpeaker
from assistant.speech.microphone import Microphone
from assistant.speech.tts import Voice

BEGAN = time.monotonic()
HEARD = threading.Event()
LOCK = threading.Lock()


def tell(kind: str, detail: str = "") -> None:
    """Print one line."""
    with LOCK:
        line = json.dumps([round(time.monotonic() - BEGAN, 3), kind, detail])
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


def take(item: SoundItem) -> None:
    """Print the signals of the microphone."""
    match item:
        case SoundBlock():
            if not HEARD.is_set():
                HEARD.set()
                tell("sound")
        case MicrophoneLost(reason=reason):
            tell("lost", reason)
        case MicrophoneBack(name=name):
            tell("back", name)
        case _:
            pass


def main() -> None:
    """Run the scene."""
    system = SoundSystem()
    microphone = Microphone(system, take)
    speaker = LoudSpeaker(Voice(), system, on_lost=lambda reason: tell("silent", reason))
    microphone.start()
    for line in sys.stdin:
        asked = time.monotonic()
        speaker.say(
            line.strip(),
            lambda asked=asked: tell("done", str(round(1000 * (time.monotonic() - asked)))),  # type: ignore[misc] # binds the moment
        )
    began = time.monotonic()
    speaker.close()
    microphone.close()
    tell("closed", str(round(time.monotonic() - began, 3)))


main()
