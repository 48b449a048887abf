"""The loop: one input, on record, and only then the effects."""

import pytest

from assistant.journal.head_code import head_code
from assistant.ports import Utterance
from assistant.procedure.enums import Intent, State, Timer
from assistant.procedure.events import (
    AudioLost,
    DeviceLost,
    Heard,
    Meaning,
    RemarkTaken,
    StorageTroubled,
    TimerRang,
)
from assistant.procedure.model import begin
from tests.unit.session.conftest import Bench, plan_of


def through_cautions(bench: Bench) -> Bench:
    """Answer what is asked before the work."""
    for line in ("vessel is isolated", "sampler is earthed", "protection is worn"):
        bench.type(line)
    assert bench.loop.session.state is State.SEATING
    return bench


def to_filling(bench: Bench) -> Bench:
    """Open the bottom port."""
    for line in ("dies are seated", "entry and tilt set", "sampler at depth", "bottom port open"):
        bench.type(line)
    return bench


def to_the_end(bench: Bench) -> Bench:
    """Press the key through the whole study, up to the signature."""
    for _ in range(3000):
        if bench.loop.session.state is State.SIGNING:
            break
        bench.pass_time(0.5)
        bench.press()
    return bench


def test_opening_is_on_record_before_anything_is_said(bench: Bench) -> None:
    """The first prompt belongs to the first entry."""
    assert len(list(bench.journal.lines())) == 1
    said = bench.entries[0][2]
    assert bench.mouth.said == [said]
    assert said.startswith("Has your site")


def test_a_spoken_phrase_goes_on_record_with_its_sound(bench: Bench) -> None:
    """The clip is stored first and named in the entry; then the next prompt is spoken."""
    bench.hear("vessel is isolated")
    heard = bench.events[-1]
    assert isinstance(heard, Heard)
    assert (heard.source, heard.decision, heard.engine) == ("voice", "accept", "script")
    assert heard.scores == {"s": "1"}
    assert set(bench.shelf.clips) == {heard.clip}
    assert len(bench.shelf.clips[heard.clip]) > 2 * 16000 * 0.5
    assert bench.mouth.said[-1].startswith("Is the metal")


def test_doubt_and_refusal_go_on_record_too(bench: Bench) -> None:
    """What was refused has its clip; what is doubted is asked back."""
    bench.hear("", "refuse")
    bench.hear("vessel is isolated", "ask")
    refused, doubted = bench.events[1:]
    assert isinstance(refused, Heard)
    assert isinstance(doubted, Heard)
    assert (refused.decision, refused.meaning, bool(refused.clip)) == ("refuse", None, True)
    assert doubted.decision == "ask"
    assert bench.mouth.said[-1] == "Did you say: vessel is isolated?"


def test_what_is_no_phrase_of_the_moment_is_refused(bench: Bench) -> None:
    """Even where the acceptance layer was sure."""
    bench.hear("bottom fill it")
    heard = bench.events[-1]
    assert isinstance(heard, Heard)
    assert (heard.decision, heard.reason) == ("refuse", "no-phrase")


def test_the_judge_is_attuned_to_every_state(bench: Bench) -> None:
    """All phrases there are, and those that count now."""
    assert bench.script.legal[0] == "vessel is isolated"
    assert "sampler is earthed" in bench.script.union
    bench.type("vessel is isolated")
    assert bench.script.legal[0] == "sampler is earthed"
    assert "<number> milligrams" not in bench.script.union


def test_the_number_is_listened_for_where_it_is_asked_for() -> None:
    """And nowhere else, for its network takes anything for digits."""
    bench = Bench(begin(plan_of("bin")))
    bench.open()
    through_cautions(bench)
    while bench.loop.session.state is not State.WEIGHING:
        bench.pass_time(0.5)
        bench.press()
    assert "<number> milligrams" in bench.script.legal
    bench.hear("five six zero decimal five milligrams")
    assert bench.mouth.said[-1].startswith("I heard five six zero decimal five milligrams")
    assert "<number> milligrams" not in bench.script.union
    bench.type("affirm")
    assert bench.loop.session.progress.samples[0].mass_mg == "560.5"
    assert bench.proved() == bench.loop.session


