"""Scene: the loudspeaker is heard by the microphone; print what the program makes of itself.

Argument: "gate" or "open". The operator is silent; the only speech is the program's own prompt,
which holds a legal phrase on purpose.
"""

import json
import sys
import threading
import time

from assistant.ports import Verdict
from assistant.speech.devices import SoundSystem
from assistant.speech.ear import Ear, PlainJudge
from assistant.speech.live import LiveEar
from assistant.speech.microphone import Microphone
from assistant.speech.player import LoudSpeaker
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.voice import Voice

PROMPT = "bottom port open"


def main() -> None:
    """Run the scene."""
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare([PROMPT, "stop sampling now"])
    judge = PlainJudge(recogniser)
    reports: list[object] = []
    ear = LiveEar(Ear(judge), reports.append)
    system = SoundSystem()
    microphone = Microphone(system, ear.queue.put)
    speaker = LoudSpeaker(Voice(), system)
    ear.start()
    microphone.start()
    time.sleep(4)
    for _ in range(3):
        ended = threading.Event()
        if sys.argv[1] == "gate":
            ear.prompt_started()
        speaker.say(PROMPT, ended.set)
        assert ended.wait(10)
        if sys.argv[1] == "gate":
            ear.prompt_ended()
        time.sleep(1.2)
    speaker.close()
    microphone.close()
    ear.close()
    heard = [report.text for report in reports if isinstance(report, Verdict)]
    other = [repr(report) for report in reports if not isinstance(report, Verdict)]
    sys.stdout.write(json.dumps({"heard": heard, "other": other}) + "\n")


main()
