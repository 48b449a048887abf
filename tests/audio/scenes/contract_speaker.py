"""Scene: one speaker goes through what every speaker promises; print what it did.

Argument: "text" or "loud".
"""

import json
import sys
import time

from assistant.ports import Speaker
from assistant.speech.devices import SoundSystem
from assistant.speech.loudspeaker import LoudSpeaker, TextOnlySpeaker
from assistant.speech.tts import Voice

LONG = "Keep the sampler upright and slide the outer tube off."


def speaker_of(kind: str) -> Speaker:
    """Make the speaker."""
    return TextOnlySpeaker() if kind == "text" else LoudSpeaker(Voice(), SoundSystem())


def said(speaker: Speaker, *texts: str, pause: float = 0.0, cut: bool = False) -> list[str]:
    """Say texts one into the other and return those that were reported done, in order."""
    done: list[str] = []
    for text in texts:
        speaker.say(text, lambda text=text: done.append(text))  # type: ignore[misc] # binds the text
        time.sleep(pause)
    if cut:
        speaker.silence()
    deadline = time.monotonic() + 6
    while len(done) < len(texts) and time.monotonic() < deadline:
        time.sleep(0.01)
    time.sleep(0.3)
    return done


def main() -> None:
    """Run the scene."""
    speaker = speaker_of(sys.argv[1])
    speaker.silence()
    answer = {
        "name": speaker.name,
        "one": said(speaker, "One."),
        "into": said(speaker, LONG, "Two.", pause=0.3),
        "at once": said(speaker, LONG, "Three.", "Four."),
        "cut": said(speaker, LONG, pause=0.3, cut=True),
        "empty": said(speaker, ""),
        "again": said(speaker, "Five."),
    }
    speaker.silence()
    sys.stdout.write(json.dumps(answer) + "\n")


main()
