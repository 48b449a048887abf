"""Records sealed anew by somebody who can write their folder, and which anchor catches which.

The forger knows the method: every hash, count and outcome is worked out again, the copies of plan
and grammar agree with the first entry, and signatures and time stamps are taken away. What he
cannot write is what is kept elsewhere: head codes on paper, the private keys, the register of the
station. Of an authority he may ask a stamp like everybody else, but only for the present moment:
two forgeries are stamped anew, a day later.

`python -m tests.faults.forgeries` puts the table into the README.
"""

import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any, Literal

import numpy as np
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.clock import ManualClock
from assistant.conformance import outcome_on_record
from assistant.errors import RecordBroken
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.journal.head_code import head_code
from assistant.journal.signing import check, sign
from assistant.ports import Instant
from assistant.procedure import queries
from assistant.procedure.enums import State
from assistant.procedure.events import DeviceLost, Heard, RemarkTaken, dump, load
from assistant.procedure.machine import step
from assistant.procedure.model import begin
from assistant.record import open_record, prove
from assistant.record.registered import registered
from assistant.record.standing import standing_of
from assistant.record.time_stamps import certificates_in, request
from assistant.session.register_writer import RegisterWriter
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.storage.register import Register, sessions
from assistant.storage.signatures import add_signature
from assistant.storage.time_stamps import add_time_stamp
from assistant.testing import Departure, quick_record
from tests.faults.driver import FULL, GRAMMAR, english, plan_of
from tests.stamp_authority import Authority
from tests.stamp_authority import found as founded

README = Path(__file__).parents[2] / "README.md"
PLAN = b"[[locations]]".join(FULL.split(b"[[locations]]")[:3])
"""Two insertions, six samples."""
KEY = Ed25519PrivateKey.from_private_bytes(b"a" * 32)
REVIEWER = "Ada Lindqvist"
NOW = datetime.now(UTC)
FIRST_YEAR, FAR_YEAR = datetime(1, 3, 4, tzinfo=UTC), datetime(2131, 3, 4, tzinfo=UTC)
LATE_S = 3600.0
"""A stamp made so much later than its entry: the reader of `verify` sees it."""
HUM = (1000 * np.sin(np.arange(16_000) / 9)).astype("<i2").tobytes()
OTHER_HUM = (1000 * np.sin(np.arange(16_000) / 7)).astype("<i2").tobytes()


@dataclass
class Story:
    """What a forger may choose; the rest follows."""

    events: list[dict[str, Any]]
    utc: list[datetime]
    mono: list[int]
    boot: list[str]
    plan: bytes = PLAN
    grammar: bytes = GRAMMAR
    outcomes: dict[int, dict[str, Any]] = field(default_factory=dict)
    """Claims instead of what the procedure makes of an event, by place from 0."""

    def drop(self, start: int, end: int) -> None:
        """Leave entries out."""
        for each in (self.events, self.utc, self.mono, self.boot):
            del each[start:end]

    def insert(self, place: int, event: dict[str, Any]) -> None:
        """Put an entry in, at the time of the one that stands there."""
        self.utc.insert(place, self.utc[place])
        self.mono.insert(place, self.mono[place])
        self.boot.insert(place, self.boot[place])
        self.events.insert(place, event)

    def places(self, **wanted: object) -> list[int]:
        """Return where events have these fields."""
        return [
            n
            for n, event in enumerate(self.events)
            if all(event.get(name) == value for name, value in wanted.items())
        ]


