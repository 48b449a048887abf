"""The simulated operator: what he answers, when he errs, and how he helps himself."""

from collections.abc import Callable
from functools import cache

import pytest

from assistant.errors import InputError
from assistant.grammar.language import parse_grammar
from assistant.grammar.rendering import phrase, understand, universe
from assistant.plan import Plan, parse_plan
from assistant.procedure import queries
from assistant.procedure.enums import END, Intent, State, Timer
from assistant.procedure.events import Event, Heard, Meaning, Opened, RemarkTaken, TimerRang
from assistant.procedure.machine import step
from assistant.procedure.model import Session, begin
from assistant.rehearsal.operator import MAX_TRIES, Operator, OperatorAction
from assistant.rehearsal.script import Script, Slip, parse_script
from assistant.storage import bundled_files
from tests.dialogue import full

ENGLISH = parse_grammar(bundled_files.read_grammar("en"), "en")
BY_THE_BOOK = Script(title="by the book")
OPENED = Opened(
    software="s",
    plan_sha256="p",
    grammar_sha256="g",
    operator="Ada",
    engine="e",
    microphone="m",
    speaker="l",
)


@cache
def plan_of(name: str) -> Plan:
    """Return a shipped plan."""
    return parse_plan(full(name), name)


class Room:
    """Hears everything the operator says, exactly, and works it into the session."""

    def __init__(self, name: str, script: Script = BY_THE_BOOK, seed: int = 1) -> None:
        """Open the session."""
        self.operator = Operator(ENGLISH, script, seed)
        self.session = begin(plan_of(name))
        self.deeds: list[tuple[State, OperatorAction]] = []
        self.deaf: Callable[[Session], bool] = lambda _session: False
        self.take(OPENED)

    def take(self, event: Event) -> None:
        """Work an event in and tell the operator."""
        outcome = step(self.session, event)
        self.session = outcome.session
        if outcome.advanced:
            self.operator.arrived(self.session)

    def act(self) -> OperatorAction | None:
        """Let the operator do one thing."""
        session = self.session
        deed = self.operator.next(session)
        if deed is None:
            if session.state not in END:
                self._ring()
            return None
        self.deeds.append((session.state, deed))
        if deed.do in ("say", "type") and not (deed.do == "say" and self.deaf(session)):
            meaning = understand(ENGLISH, universe(ENGLISH, session), deed.words)
            decision = "accept" if meaning else "refuse"
            source = "voice" if deed.do == "say" else "text"
            self.take(Heard(source=source, text=deed.words, decision=decision, meaning=meaning))
        elif deed.do == "chatter" and session.state is State.REMARKING:
            self.take(RemarkTaken(text=deed.words))
        elif deed.do == "key":
            normal = queries.normal(session)
            assert normal is not None
            words = phrase(ENGLISH, normal)
            self.take(Heard(source="key", text=words, decision="accept", meaning=normal))
        return deed

    def _ring(self) -> None:
        names = {State.FILLING: Timer.FILL_REACHED, State.SHAKING_OFF: Timer.SHAKE_OFF_REACHED}
        timer = names[self.session.state]
        self.take(TimerRang(timer=timer, generation=self.session.progress.timer))

    def until(self, state: State) -> "Room":
        """Let him work until the session stands in a state."""
        for _ in range(4000):
            if self.session.state is state:
                return self
            self.act()
        raise AssertionError(f"{state} is not reached from {self.session.state}")


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_he_works_every_plan_through(name: str) -> None:
    """By the book, without any deviation: masses are such as the dies can hold."""
    room = Room(name).until(State.CLOSED)
    assert {sample.status.value for sample in room.session.progress.samples} == {"full"}
    assert room.operator.next(room.session) is None
    assert {deed.do for _, deed in room.deeds} == {"say"}
    assert room.session.deviations == ()
    assert all(0.3 <= deed.after_s <= 1.0 for _, deed in room.deeds)


def test_the_same_seed_does_the_same() -> None:
    """And another seed another pause and mass."""
    runs = [Room("bin", seed=seed).until(State.CLOSED).deeds for seed in (1, 1, 2)]
    assert runs[0] == runs[1]
    assert runs[0] != runs[2]


def test_he_waits_for_the_clock() -> None:
    """Nothing is said before the filling time is over."""
    room = Room("double-cone").until(State.FILLING)
    assert room.operator.next(room.session) is None


def test_slips_happen_in_their_state_and_visit() -> None:
    """Each once, before the right answer."""
    script = Script.model_validate(
        {
            "title": "t",
            "slip": [
                {"at": "entering", "do": "say", "words": "top port open"},
                {"at": "entering", "visit": 2, "do": "silence", "seconds": 9},
                {"at": "emptying-dies", "visit": 3, "do": "chatter", "words": "nice weather"},
            ],
        }
    )
    room = Room("double-cone", script).until(State.STOWING)
    room.act()
    room.until(State.OPENING)
    entering = [deed for state, deed in room.deeds if state is State.ENTERING]
    assert [(deed.do, deed.words, deed.seconds) for deed in entering] == [
        ("say", "top port open", 0.0),
        ("say", "sampler at depth", 0.0),
        ("silence", "", 9.0),
        ("say", "sampler at depth", 0.0),
    ]
    emptying = [deed.words for state, deed in room.deeds if state is State.EMPTYING_DIES]
    assert emptying == ["vial one full", "vial two full", "nice weather", "vial three full"]


