"""Scene: one sentence after the other is spoken into; print how often the loudspeaker seemed lost.

Argument: how many sentences. The pauses are about as long as the loudspeaker waits between two
looks at its device, so that many a look falls into the moment in which a sentence is cut.
"""

import json
import random
import sys
import time

from assistant.speech.devices import SoundSystem
from assistant.speech.loudspeaker import LoudSpeaker
from assistant.speech.tts import Voice

SENTENCE = "Keep the sampler upright and slide the outer tube off."
BETWEEN_LOOKS_S = 0.1


def main() -> None:
    """Run the scene."""
    lost: list[str] = []
    voice = Voice()
    voice.render(SENTENCE)
    speaker = LoudSpeaker(voice, SoundSystem(), on_lost=lost.append)
    chance = random.Random(1)  # noqa: S311 - pauses, not a secret
    done = 0

    def count() -> None:
        nonlocal done
        done += 1

    number = int(sys.argv[1])
    for _ in range(number):
        speaker.say(SENTENCE, count)
        time.sleep(BETWEEN_LOOKS_S + chance.uniform(-0.004, 0.004))
    speaker.silence()
    deadline = time.monotonic() + 10
    while done < number and time.monotonic() < deadline:
        time.sleep(0.01)
    speaker.close()
    sys.stdout.write(json.dumps({"lost": lost, "done": done}) + "\n")


main()