def write(folder: Path, story: Story) -> None:
    """Seal a story from its first entry on; every outcome is what the procedure makes of it."""
    opened = story.events[0]
    opened["plan_sha256"] = sha256(story.plan).hexdigest()
    opened["grammar_sha256"] = sha256(story.grammar).hexdigest()
    session, last, lines = begin(plan_of(story.plan)), None, []
    for n, plain in enumerate(story.events):
        event = load(plain)
        outcome = step(session, event)
        told = story.outcomes.get(n) or outcome_on_record(outcome, english())
        by = queries.answerable(session, event)
        at = Instant(story.utc[n].strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0"), story.mono[n])
        last = seal(last, at=at, boot=story.boot[n], by=by, event=dump(event), outcome=told)
        lines.append(line(last))
        session = outcome.session
    (folder / "plan.toml").write_bytes(story.plan)
    (folder / "grammar.toml").write_bytes(story.grammar)
    (folder / "record.jsonl").write_bytes(b"".join(lines))


def taken_apart(folder: Path) -> Story:
    """Return what a record tells."""
    entries = list(read(RecordReader(folder).lines()))
    return Story(
        [entry.event for entry in entries],
        [datetime.fromisoformat(entry.utc) for entry in entries],
        [int(entry.mono) for entry in entries],
        [entry.boot for entry in entries],
    )


def stamp(folder: Path, office: Authority, later: timedelta = timedelta()) -> None:
    """Have the end of a record stamped, now or later."""
    *_, last = read(RecordReader(folder).lines())
    response = office.reply_at(request(last.hash), datetime.now(UTC) + later)
    add_time_stamp(folder, last.seq, response)


@dataclass(frozen=True)
class Genuine:
    """A record with everything that is kept of it elsewhere."""

    folder: Path
    register: Path
    office: Authority
    """Stamped it when it ended."""
    early: str
    """Head code told after the first insertion."""
    end: str
    """Head code told at the end."""


def genuine(root: Path) -> Genuine:
    """Make the record: a lost loudspeaker with a spoken reason, phrases with clips, one refused."""
    folder, register = root / "record", root / "register"
    with RecordFolder.create(folder, PLAN, GRAMMAR) as record:
        clip = record.save_clip(HUM)
        departures = (
            Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged")),
            Departure(State.REMARKING, RemarkTaken(clip=clip, seconds="1.0")),
        )
        quick_record(record, ManualClock(NOW), PLAN, GRAMMAR, departures=departures)
        other = record.save_clip(OTHER_HUM)
    story = taken_apart(folder)
    story.events[0] |= {"kind": "live", "host": "bench-3", "account": "sampler"}
    for n, place in enumerate(story.places(type="heard", source="text")):
        if n % 3 == 0 and "vial" not in story.events[place]["text"]:  # those are read back
            spoken = {"source": "voice", "engine": "phones", "scores": {"sure": "0.9"}}
            story.events[place] |= {**spoken, "clip": (clip, other)[n % 2]}
    refused = Heard(source="voice", text="bottom", decision="refuse", reason="doubt", clip=clip)
    story.insert(8, dump(refused))
    ended = datetime.now(UTC) - timedelta(minutes=1)
    story.utc = [utc - (story.utc[-1] - ended) for utc in story.utc]
    write(folder, story)
    codes = []
    keeper = RegisterWriter(Register(register), folder)
    record_ = open_record(folder)
    last: Entry | None = None
    for told in record_.told():
        keeper.entered(told.entry, told.event, told.outcome, "")
        last = told.entry
        if any(effect["do"] == "tell-head" for effect in _effects(last)):
            codes.append(head_code(last.seq, last.hash).text)
    assert last is not None
    utc = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    signature = sign(last, name=REVIEWER, meaning="reviewed", utc=utc, key=KEY, previous=None)
    add_signature(folder, signature)
    founded(root / "office")
    office = Authority(root / "office")
    stamp(folder, office)
    return Genuine(folder, register, office, codes[0], codes[-1])


def _effects(entry: Entry) -> list[dict[str, Any]]:
    effects: Any = entry.outcome["effects"]
    return list(effects)


Forge = Callable[[Story, Path], None]
FORGERIES: dict[str, Forge] = {}
"""Each forgery by what it does."""


def forgery(what: str) -> Callable[[Forge], Forge]:
    """Enter a function into the list."""

    def enter(forge: Forge) -> Forge:
        FORGERIES[what] = forge
        return forge

    return enter


def _set(what: str, changes: Mapping[str, object]) -> None:
    """Enter a forgery of fields in the first entry."""
    FORGERIES[what] = lambda story, _: story.events[0].update(changes)


def _cut(what: str, keep: Callable[[int], int]) -> None:
    """Enter a forgery that keeps so many entries."""
    FORGERIES[what] = lambda story, _: story.drop(keep(len(story.events)), len(story.events))


_cut("last entry cut off", lambda n: n - 1)
_cut("second half cut off", lambda n: n // 2)
_cut("all but the first entry cut off", lambda _: 1)
_set("another engine named", {"engine": "better", "engine_version": "9"})
_set("another model named", {"model": "better.onnx", "model_sha256": "0" * 64})
_set("another host and account named", {"host": "bench-4", "account": "somebody"})
_set("another program's hash named", {"program_sha256": "1" * 64})
_set("a rehearsal made of a live session", {"kind": "rehearsal"})
_set("another microphone named", {"microphone": "headset"})
_set("a clock called synchronised", {"clock_synchronised": "yes"})


def _vials(story: Story, places: list[int]) -> None:
    for place in places:
        event = story.events[place]
        text = event["text"].replace("full", "short")
        meaning = {**event["meaning"], "intent": "vial-short"}
        story.events[place] = {**event, "text": text, "meaning": meaning}


def _full(story: Story) -> list[int]:
    return [n for n, e in enumerate(story.events) if str(e.get("text", "")).endswith(" full")]


@forgery("three vials of the first insertion made short")
def _(story: Story, _folder: Path) -> None:
    _vials(story, _full(story)[:3])


@forgery("three vials of the last insertion made short")
def _(story: Story, _folder: Path) -> None:
    _vials(story, _full(story)[-3:])


@forgery("all clips dropped")
def _(story: Story, folder: Path) -> None:
    for event in story.events:
        event.pop("clip", None)
    for clip in (folder / "clips").iterdir():
        clip.unlink()


@forgery("one clip exchanged for another")
def _(story: Story, _folder: Path) -> None:
    *_, last = (event for event in story.events if event.get("clip"))
    clips = {event["clip"] for event in story.events if event.get("clip")}
    (last["clip"],) = clips - {last["clip"]}


@forgery("a clip changed on the disk alone")
def _(_story: Story, folder: Path) -> None:
    clip = next((folder / "clips").iterdir())
    clip.write_bytes(clip.read_bytes()[:-1] + b"\0\0")


@forgery("a clip removed from the disk alone")
def _(_story: Story, folder: Path) -> None:
    next((folder / "clips").iterdir()).unlink()


@forgery("voice called typing")
def _(story: Story, _folder: Path) -> None:
    for place in story.places(source="voice", decision="accept"):
        story.events[place]["source"] = "text"


@forgery("scores of hearing improved")
def _(story: Story, _folder: Path) -> None:
    for place in story.places(source="voice", decision="accept"):
        story.events[place]["scores"] = {"sure": "0.99"}


@forgery("a refused utterance left out")
def _(story: Story, _folder: Path) -> None:
    (place,) = story.places(decision="refuse")
    story.drop(place, place + 1)


@forgery("a lost loudspeaker left out, its deviation with it")
def _(story: Story, _folder: Path) -> None:
    (lost,) = story.places(type="device-lost")
    (reason,) = story.places(type="remark-taken")
    story.drop(reason - 1, reason + 1)
    story.drop(lost, lost + 1)


@forgery("a spoken reason exchanged for a typed one")
def _(story: Story, _folder: Path) -> None:
    (reason,) = story.places(type="remark-taken")
    story.events[reason] = dump(RemarkTaken(text="nothing of note"))


@forgery("batch of the plan exchanged")
def _(story: Story, _folder: Path) -> None:
    story.plan = story.plan.replace(b'batch = "', b'batch = "X', 1)


@forgery("operator of the plan renamed")
def _(story: Story, _folder: Path) -> None:
    story.plan = story.plan.replace(b"Mira Oostveld", b"Nora Oostveld")
    story.events[0]["operator"] = "Nora Oostveld"


@forgery("a comment put into the grammar")
def _(story: Story, _folder: Path) -> None:
    story.grammar += b"# another grammar\n"


@forgery("all times moved back by an hour")
def _(story: Story, _folder: Path) -> None:
    story.utc = [utc - timedelta(hours=1) for utc in story.utc]


@forgery("all times moved to the year 1")
def _(story: Story, _folder: Path) -> None:
    story.utc = [utc - (story.utc[0] - FIRST_YEAR) for utc in story.utc]


@forgery("all times moved to the year 2131")
def _(story: Story, _folder: Path) -> None:
    story.utc = [utc - (story.utc[0] - FAR_YEAR) for utc in story.utc]


@forgery("times running back by the hour")
def _(story: Story, _folder: Path) -> None:
    story.utc = [utc - timedelta(hours=n) for n, utc in enumerate(story.utc)]


@forgery("UTC of the second half an hour later")
def _(story: Story, _folder: Path) -> None:
    half = len(story.utc) // 2
    story.utc[half:] = [utc + timedelta(hours=1) for utc in story.utc[half:]]


@forgery("waiting times shortened to a tenth")
def _(story: Story, _folder: Path) -> None:
    first = story.utc[0]
    story.mono = [mono // 10 for mono in story.mono]
    story.utc = [first + (utc - first) / 10 for utc in story.utc]


@forgery("steady clock running back")
def _(story: Story, _folder: Path) -> None:
    story.mono.reverse()


@forgery("two steps exchanged")
def _(story: Story, folder: Path) -> None:
    story.events[4], story.events[5] = story.events[5], story.events[4]
    entries = list(read(RecordReader(folder).lines()))
    story.outcomes = {4: entries[5].outcome, 5: entries[4].outcome}


@forgery("a state claimed that was not reached")
def _(story: Story, folder: Path) -> None:
    entry = list(read(RecordReader(folder).lines()))[5]
    story.outcomes = {5: {**entry.outcome, "state": "closed"}}


@forgery("an entry put behind the end")
def _(story: Story, _folder: Path) -> None:
    story.insert(len(story.events) - 1, story.events[-1])
    story.events[-1] = dump(RemarkTaken(text="one more"))


@forgery("a rehearsal called live in its place")
def _(story: Story, folder: Path) -> None:
    shutil.rmtree(folder)
    with RecordFolder.create(folder, PLAN, GRAMMAR) as record:
        quick_record(record, ManualClock(story.utc[0]), PLAN, GRAMMAR, seed=7)
    anew = taken_apart(folder)
    anew.events[0] |= {"kind": "live", "host": "bench-3", "account": "sampler"}
    story.events, story.utc, story.mono, story.boot = anew.events, anew.utc, anew.mono, anew.boot


STAMPED_ANEW = ", stamped anew the day after"
for _what in (
    "three vials of the last insertion made short",
    "a rehearsal called live in its place",
):
    FORGERIES[_what + STAMPED_ANEW] = FORGERIES[_what]

Answer = Literal["caught", "pointed out", "-"]
ANCHORS = ("nothing", "early head code", "last head code", "signature", "register", "time stamp")
"""What is at hand from outside the folder."""


def answers(kept: Genuine, folder: Path) -> dict[str, Answer]:
    """Return for each anchor whether `verify` with it refuses a record."""
    heads = next(iter(sessions(kept.register).values())).heads
    found: dict[str, Answer] = {}
    for anchor in ANCHORS:
        code = {"early head code": kept.early, "last head code": kept.end}.get(anchor, "")
        try:
            record = open_record(folder)
            proof = prove(record, code, heads.keys())
            if anchor == "register":
                registered(proof, sessions(kept.register).get(record.first_hash()), kept.register)
            lacking, late = False, False
            if anchor == "signature":
                check(proof.signatures, proof.heads, {REVIEWER: KEY.public_key()})
                standing = standing_of(proof, "", proof.signatures)
                lacking = standing is None or bool(standing.lacking(["reviewed"]))
            if anchor == "time stamp":
                root = kept.office.root
                stamps = proof.stamped(certificates_in(root.read_bytes(), root))
                standing = standing_of(proof, "", (), stamps)
                lacking = standing is None or bool(standing.lacking(["trusted-time"]))
                late = any(proof.delay_s(each) > LATE_S for each in stamps)
            pointed: Answer = "pointed out" if proof.times.doubtful or late else "-"
            found[anchor] = "caught" if lacking else pointed
        except RecordBroken:
            found[anchor] = "caught"
    return found


def results() -> dict[str, dict[str, Answer]]:
    """Forge the record in every way; the genuine one stands first."""
    found = {}
    with tempfile.TemporaryDirectory() as root:
        kept = genuine(Path(root))
        found["none: the genuine record"] = answers(kept, kept.folder)
        for number, (what, forge) in enumerate(FORGERIES.items()):
            folder = Path(root) / str(number)
            shutil.copytree(kept.folder, folder)
            (folder / "signatures.jsonl").unlink()
            shutil.rmtree(folder / "time-stamps")
            story = replace(taken_apart(folder))
            forge(story, folder)
            write(folder, story)
            if what.endswith(STAMPED_ANEW):
                stamp(folder, kept.office, timedelta(days=1))
            found[what] = answers(kept, folder)
    return found


def table_of(found: Mapping[str, Mapping[str, Answer]]) -> str:
    """Return the README's table."""
    rows = [
        f"| {what} | {' | '.join(answer[anchor] for anchor in ANCHORS)} |"
        for what, answer in found.items()
    ]
    return "\n".join(
        [f"| forgery | {' | '.join(ANCHORS)} |", f"|---|{'---|' * len(ANCHORS)}", *rows]
    )


def rewrite() -> None:
    """Put the table into the README."""
    before, rest = README.read_text("utf-8").split("<!-- forgeries -->", 1)
    _, after = rest.split("<!-- end of forgeries -->", 1)
    text = (
        f"{before}<!-- forgeries -->\n\n{table_of(results())}\n\n<!-- end of forgeries -->{after}"
    )
    README.write_text(text, "utf-8")


if __name__ == "__main__":
    rewrite()
