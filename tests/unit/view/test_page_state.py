"""The page is a fold: each part of it against what the session says, at every entry."""

from dataclasses import replace

from assistant.grammar import Language
from assistant.plan import Plan
from assistant.procedure.enums import IN_POWDER, Intent, State
from assistant.procedure.events import DeviceLost, Heard, Meaning, NoiseRose, Resumed
from assistant.procedure.model import Status, begin
from assistant.testing import Departure
from assistant.view.page_state import LETTERS, MOST_DEVIATIONS, PageState, after, begin_page
from tests.unit.view.conftest import Tell, Told


def first(told: Told, state: State) -> PageState:
    """The page when a state was first reached."""
    return next(page for one, page in told if one.outcome.session.state is state)


def test_before_the_first_entry_the_rack_is_there_and_empty(plan: Plan, language: Language) -> None:
    """Six vials planned, no instruction, no sampler."""
    page = begin_page(begin(plan), language)
    assert (page.vials, page.planned, page.instruction) == ("pppppp", 6, "")
    assert (page.sampler.place, page.sampler.location) == ("outside", -1)


def test_every_page_agrees_with_the_session_after_its_entry(tell: Tell) -> None:
    """Number, vials, counts, deviations, operator: at each of some sixty entries."""
    told = tell(Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL), visit=2))
    assert len(told) > 50
    for one, page in told:
        session = one.outcome.session
        assert (page.seq, page.hash, page.utc) == (one.entry.seq, one.entry.hash, one.entry.utc)
        assert page.vials == "".join(LETTERS[s.status] for s in session.progress.samples)
        assert page.taken == sum(s.status is Status.FULL for s in session.progress.samples) + sum(
            s.status is Status.TAKEN for s in session.progress.samples
        )
        assert page.open_count == len(session.open_deviations)
        assert page.deviation_count == len(session.deviations)
        assert page.operator == session.operator == "Mira Oostveld"
        assert (page.sampler.place == "powder") is (session.step in IN_POWDER)
        assert page.elapsed_ms == int(one.entry.mono) // 1_000_000
    assert told[-1][1].ended == "complete"
    assert told[-1][1].vials == "ffffff"


def test_the_instruction_stays_when_something_else_was_said(tell: Tell) -> None:
    """An answer such as "not understood" never hides what is asked for."""
    doubt = Heard(source="voice", text="", decision="refuse", reason="unclear")
    told = tell(Departure(State.OPENING, doubt), until=State.FILLING)
    (page,) = [page for one, page in told if one.event == doubt]
    assert page.instruction == "Turn to open at bottom."
    assert page.answers == ("bottom port open",)
    assert page.recent[0].became == "not taken"
    assert page.recent[0].said.startswith("Not understood.")


def test_what_became_of_a_phrase_is_said(tell: Tell) -> None:
    """Taken; asked back; understood without effect."""
    text = "bottom port open"
    meaning = Meaning(intent=Intent.PORT_OPEN, position="bottom")
    asked = Heard(source="voice", text=text, decision="ask", reason="unclear", meaning=meaning)
    wrong = Heard(
        source="voice",
        text="top port open",
        decision="accept",
        meaning=Meaning(intent=Intent.PORT_OPEN, position="top"),
    )
    told = tell(Departure(State.OPENING, wrong), Departure(State.OPENING, asked, visit=2))
    pages = [(one.event, page.recent[0].became) for one, page in told]
    assert [became for event, became in pages if event in (wrong, asked)] == [
        "no change",
        "asked back",
    ]
    for event, became in pages:
        assert (became is None) is not isinstance(event, Heard)
        if event not in (wrong, asked) and isinstance(event, Heard):
            assert became == "taken"


def test_an_open_port_is_timed_from_its_opening_until_it_is_closed(tell: Tell) -> None:
    """Through filling and closing, across an overrun; then it is shut again."""
    told = tell(Departure(State.FILLING, 45.0))
    opened = first(told, State.FILLING)
    assert opened.port is not None
    assert (opened.port.position, opened.port.since_ms) == ("bottom", opened.elapsed_ms)
    closing = first(told, State.CLOSING)
    assert closing.port is not None
    assert closing.port.since_ms == opened.port.since_ms
    assert closing.port.overrun
    assert closing.elapsed_ms - closing.port.since_ms > 30_000
    assert first(told, State.RAISING).port is None


def test_a_short_dialogue_shows_the_whole_instruction(tell: Tell) -> None:
    """Where little or nothing is spoken; a port that is opened in the same breath is timed too."""
    short = [(b'dialogue = "full"', b'dialogue = "short"')]
    told = tell(change=short)
    assert len(told) < len(tell())
    assert all(page.instruction for _, page in told)
    later = [page for _, page in told if page.sampler.insertion == 2 and page.port]
    assert {page.port.position for page in later if page.port} == {"bottom", "middle", "top"}
    assert all(page.instruction in ("Wait 5 seconds.", "Close.") for page in later)
    (spoken,) = {
        page.recent[0].said
        for _, page in told
        if page.step == "inserting" and page.sampler.insertion == 2
    }
    assert spoken == "Closed, 885 millimetres."