def test_lines_and_keys_say_the_same_as_the_voice(bench: Bench) -> None:
    """A line in any case and spacing; the key for the normal answer; nonsense is refused."""
    bench.type("  Vessel IS   isolated ")
    bench.press()
    bench.type("what a day")
    line, key, nonsense = bench.events[1:]
    assert isinstance(line, Heard)
    assert isinstance(key, Heard)
    assert isinstance(nonsense, Heard)
    assert (line.source, line.text, line.decision) == ("text", "vessel is isolated", "accept")
    assert (key.source, key.text) == ("key", "sampler is earthed")
    assert (nonsense.decision, nonsense.reason, nonsense.text) == (
        "refuse",
        "no-phrase",
        "what a day",
    )


def test_the_key_says_nothing_where_a_choice_is_needed(bench: Bench) -> None:
    """It goes on record as a press that stood for nothing."""
    through_cautions(bench).type("make a spill note")
    bench.press()
    heard = bench.events[-1]
    assert isinstance(heard, Heard)
    assert (heard.source, heard.text, heard.decision) == ("key", "", "refuse")
    assert bench.loop.session.state is State.NOTE_PLACE


def test_the_gate_is_shut_while_a_prompt_is_spoken(bench: Bench) -> None:
    """What sounds meanwhile is not heard; after the real end and a tail it is."""
    bench.type("vessel is isolated")
    bench.pass_time(0.6, loud=True, finish=False)
    bench.pass_time(0.5, finish=False)
    assert len(bench.events) == 2
    assert bench.pipeline.shut
    bench.pass_time(0.6)
    assert not bench.pipeline.shut
    bench.hear("sampler is earthed")
    assert len(bench.events) == 3


def test_with_a_headset_a_phrase_cuts_the_prompt_short() -> None:
    """The prompt stops, and what waited behind it is dropped; talk does not stop it."""
    bench = Bench(begin(plan_of("double-cone")), headset=True)
    bench.open()
    bench.pass_time(1.0)
    bench.type("where are we")
    bench.type("say again")
    bench.script.next.append(("refuse", ""))
    bench.pass_time(0.6, loud=True, finish=False)
    bench.pass_time(0.5, finish=False)
    assert bench.mouth.cut == 0
    assert bench.loop.speaking
    bench.script.next.append(("accept", "vessel is isolated"))
    bench.pass_time(0.6, loud=True, finish=False)
    bench.pass_time(0.5, finish=False)
    assert bench.mouth.cut == 1
    assert bench.mouth.said[-1].startswith("Is the metal")


def test_a_new_state_cuts_the_prompt_and_drops_what_waits(bench: Bench) -> None:
    """What has been overtaken is not said any more."""
    loop = bench.loop
    loop.take(DeviceLost(device="speaker", reason="gone"))
    assert bench.mouth.said[-1] == "Loudspeaker lost. Read the screen."
    loop.take(DeviceLost(device="microphone", reason="gone"))
    assert bench.mouth.said[-1] == "Loudspeaker lost. Read the screen."
    loop.take(_typed(Intent.CAUTION_ISOLATED))
    assert bench.mouth.said[-1].startswith("Is the metal")
    assert bench.mouth.cut == 1
    bench.pass_time(0.2)
    assert "Microphone lost. Use the key." not in bench.mouth.said


def _typed(intent: Intent) -> Heard:
    return Heard(source="text", text="x", decision="accept", meaning=Meaning(intent=intent))


def test_prompts_of_one_state_queue_up(bench: Bench) -> None:
    """Each waits for the real end of the one before."""
    bench.loop.take(DeviceLost(device="speaker", reason="gone"))
    bench.loop.take(DeviceLost(device="microphone", reason="gone"))
    assert bench.loop.speaking
    bench.mouth.finish()
    bench.loop.tick(None)
    assert bench.mouth.said[-1] == "Microphone lost. Use the key."
    bench.mouth.finish()
    bench.loop.tick(None)
    assert not bench.loop.speaking


def test_timers_ring_by_the_steady_clock(bench: Bench) -> None:
    """Both of the filling, each in its time; confirmed filling stops the second."""
    to_filling(through_cautions(bench))
    bench.pass_time(4.9)
    assert not any(isinstance(event, TimerRang) for event in bench.events)
    bench.pass_time(0.3)
    assert bench.events[-1] == TimerRang(
        timer=Timer.FILL_REACHED, generation=bench.loop.session.progress.timer
    )
    assert bench.mouth.said[-1] == "Time is up."
    bench.type("bottom set filled")
    bench.pass_time(30)
    assert sum(isinstance(event, TimerRang) for event in bench.events) == 1


