"""A whole session while several people talk in the room: all samples, and nothing false on record.

The operators' voices took no part in the training of the phone model.
"""

from pathlib import Path

import pytest

from assistant.errors import DeviceError
from assistant.procedure.enums import State
from assistant.procedure.events import Heard
from assistant.procedure.model import Status
from assistant.record import open_record
from assistant.session.rehearse import Rehearsal, RehearsalSettings
from assistant.storage import bundled_files
from tests.dialogue import full
from tests.several_talkers import babble

pytestmark = [pytest.mark.model, pytest.mark.slow, pytest.mark.timeout(1200)]

OPERATORS = ("en-us+f5", "en-gb-x-gbclan+m5")
RATIO_DB = 15.0
PLANS = [
    pytest.param(full("double-cone"), 275, id="full"),
    pytest.param(bundled_files.read_plan("double-cone"), 155, id="short"),
]
"""Plan, and the least number of phrases that it takes."""


@pytest.mark.parametrize(("plan", "phrases"), PLANS)
@pytest.mark.parametrize("operator", OPERATORS)
def test_a_session_in_babble_takes_its_samples_and_nothing_false(
    tmp_path: Path, operator: str, plan: bytes, phrases: int
) -> None:
    """Each phrase on record is what the operator said, by voice but for a twentieth."""
    try:
        room = babble()
    except DeviceError as fault:
        pytest.skip(str(fault))
    settings = RehearsalSettings(
        plan=plan,
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
    assert len(accepted) >= phrases
    assert rehearsal.effort.rescued <= len(accepted) / 20