def test_a_waiting_time_is_counted_until_it_is_over(tell: Tell) -> None:
    """Five seconds to fill, three to shake off; nothing is left at the end."""
    told = tell()
    filling = first(told, State.FILLING)
    assert filling.wait is not None
    assert filling.wait.until_ms == filling.elapsed_ms + 5000
    assert first(told, State.CLOSING).wait is None
    shaking = first(told, State.SHAKING_OFF)
    assert shaking.wait is not None
    assert shaking.wait.until_ms == shaking.elapsed_ms + 3000
    assert told[-1][1].wait is None


def test_the_sampler_goes_to_the_rim_into_the_powder_and_out(tell: Tell) -> None:
    """And the insertion stays marked as one that has disturbed the powder."""
    told = tell()
    assert first(told, State.SEATING).sampler.place == "outside"
    assert first(told, State.ENTERING).sampler.place == "rim"
    assert first(told, State.ENTERING).entered == ()
    inside = first(told, State.OPENING)
    assert (inside.sampler.place, inside.sampler.location, inside.entered) == ("powder", 0, (0,))
    assert first(told, State.EMPTYING_DIES).sampler.place == "outside"
    assert told[-1][1].entered == (0, 1)


def test_an_insertion_that_was_taken_back_has_disturbed_nothing(tell: Tell) -> None:
    """Its depth was confirmed too early and corrected."""
    back = Departure(State.OPENING, Meaning(intent=Intent.CORRECTION))
    told = tell(back, until=State.FILLING)
    entered = [page.entered for _, page in told]
    assert [now for before, now in zip([(), *entered], entered, strict=False) if now != before] == [
        (0,),
        (),
        (0,),
    ]


def test_deviations_are_listed_in_words_the_newest_first(tell: Tell) -> None:
    """With what is noted, in its unit."""
    told = tell(
        Departure(State.SEATING, NoiseRose(noise_dbfs="-40", rise_db="8.5")),
        Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged")),
        until=State.COUNTING,
    )
    page = told[-1][1]
    assert [(d.number, d.kind, d.detail, d.status) for d in page.deviations] == [
        (2, "device lost", "speaker", "open"),
        (1, "louder room", "8.5 dB", "open"),
    ]
    assert (page.deviation_count, page.open_count) == (2, 2)


def test_a_spill_is_told_in_the_words_it_was_told_with(tell: Tell) -> None:
    """Where, and how much."""
    told = tell(Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL)), until=State.CLOSING)
    (spill,) = told[-1][1].deviations
    assert (spill.kind, spill.detail) == ("spill", "on the floor, only a trace")


def test_only_the_newest_deviations_are_listed(tell: Tell) -> None:
    """Their count says how many there are."""
    many = [
        Departure(State.SEATING, NoiseRose(noise_dbfs="-40", rise_db="8.5"), visit=1)
        for _ in range(MOST_DEVIATIONS + 5)
    ]
    page = tell(*many, until=State.ENTERING)[-1][1]
    assert len(page.deviations) == MOST_DEVIATIONS
    assert page.deviations[0].number == page.deviation_count == MOST_DEVIATIONS + 5


def test_time_goes_on_by_the_wall_clock_over_a_restart(tell: Tell) -> None:
    """The steady clock begins anew then."""
    again = Resumed(software="x", engine="typed", microphone="other", speaker="none")
    told = tell(Departure(State.STOWING, again))
    times = [page.elapsed_ms for _, page in told]
    assert times == sorted(times)
    last = told[-1]
    assert last[1].boot == "start-2"
    assert abs(last[1].elapsed_ms - int(last[0].entry.mono) // 1_000_000) <= 1


def test_a_stopped_session_is_incomplete(tell: Tell) -> None:
    """And says so."""
    stop = Departure(State.SEATING, Meaning(intent=Intent.STOP_SAMPLING), visit=2)
    page = tell(stop)[-1][1]
    assert page.ended == "incomplete"
    assert page.instruction.startswith("Stopped. 3 of 6 taken.")


def test_masses_stand_beside_their_vials(tell: Tell) -> None:
    """Where the plan has vials weighed."""
    told = tell(
        name="bin",
        locations=1,
        change=[(b"[weighing]", b"[limits]\nfewest_locations = 1\n\n[weighing]")],
    )
    page = told[-1][1]
    assert set(page.masses) == {1, 2}


def test_a_grammar_from_before_a_prompt_leaves_it_out(
    plan: Plan, tell: Tell, language: Language
) -> None:
    """Rather than failing: what was said stands in the record."""
    told, _ = tell(until=State.SEATING)[-1]
    silent = replace(told, outcome=replace(told.outcome, effects=()))
    old = language.model_copy(update={"prompts": {}, "phrases": {}})
    page = after(begin_page(begin(plan), language), silent, old, "")
    assert (page.instruction, page.answers) == ("", ())