def test_an_overrun_is_announced_and_noted(bench: Bench) -> None:
    """Nobody confirmed for half a minute."""
    to_filling(through_cautions(bench))
    bench.pass_time(31)
    assert bench.mouth.said[-1] == "Open for too long. This is noted."
    assert [d.kind.value for d in bench.loop.session.deviations] == ["overrun"]


def test_notices_come_before_what_was_typed(bench: Bench) -> None:
    """What the devices report happened first."""
    bench.pass_time(1.0)
    bench.loop.tick(
        bench.block(20),
        typed=[Utterance(source="key")],
        notices=[AudioLost(milliseconds=100)],
    )
    assert [event.type for event in bench.events[-2:]] == ["audio-lost", "heard"]


def test_a_spoken_remark_becomes_a_clip(bench: Bench) -> None:
    """From the end of the question until the speaker pauses; no phrase is looked for in it."""
    through_cautions(bench).type("record a remark")
    bench.pass_time(0.5)
    assert bench.loop.taking_remark
    bench.pass_time(1.5, loud=True)
    bench.pass_time(2.0)
    remark = bench.events[-1]
    assert isinstance(remark, RemarkTaken)
    assert 3.0 < float(remark.seconds) < 4.0
    assert len(bench.shelf.clips[remark.clip]) == pytest.approx(
        float(remark.seconds) * 32000, abs=2 * 1600
    )
    assert not bench.loop.taking_remark
    assert bench.mouth.said[-1].startswith("Kept. ")
    assert bench.loop.session.state is State.SEATING


def test_a_remark_may_be_typed(bench: Bench) -> None:
    """Any line that is no phrase, even before the question has been spoken to its end."""
    through_cautions(bench).type("record a remark")
    bench.type("  the filter was shaken ")
    assert bench.events[-1] == RemarkTaken(text="the filter was shaken")
    bench.pass_time(3.0)
    assert not bench.loop.taking_remark
    assert bench.shelf.clips == {}


def test_the_key_ends_a_spoken_remark_and_keeps_it(bench: Bench) -> None:
    """What was spoken until then is the remark."""
    through_cautions(bench).type("record a remark")
    bench.pass_time(0.5)
    bench.pass_time(1.0, loud=True)
    bench.press()
    remark = bench.events[-1]
    assert isinstance(remark, RemarkTaken)
    assert bench.shelf.clips[remark.clip]
    assert remark.text == ""
    bench.pass_time(0.5)
    assert not bench.loop.taking_remark


def test_the_key_before_the_remark_has_begun_keeps_nothing(bench: Bench) -> None:
    """There is no sound yet."""
    through_cautions(bench)
    bench.loop.tick(None)
    bench.type("record a remark")
    bench.loop.tick(None, typed=[_key()])
    assert bench.events[-1] == RemarkTaken()


def test_the_key_at_once_keeps_nothing(bench: Bench) -> None:
    """The remark had begun, but no sound has come in yet."""
    through_cautions(bench).type("record a remark")
    bench.press()
    assert bench.events[-1] == RemarkTaken(seconds="0.0")
    assert bench.shelf.clips == {}


def _key() -> Utterance:
    return Utterance(source="key")


def test_stopping_ends_a_remark(bench: Bench) -> None:
    """The memo is dropped, the question put."""
    through_cautions(bench).type("record a remark")
    bench.pass_time(0.5)
    bench.type("stop sampling now")
    bench.pass_time(0.2)
    assert not bench.loop.taking_remark
    assert bench.loop.session.state is State.STOPPING
    bench.type("negative")
    bench.pass_time(0.5)
    assert bench.loop.taking_remark
    bench.type("nothing to add")
    assert bench.loop.session.state is State.SEATING


def test_a_failing_disk_holds_everything_and_is_noted_later(bench: Bench) -> None:
    """Announced once, tried until it works, on record with its length; nothing is lost."""
    bench.journal.failures = 3
    bench.type("vessel is isolated")
    assert bench.troubles == ["The disk is full."]
    assert bench.waits == [1.0, 1.0, 1.0]
    assert [event.type for event in bench.events[-2:]] == ["heard", "storage-troubled"]
    assert bench.events[-1] == StorageTroubled(reason="The disk is full.", seconds="3.0")
    assert [d.kind.value for d in bench.loop.session.deviations] == ["storage-trouble"]
    bench.pass_time(0.2)
    assert bench.mouth.said[-1] == "The record is written again."


