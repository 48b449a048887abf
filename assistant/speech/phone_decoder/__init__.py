"""Recognition of phrases from phone probabilities: one small network, no words trained into it.

How to plug it in::

    model = load_model()                                   # or a path; its hash is proved
    words = Pronunciations(model_folder(), language.pronunciations)
    engine = PhoneEngine(PhraseVerifier(model, words, language.digits, profile=profile))
    engine.set_legal({"vial one full": "strict", "say again": "lenient"}, others=every_phrase,
                     expected=())                          # whenever the step changes
    for event in engine.feed(block, time):                 # int16, 50 ms at 16 kHz; seconds
        match event:
            case SpeechBegan(): ...
            case Decided(): ...      # accept, ask or refuse; `speak` says whether to answer aloud
            case TakenBack(): ...    # undo what the last accepted phrase did
    engine.reset()              # when a prompt begins and when it ends, and when samples were lost

- `legal` maps each phrase that may be said now to its stakes: "strict" for what records or
  advances, "answer" for an answer to the question just asked, "lenient" for what does neither. A
  phrase holding `NUMBER` opens the digit loop.
- `others` are scored beside them; one of these taken has `legal` False in its judgement.
- `expected` are the answers to the prompt just spoken; a doubtful one is asked back.
- A decision falls 250 ms after the last phone of a clear phrase (which is some 150 ms after its
  sound ends), 400 ms after a doubtful one, 700 ms after the rest.
  Behind a phrase that was taken the engine listens on until `reset`: a "no" gives `TakenBack`.
  While `stirring` is true something sounds there, and the answer should wait.
- `SpeechBegan` may be a false start, with no event behind it; `in_speech` then turns false.
- `judge(clip)` decides about a clip of a record again; the same samples give the same judgement,
  except that a session's history (questions without an answer) plays no part in it.
- The model's card (same name, .json) needs "format" ("phones-en 1"), "version", "bytes" and
  "sha256"; what else it says is not read.
- Refusals are silent unless `speak` is set: two tries in a row that resembled a legal phrase.
  Talk that resembles none never makes the program speak.

Layers, each using those before it: `log_mel`, `phone_model`, `phrase_scores`, `evidence`,
`decision`, `digit_decoder`, `voice_adaptation`, `phrase_verifier`, `ask_back_policy`,
`phone_engine`.
"""

from assistant.speech.phone_decoder.phone_engine import (
    Decided,
    Event,
    PhoneEngine,
    SpeechBegan,
    TakenBack,
)
from assistant.speech.phone_decoder.phone_model import PhoneModel, load_model
from assistant.speech.phone_decoder.phrase_verifier import Judgement, PhraseVerifier
from assistant.speech.phone_decoder.pronunciations import Pronunciations
from assistant.speech.phone_decoder.voice_adaptation import VoiceProfile, fit_profile, read_profile

__all__ = [
    "Decided",
    "Event",
    "Judgement",
    "PhoneEngine",
    "PhoneModel",
    "PhraseVerifier",
    "Pronunciations",
    "SpeechBegan",
    "TakenBack",
    "VoiceProfile",
    "fit_profile",
    "load_model",
    "read_profile",
]
