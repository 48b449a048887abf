"""Scene: the microphone records until told to close; print every signal as it comes.

Each line is a JSON list: seconds since the start, kind, detail. Standard input ends the scene.
"""

import json
import sys
import threading
import time

from assistant.speech.audio_events import (
    AudioLost,
    MicrophoneBack,
    MicrophoneLost,
    SoundBlock,
    SoundItem,
)
from assistant.speech.devices import SoundSystem
from assistant.speech.microphone import Microphone

BEGAN = time.monotonic()
HEARD = threading.Event()


def tell(kind: str, detail: str = "") -> None:
    """Print one line."""
    line = json.dumps([round(time.monotonic() - BEGAN, 3), kind, detail])
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def take(item: SoundItem) -> None:
    """Print a signal; of the sound only the first block that is not silent."""
    match item:
        case SoundBlock(pcm=pcm):
            if any(pcm) and not HEARD.is_set():
                HEARD.set()
                tell("sound")
        case MicrophoneLost(reason=reason):
            HEARD.clear()
            tell("lost", reason)
        case MicrophoneBack(name=name):
            tell("back", name)
        case AudioLost(milliseconds=milliseconds):
            tell("gap", str(milliseconds))


def main() -> None:
    """Run the scene."""
    microphone = Microphone(SoundSystem(), take)
    microphone.start()
    sys.stdin.read()
    began = time.monotonic()
    microphone.close()
    tell("closed", str(round(time.monotonic() - began, 3)))


main()