def test_nothing_is_said_that_is_not_on_record(bench: Bench) -> None:
    """While the disk fails, the prompt waits."""
    said: list[list[str]] = []
    bench.journal.failures = 1
    waited = bench.waits.append

    class Looking(list[float]):
        def append(self, seconds: float) -> None:
            said.append(list(bench.mouth.said))
            waited(seconds)

    before = list(bench.mouth.said)
    bench.waits = Looking()
    bench.type("vessel is isolated")
    assert said == [before]
    assert bench.mouth.said != before


def test_a_clip_that_cannot_be_stored_is_insisted_on(bench: Bench) -> None:
    """The entry that names it comes after it."""
    bench.shelf.failures = 2
    bench.hear("vessel is isolated")
    assert bench.troubles == ["The disk is full."]
    assert [event.type for event in bench.events[-2:]] == ["heard", "storage-troubled"]


def test_the_record_ends_with_its_closing(bench: Bench) -> None:
    """The head is told, the last words are spoken, and nothing more is put on record."""
    to_the_end(through_cautions(bench))
    bench.journal.failures = 1
    bench.press()
    loop = bench.loop
    assert loop.session.state is State.CLOSED
    lines = len(list(bench.journal.lines()))
    assert bench.mouth.said[-1].startswith("Head code ")
    assert bench.mouth.said[-1].endswith("The record is closed.")
    assert not loop.ended
    bench.script.next.append(("accept", "say again"))
    bench.pass_time(0.6, loud=True, finish=False)
    loop.take(AudioLost(milliseconds=50))
    bench.type("say again")
    bench.pass_time(0.6)
    assert loop.ended
    assert len(list(bench.journal.lines())) == lines


def test_the_head_code_is_spoken_between_insertions(bench: Bench) -> None:
    """It is that of the entry which asks for it."""
    through_cautions(bench)
    while bench.loop.session.state is not State.STOWING:
        bench.pass_time(0.05)
        bench.press()
    bench.press()
    entry, _, said = bench.entries[-1]
    assert said.startswith(f"Head code {head_code(entry.seq, entry.hash).spoken}.")


def test_a_short_dialogue_signals_by_tones() -> None:
    """One for heard, two when in doubt, three when a wait is over; none in a full dialogue."""
    plan = plan_of("double-cone").model_copy(update={"dialogue": "short", "cautions": ()})
    bench = Bench(begin(plan))
    bench.open()
    bench.pass_time(1.0)
    bench.hear("dies are seated", "ask")
    bench.hear("affirm")
    for phrase in ("entry and tilt set", "sampler at depth", "bottom port open"):
        bench.hear(phrase)
    assert bench.loop.session.state is State.FILLING
    assert bench.mouth.said[-1] == ""
    bench.pass_time(6.0)
    bench.hear("what a day", "refuse")
    assert bench.mouth.said[-1] == "Close."
    assert bench.mouth.tones == [None, "doubt", *["heard"] * 4, "wait-over"]
    assert bench.proved() == bench.loop.session


def hold(bench: Bench, seconds: float, *, delay_s: float = 0.03) -> None:
    """Hold the key down: it repeats 33 times a second, at first after a delay."""
    waited = 0.0
    while waited < seconds:
        bench.loop.tick(None, typed=[_key()])
        step = delay_s if not waited else 0.03
        bench.clock.advance(round(step * 1e9))
        waited += step


@pytest.mark.parametrize("delay_s", [0.03, 0.25, 0.5, 0.66])
def test_a_held_key_is_one_press(bench: Bench, delay_s: float) -> None:
    """Before, 0.22 s confirmed seven steps, three of them cautions."""
    through_cautions(bench)
    bench.mouth.finish()
    bench.pass_time(1.5)
    before = bench.loop.session.ordinal
    hold(bench, 5.0, delay_s=delay_s)
    assert bench.loop.session.ordinal == before + 1
    keys = [e for e in bench.events if isinstance(e, Heard) and e.source == "key"]
    assert [e.decision for e in keys] in (["accept"], ["accept", "refuse"])


def test_presses_apart_are_presses_of_their_own(bench: Bench) -> None:
    """As soon as the first second of each prompt is over."""
    through_cautions(bench)
    before = bench.loop.session.ordinal
    for _ in range(3):
        bench.press()
    assert bench.loop.session.ordinal == before + 3


def test_a_key_in_the_first_second_of_a_prompt_is_refused_and_on_record(bench: Bench) -> None:
    """Nobody has heard yet what is asked."""
    through_cautions(bench)
    bench.mouth.finish()
    bench.loop.tick(None)
    bench.clock.advance(900_000_000)
    bench.loop.tick(None, typed=[_key()])
    heard = bench.events[-1]
    assert isinstance(heard, Heard)
    assert (heard.source, heard.decision, heard.reason) == ("key", "refuse", "too-early")
    assert heard.text == "dies are seated"


