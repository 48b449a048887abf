"""Scene: a tone is played while utterances are judged; print the pieces of silence within it."""

import json
import sys
import threading
import time

import numpy as np
from listener import Listener  # type: ignore[import-not-found] # stands beside this script

from assistant.grammar import parse_grammar
from assistant.plan import parse_plan
from assistant.ports import SAMPLE_RATE, Utterance
from assistant.procedure import begin
from assistant.session.engine_factory import open_engine
from assistant.session.utterance_to_event import UtteranceInterpreter
from assistant.speech.devices import SoundSystem
from assistant.speech.loudspeaker import LoudSpeaker
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

TONE = 8000 * np.sin(np.arange(3 * SAMPLE_RATE) * 0.3)


def main() -> None:
    """Run the scene."""
    language = parse_grammar(bundled_files.read_grammar("en"), "grammar")
    judge = open_engine(language)
    plan = parse_plan(bundled_files.read_plan("bin"), "plan")
    phrases = UtteranceInterpreter(language).attune(begin(plan))
    judge.prepare(phrases.union, phrases.legal, phrases.expected)
    utterance = Utterance(pcm=Voice("en-us+m3", rate=150).render("bottom port open"))
    judge.judge(utterance)
    listener = Listener()
    speaker = LoudSpeaker(Voice(), SoundSystem())
    silent = []
    for _ in range(5):
        ended = threading.Event()
        began = time.monotonic()
        speaker.play(TONE.astype("<i2").tobytes(), ended.set)
        time.sleep(1)
        judge.judge(utterance)
        assert ended.wait(10)
        time.sleep(0.4)
        silent.append(listener.silent_pieces(began))
    speaker.close()
    listener.close()
    sys.stdout.write(json.dumps({"silent": silent}) + "\n")


main()
