"""Scene: an operator speaks into the virtual microphone; print what the program hears.

Arguments: the noise level below speech in dB, then voices of eSpeak NG.
"""

import json
import subprocess
import sys
import threading
import time

from earshot import Earshot  # type: ignore[import-not-found] # stands beside this script

from assistant.speech.audio_events import AudioLost
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.devices import SoundSystem
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.microphone import Microphone
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from tests.plain_judge import PlainJudge

PHRASES = ["bottom port open", "bottom set filled", "shaft raised to middle", "stop sampling now"]

PLAY = ["pacat", "--playback", "--device=mic_in", "--format=s16le", "--rate=16000"]


def speak(room: SimulatedRoom, voices: list[str]) -> None:
    """Play the room's sound in real time: noise, then every phrase by every voice."""
    player = subprocess.Popen([*PLAY, "--channels=1", "--latency-msec=50"], stdin=subprocess.PIPE)
    assert player.stdin is not None
    for voice in voices:
        for phrase in PHRASES:
            # A fresh server delivers nothing for its first two seconds.
            room.say(Voice(voice).render(phrase), after_s=1.2 if room.speaking else 4.0)
    while room.speaking:
        player.stdin.write(room.next_block())
    for _ in range(40):
        player.stdin.write(room.next_block())
    player.stdin.close()
    player.wait()


def main() -> None:
    """Run the scene."""
    room = SimulatedRoom(snr_db=float(sys.argv[1]), seed=4)
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare(PHRASES)
    earshot = Earshot(ListeningPipeline(CutAndJudge(PlainJudge(recogniser))))
    queue = earshot.queue
    microphone = Microphone(SoundSystem(), queue.put, backlog=queue.backlog)
    operator = threading.Thread(target=speak, args=(room, sys.argv[2:]))
    operator.start()
    microphone.start()
    operator.join()
    time.sleep(1)
    microphone.close()
    earshot.close()
    lost = sum(isinstance(item, AudioLost) for item in earshot.other)
    other = [repr(item) for item in earshot.other if not isinstance(item, AudioLost)]
    said = PHRASES * len(sys.argv[2:])
    answer = {
        "heard": earshot.heard,
        "said": said,
        "lost": lost,
        "other": other,
        "name": microphone.name,
    }
    sys.stdout.write(json.dumps(answer) + "\n")


main()