def test_he_affirms_what_he_said_and_denies_what_he_did_not() -> None:
    """A doubt about his own words is affirmed, another one denied."""
    room = Room("double-cone").until(State.INSPECTING)
    said = room.operator.next(room.session)
    assert said is not None
    for meaning, answer in (
        (Meaning(intent=Intent.SHAFT_CLEAN), "affirm"),
        (Meaning(intent=Intent.SHAFT_MARKED), "negative"),
    ):
        words = phrase(ENGLISH, meaning)
        doubted = Heard(source="voice", text=words, decision="ask", meaning=meaning)
        asked = step(room.session, doubted).session
        room.operator.arrived(asked)
        deed = room.operator.next(asked)
        assert deed is not None
        assert deed.words == answer


def test_a_misheard_mass_is_denied_and_said_again() -> None:
    """Until it is typed."""
    room = Room("bin").until(State.WEIGHING)
    deed = room.operator.next(room.session)
    assert deed is not None
    wrong = Meaning(intent=Intent.MASS, number="111.1")
    ways = []
    for _ in range(MAX_TRIES + 2):
        room.take(Heard(source="voice", text="x", decision="accept", meaning=wrong))
        denied = room.act()
        assert denied is not None
        assert denied.words == "negative"
        again = room.operator.next(room.session)
        assert again is not None
        ways.append(again.do)
        assert again.words == deed.words
    assert ways[-1] == "type"
    assert ways[0] == "say"
    room.act()
    room.act()
    assert room.session.progress.samples[0].mass_mg != ""


def test_not_heard_he_presses_the_key() -> None:
    """After a few tries in vain."""
    room = Room("double-cone")
    room.deaf = lambda session: session.state is State.SEATING
    room.until(State.ENTERING)
    seating = [deed.do for state, deed in room.deeds if state is State.SEATING]
    assert seating == ["say"] * MAX_TRIES + ["key"]


@pytest.mark.parametrize("state", [State.DISPOSING, State.NOTE_PLACE, State.STANDING_BY])
def test_not_heard_where_the_key_stands_for_nothing_he_types(state: State) -> None:
    """The work does not stand still for want of an ear."""
    script = Script.model_validate(
        {
            "title": "t",
            "slip": [
                {"at": "seating", "do": "say", "words": "make a spill note"},
                {"at": "seating", "visit": 3, "do": "say", "words": "stand by"},
            ],
        }
    )
    room = Room("double-cone", script)
    room.deaf = lambda session: session.state is state
    room.until(State.CLOSED)
    ways = [deed.do for stood, deed in room.deeds if stood is state]
    assert ways[: MAX_TRIES + 1] == ["say"] * MAX_TRIES + (
        ["key"] if state is State.STANDING_BY else ["type"]
    )


def test_the_shipped_scripts_go_wrong_and_come_to_an_end() -> None:
    """Every one is worked through to a closed or stopped record, and changes something."""
    plain = Room("double-cone").until(State.CLOSED).deeds
    for name in bundled_files.script_names():
        script = parse_script(bundled_files.read_script(name), name)
        room = Room("double-cone", script)
        for _ in range(4000):
            if room.session.state in END:
                break
            room.act()
        assert room.session.state in END
        assert room.deeds != plain
        slips = {slip.words for slip in script.slips if slip.words}
        assert slips <= {deed.words for _, deed in room.deeds}


@pytest.mark.parametrize("name", bundled_files.script_names())
def test_what_the_shipped_scripts_say_on_purpose_is_a_phrase(name: str) -> None:
    """A slip that says something says a phrase of the grammar; chatter says none."""
    script = parse_script(bundled_files.read_script(name), name)
    known = universe(ENGLISH, begin(plan_of("double-cone")))
    for slip in script.slips:
        if slip.do == "say":
            assert understand(ENGLISH, known, slip.words) is not None
        if slip.do == "chatter":
            assert slip.words not in known


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"\xff", "x: not UTF-8 text at byte 0."),
        (b"title = ", "x: not valid TOML"),
        (b"a = " + b"[" * 3000, "x: not valid TOML"),
        (b"title = ''", "x: 'title': "),
        (b"slip = []", "x: 'title': field required."),
        (b"title = 't'\n[[slip]]\nat = 'dancing'\ndo = 'say'", "x: 'slip.0.at': "),
        (b"title = 't'\n[[slip]]\nat = 'seating'\ndo = 'sing'", "x: 'slip.0.do': "),
        (b"title = 't'\n[[slip]]\nat = 'seating'\ndo = 'say'\nvisit = 0", "x: 'slip.0.visit': "),
        (b"title = 't'\n[[slip]]\nat = 'seating'\ndo = 'say'\nmore = 0", "x: 'slip.0.more': "),
    ],
)
def test_a_script_that_cannot_be_used_is_refused(raw: bytes, message: str) -> None:
    """In one sentence that names the file and the place."""
    with pytest.raises(InputError) as caught:
        parse_script(raw, "x")
    assert message in str(caught.value)


def test_a_script_may_come_from_any_editor() -> None:
    """A byte order mark and foreign line ends do not matter."""
    raw = b"\xef\xbb\xbftitle = 't'\r\n[[slip]]\r\nat = 'seating'\r\ndo = 'key'\r\n"
    assert parse_script(raw, "x").slips == (Slip(at=State.SEATING, do="key"),)
