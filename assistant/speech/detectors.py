"""Choose the detector for an engine."""

from assistant.ports import PhraseEngine
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.detector import Detector
from assistant.speech.early_judgement import EarlyJudgement
from assistant.speech.phone_listening import PhoneDetector, PhonesEngine


def detector_for(engine: PhraseEngine) -> Detector:
    """Return the detector for this engine."""
    if isinstance(engine, PhonesEngine):
        return PhoneDetector(engine)
    expect = engine.expect if isinstance(engine, EarlyJudgement) else None
    return CutAndJudge(engine.judge, expect=expect)


def working_ahead(engine: PhraseEngine) -> PhraseEngine:
    """Return the engine, wrapped to judge during the pause unless it is the phone model."""
    return engine if isinstance(engine, PhonesEngine) else EarlyJudgement(engine)
