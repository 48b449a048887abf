"""Events and effects as they stand in the record, and the table as a picture."""

from collections.abc import Callable

import pytest
from pydantic import ValidationError

from assistant.plan import Position
from assistant.procedure import actions
from assistant.procedure.diagram import mermaid
from assistant.procedure.effects import (
    Close,
    MarkHead,
    Say,
    StartTimer,
    StopTimers,
    TakeRemark,
    TellHead,
    plain,
)
from assistant.procedure.enums import Intent, Prompt, Signal, State, Timer
from assistant.procedure.events import (
    AudioLost,
    ClockStepped,
    DeviceBack,
    DeviceLost,
    Event,
    Heard,
    Meaning,
    NoiseRose,
    RemarkTaken,
    SoundChecked,
    StorageTroubled,
    TimerRang,
    dump,
    load,
)
from assistant.procedure.transition_context import Transition
from tests.unit.procedure.conftest import OPENED, RESUMED, Drive

Start = Callable[..., Drive]

EVENTS: tuple[Event, ...] = (
    OPENED,
    RESUMED,
    SoundChecked(
        speech_dbfs="-20.5",
        noise_dbfs="-55",
        snr_db="34.5",
        clipped=False,
        recognised=5,
        asked=5,
    ),
    Heard(
        source="voice",
        text="vial 3 full",
        decision="accept",
        meaning=Meaning(intent=Intent.VIAL_FULL, vial=3),
        scores={"phone": "-1.25"},
        clip="a" * 64,
    ),
    TimerRang(timer=Timer.FILL_REACHED, generation=4),
    RemarkTaken(text="dusty"),
    DeviceLost(device="speaker", reason="unplugged"),
    DeviceBack(device="speaker", name="other"),
    AudioLost(milliseconds=50),
    ClockStepped(seconds="-2.5"),
    NoiseRose(noise_dbfs="-40", rise_db="8"),
    StorageTroubled(reason="full", seconds="3.0"),
)


@pytest.mark.parametrize("event", EVENTS, ids=lambda event: event.type)
def test_an_event_comes_back_from_the_record_as_it_was(event: Event) -> None:
    """What has its default is left out and comes back."""
    written = dump(event)
    assert written["type"] == event.type
    assert "" not in written.values()
    assert load(written) == event


def test_the_first_entry_names_the_schema() -> None:
    """Even though it has its default: a later program must see it."""
    assert dump(OPENED)["schema"] == 2


@pytest.mark.parametrize(
    "written",
    [
        {"type": "opened"},
        {"type": "unheard-of"},
        {"type": "audio-lost", "milliseconds": 5, "more": 1},
        {"type": "timer-rang", "timer": "fill-reached", "generation": 0},
        {"type": "timer-rang", "timer": "tea", "generation": 1},
        {"type": "clock-stepped", "seconds": "1e3"},
        {"type": "clock-stepped", "seconds": "1\n"},
        {"type": "clock-stepped", "seconds": "\u0661"},
        *(
            {"type": "heard", "source": "voice", "text": "", "decision": "accept", "meaning": m}
            for m in (
                {"intent": "mass", "number": "-5"},
                {"intent": "vial-full", "vial": 0},
                {"intent": "fly"},
                {"intent": "port-open", "position": "roof"},
            )
        ),
        [],
        None,
    ],
)
def test_what_is_no_event_is_refused(written: object) -> None:
    """Nothing unknown is let in, and no number that has no words."""
    with pytest.raises(ValidationError):
        load(written)


@pytest.mark.parametrize(
    ("effect", "written"),
    [
        (Say(Prompt.CLOSE), {"do": "say", "prompt": "close"}),
        (
            Say(Prompt.NOT_NOW, {}, Meaning(intent=Intent.PORT_OPEN, position=Position.TOP)),
            {
                "do": "say",
                "prompt": "not-now",
                "phrase": {"intent": "port-open", "position": "top"},
            },
        ),
        (
            Say(Prompt.CHOICES, options=(Meaning(intent=Intent.AFFIRM),)),
            {"do": "say", "prompt": "choices", "options": [{"intent": "affirm"}]},
        ),
        (
            Say(Prompt.FILL, {"seconds": 5}),
            {"do": "say", "prompt": "fill", "slots": {"seconds": 5}},
        ),
        (
            StartTimer(Timer.SHAKE_OFF_REACHED, 3000, 8),
            {
                "do": "start-timer",
                "timer": "shake-off-reached",
                "milliseconds": 3000,
                "generation": 8,
            },
        ),
        (StopTimers(), {"do": "stop-timers"}),
        (TakeRemark(30), {"do": "take-remark", "limit_s": 30}),
        (TellHead(), {"do": "tell-head"}),
        (MarkHead(), {"do": "mark-head"}),
        (Close(), {"do": "close"}),
    ],
)
def test_an_effect_is_written_short(
    effect: Say | StartTimer | StopTimers | TakeRemark | TellHead | MarkHead | Close,
    written: dict[str, object],
) -> None:
    """These forms stand in records and never change."""
    assert plain(effect) == written


def test_every_timer_rings_as_a_signal() -> None:
    """The ring of a timer is found by its name."""
    assert {timer.value for timer in Timer} < {signal.value for signal in Signal}


def test_rows_that_need_a_phrase_say_so(drive: Start) -> None:
    """Calling them otherwise is a mistake of the program, not of a user."""
    work = Transition(drive("double-cone", State.SEATING).session)
    with pytest.raises(RuntimeError, match="needs a phrase"):
        actions.meaning_of(work)
    with pytest.raises(RuntimeError, match="asks for a past"):
        actions.correct(Transition(drive("brief").answer().session))


def test_the_picture_shows_the_main_way() -> None:
    """Steps of the work and what leads from one to the next."""
    picture = mermaid()
    assert picture.startswith("stateDiagram-v2")
    for arrow in ("filling --> closing", "closing --> raising", "raising --> opening"):
        assert arrow in picture
    assert "filling --> raising" not in picture
