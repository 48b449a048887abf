"""Scene: the loudspeaker is heard by the microphone; print what the program makes of itself.

Argument: "gate" or "open". The operator is silent; the only speech is the program's own prompt,
which holds a legal phrase on purpose.
"""

import json
import sys
import threading
import time

from earshot import Earshot  # type: ignore[import-not-found] # stands beside this script

from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.devices import SoundSystem
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.loudspeaker import LoudSpeaker
from assistant.speech.microphone import Microphone
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.tts import Voice
from tests.plain_judge import PlainJudge

PROMPT = "bottom port open"


def main() -> None:
    """Run the scene."""
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare([PROMPT, "stop sampling now"])
    pipeline = ListeningPipeline(CutAndJudge(PlainJudge(recogniser)))
    earshot = Earshot(pipeline)
    system = SoundSystem()
    microphone = Microphone(system, earshot.queue.put)
    speaker = LoudSpeaker(Voice(), system)
    microphone.start()
    time.sleep(4)
    for _ in range(3):
        ended = threading.Event()
        if sys.argv[1] == "gate":
            earshot.tell(pipeline.prompt_started)
        speaker.say(PROMPT, ended.set)
        assert ended.wait(10)
        if sys.argv[1] == "gate":
            earshot.tell(pipeline.prompt_ended)
        time.sleep(1.2)
    speaker.close()
    microphone.close()
    earshot.close()
    heard = [text for _decision, text, _reason in earshot.heard]
    other = [repr(item) for item in earshot.other]
    sys.stdout.write(json.dumps({"heard": heard, "other": other}) + "\n")


main()
