"""A whole session while several people talk in the room: all samples, and nothing false on record.

The operators' voices took no part in the training of the phone model.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import DeviceError
from assistant.ports import SAMPLE_RATE
from assistant.procedure.enums import State
from assistant.procedure.events import Heard
from assistant.procedure.model import Status
from assistant.record import open_record
from assistant.session.rehearse import Rehearsal, RehearsalSettings
from assistant.speech.pcm import bytes_of, samples_of
from assistant.speech.tts import Voice
from assistant.storage import bundled_files
from tests.listening_bench.texts import CHATTER

pytestmark = [pytest.mark.model, pytest.mark.slow, pytest.mark.timeout(1200)]

OPERATORS = ("en-us+f5", "en-gb-x-gbclan+m5")
TALKERS = ("en-gb-scotland", "en-us+m3", "en-us+f5", "en-gb-x-gbclan+m5")
RATIO_DB = 15.0


def babble(texts: Sequence[str]) -> bytes:
    """Let four people talk at once, each about something else."""
    lines = []
    for place, name in enumerate(TALKERS):
        voice = Voice(name, rate=160)
        mine = texts[place::8] or texts
        pause = np.zeros(SAMPLE_RATE // 4)
        parts = [p for text in mine for p in (samples_of(voice.render(text)), pause)]
        lines.append(np.concatenate(parts).astype(np.float64))
    length = min(line.size for line in lines)
    return bytes_of(np.sum([line[:length] for line in lines], axis=0) / len(lines))


@pytest.mark.parametrize("operator", OPERATORS)
def test_a_session_in_babble_takes_its_samples_and_nothing_false(
    tmp_path: Path, operator: str
) -> None:
    """Each phrase on record is what the operator said, by voice but for a twentieth."""
    try:
        room = babble(CHATTER[1::2])
    except DeviceError as fault:
        pytest.skip(str(fault))
    settings = RehearsalSettings(
        plan=bundled_files.read_plan("double-cone"),
        plan_name="plan",
        grammar=bundled_files.read_grammar("en"),
        grammar_name="en",
        into=tmp_path / "record",
        snr_db=RATIO_DB,
        voice=operator,
        room=room,
    )
    rehearsal = Rehearsal(settings)
    session = rehearsal.run()
    assert session.state is State.CLOSED
    assert session.deviations == ()
    assert [sample.status for sample in session.progress.samples] == [Status.FULL] * 30
    heard = [one.event for one in open_record(tmp_path / "record").told()]
    accepted = [e for e in heard if isinstance(e, Heard) and e.decision == "accept"]
    assert len(accepted) > 200
    assert rehearsal.effort.rescued <= len(accepted) / 20