def test_no_key_confirms_a_caution_or_a_vial_before_its_prompt_has_ended(bench: Bench) -> None:
    """Other steps may be confirmed by whoever knows them."""

    def press_into_prompt() -> bool:
        before = bench.loop.session
        bench.clock.advance(2_000_000_000)
        bench.loop.tick(None, typed=[_key()])
        return bench.loop.session != before

    bench.loop.take(DeviceLost(device="speaker", reason="gone"))
    assert not press_into_prompt()
    through_cautions(bench)
    assert press_into_prompt()
    while bench.loop.session.state is not State.EMPTYING_DIES:
        bench.pass_time(0.5)
        bench.press()
    assert not press_into_prompt()
    bench.press()
    assert bench.loop.session.progress.die == 1
    vial = Meaning(intent=Intent.VIAL_FULL, vial=2)
    heard = Heard(source="voice", text="vial two full", decision="accept", meaning=vial)
    bench.loop.take(heard)
    assert not press_into_prompt()
    bench.press()
    assert bench.loop.session.progress.die == 2


def to_the_vials(bench: Bench) -> Bench:
    """Press the key until the dies are emptied."""
    through_cautions(bench)
    while bench.loop.session.state is not State.EMPTYING_DIES:
        bench.pass_time(0.5)
        bench.press()
    return bench


@pytest.mark.parametrize(
    "text", ["vial two full", "vial one contains nothing", "tube is emptied out"]
)
def test_a_read_back_is_ended_by_an_answer_only(bench: Bench, text: str) -> None:
    """Another phrase may be a misheard answer: the question is put again, no deviation is noted."""
    to_the_vials(bench).hear("vial one full")
    asked, said = bench.loop.session, bench.mouth.said[-1]
    assert asked.state is State.READING_BACK
    bench.hear(text)
    bench.type(text)
    assert bench.loop.session == asked
    assert bench.mouth.said[-2:] == [said, said]
    assert [e.reason for e in bench.events[-2:] if isinstance(e, Heard)] == ["answer-wanted"] * 2
    bench.hear("affirm")
    assert bench.loop.session.progress.die == 1
    assert bench.loop.session.deviations == ()


def test_a_doubtful_answer_has_its_question_put_again(bench: Bench) -> None:
    """Aloud, with the phrase in it; without a question, "affirm" is no answer."""
    to_the_vials(bench).hear("vial one full")
    read_back = bench.mouth.said[-1]
    bench.hear("affirm", "ask")
    assert bench.mouth.said[-1] == read_back
    assert bench.loop.session.progress.pending is not None
    bench.hear("affirm")
    bench.hear("affirm", "ask")
    assert bench.mouth.said[-1] == "Not understood."
    bench.hear("stop sampling now")
    question = bench.mouth.said[-1]
    bench.hear("negative", "ask")
    assert bench.mouth.said[-1] == question
    assert bench.loop.session.state is State.STOPPING


@pytest.mark.parametrize("by_voice", [True, False])
def test_other_words_for_a_phrase_are_answered_with_it(bench: Bench, *, by_voice: bool) -> None:
    """The phrase is told, by voice as by keyboard; nothing is noted and nothing moves."""
    through_cautions(bench)
    assert "make a leak note" in bench.script.union
    assert "make a leak note" not in bench.script.legal
    before = bench.loop.session
    if by_voice:
        bench.hear("make a leak note")
    else:
        bench.type("Make a  leak note")
    event = bench.events[-1]
    assert isinstance(event, Heard)
    assert (event.decision, event.reason) == ("refuse", "near-wording")
    assert event.meaning == Meaning(intent=Intent.NOTE_LEAK)
    assert bench.entries[-1][2] == "Say: leak noticed here."
    assert bench.loop.session == before


def test_other_words_name_what_is_in_hand_and_wait_their_turn(bench: Bench) -> None:
    """They count only where their phrase does, and end no read-back."""
    through_cautions(bench)
    bench.type("correct the last entry")
    assert bench.entries[-1][2] == "Say: correction last entry."
    bench.type("stop sampling now")
    bench.type("make a leak note")
    event = bench.events[-1]
    assert isinstance(event, Heard)
    assert (event.decision, event.reason) == ("refuse", "no-phrase")
