"""All measurements of the hearing, in one run: the table with the raw engine beside ours."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from assistant.grammar.rendering import NUMBER
from assistant.ports import Stakes
from assistant.procedure.enums import Intent
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.detector import Detector
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.utterance_verification.score_model import load
from assistant.speech.utterance_verification.verifier import Verifier
from tests.listening_bench import digits as spoken_numbers
from tests.listening_bench import phones
from tests.listening_bench.cases import Case, Kind, Material, plan
from tests.listening_bench.evidence import Collector, Evidence, about, collect_all
from tests.listening_bench.figures import Outcome, outcome, percentile, raw_outcome
from tests.listening_bench.situations import Situation
from tests.listening_bench.table import Line, Listening, by_phrase, by_voice, lines, markdown
from tests.listening_bench.timing import delays, memory, noise_alone
from tests.listening_bench.voices import Half

FULL: Final[Mapping[Kind, int]] = {
    "phrase": 300,
    "near": 120,
    "chatter": 30,
    "human": 210,
    "noise": 15,
    "human-phrase": 45,
    "harm": 2790,
}
"""Cases of the published table; an hour or more on two cores."""
SMALL: Final[Mapping[Kind, int]] = {"phrase": 60, "near": 20, "human": 40, "noise": 6, "harm": 100}
"""Cases of a quick look, a few minutes."""

RAW, ALONE, PHONES = "raw engine", "pocketsphinx", "phone model"
_ONCE_MORE: Final = 1_000_000
"""Added to a case's number for the second saying: other noise, same words."""
_ANSWER: Final = 2_000_000
"""Added to a case's number for affirming what was asked back: same voice and level."""
_TIMED: Final = 45

Say = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class Setting:
    """What is measured, and with what."""

    phrases: Mapping[str, str]
    """The phrases by the name of their meaning."""
    pronunciations: Mapping[str, Sequence[str]]
    folder: Path
    """Where renderings and evidence are kept."""
    half: Half = "test"
    digits: Mapping[str, Sequence[str]] | None = None
    """Digits to their words; numbers are measured where given."""
    minutes_of_noise: int = 30
    """Minutes of each of babble and hum that are listened to with nobody speaking."""
    only_phones: bool = False
    """Whether pocketsphinx, which takes most of the time, is left out."""


@dataclass(frozen=True, slots=True)
class Collected:
    """Evidence for pocketsphinx, and what the phone model heard, of first and second sayings."""

    setting: Setting
    first: Sequence[Evidence]
    again: Sequence[Evidence]
    heard: Mapping[int, phones.Heard]


def collect(setting: Setting, wanted: Mapping[Kind, int], say: Say) -> Collected:
    """Gather the evidence for one half, using what is kept already."""
    material = Material(setting.half, setting.phrases, setting.folder)
    cases = {case.number: case for case in plan(material, wanted)}
    say(f"{len(cases)} clips of {', '.join(who.name for who in material.speakers)} and people")
    first, heard = _listened(setting, material, list(cases.values()), setting.half)
    missed = [each for way in _ways(setting, first, heard) for each in _missed(way)]
    once_more = _second_sayings(missed, cases, setting.phrases)
    say(f"{len(once_more)} phrases said once more or affirmed")
    kept = f"{setting.half}.again"
    again, more = _listened(setting, material, list(once_more.values()), kept)
    return Collected(setting, first, again, {**heard, **more})


def _listened(
    setting: Setting, material: Material, cases: Sequence[Case], kept: str
) -> tuple[list[Evidence], dict[int, phones.Heard]]:
    """Have the engines hear the cases."""
    evidence = [about(case) for case in cases]
    if not setting.only_phones:
        collector = Collector(material, setting.pronunciations)
        evidence = list(collect_all(collector, cases, setting.folder / f"{kept}.jsonl"))
    listener = phones.Phones(material, setting.pronunciations)
    found = phones.hear_all(listener, cases, setting.folder / f"{kept}.phones.jsonl")
    return evidence, {each.number: each for each in found}


def _second_sayings(
    missed: Sequence[Outcome], cases: Mapping[int, Case], phrases: Mapping[str, str]
) -> dict[int, Case]:
    """What is said after a refusal, and after an ask-back of the right phrase."""
    affirm, negative = phrases[Intent.AFFIRM].lower(), phrases[Intent.NEGATIVE].lower()
    both = frozenset({affirm, negative})
    answers: dict[str, Stakes] = dict.fromkeys(both, "answer")
    asking = Situation("asked-back", tuple(both), frozenset(), stakes=answers, expected=both)
    found: dict[int, Case] = {}
    for each in sorted(missed, key=lambda outcome: outcome.case.number):
        case = cases[each.case.number]
        if each.decision == "refuse":
            number = case.number + _ONCE_MORE
            found[number] = replace(case, number=number)
        elif each.decision == "ask" and each.phrase == case.text:
            number = case.number + _ANSWER
            found[number] = replace(case, number=number, text=affirm, situation=asking)
    return found


def _missed(way: Listening) -> list[Outcome]:
    return [each for each in way.of("phrase") if not each.right]


def _ways(
    setting: Setting, evidence: Sequence[Evidence], heard: Mapping[int, phones.Heard]
) -> list[Listening]:
    new = [phones.outcome(case, heard[case.number]) for case in evidence]
    if setting.only_phones:
        return [Listening(PHONES, new)]
    alone = load("alone")
    return [Listening(ALONE, [outcome(case, alone) for case in evidence]), Listening(PHONES, new)]


def ways(collected: Collected) -> list[Listening]:
    """Decide on all evidence in every way of listening."""
    setting = collected.setting
    first = _ways(setting, collected.first, collected.heard)
    later = _ways(setting, collected.again, collected.heard)
    judged = [
        replace(way, repeats=_from(second, _ONCE_MORE), answers=_from(second, _ANSWER))
        for way, second in zip(first, later, strict=True)
    ]
    if setting.only_phones:
        return judged
    # Harm is not measured for the raw engine: its clips are only scored where ours could accept.
    heard = [case for case in collected.first if case.kind != "harm"]
    return [Listening(RAW, [raw_outcome(case) for case in heard]), *judged]


def _from(way: Listening, base: int) -> dict[int, Outcome]:
    """Return second sayings of one kind by the number of the first case."""
    return {
        each.case.number - base: each
        for each in way.outcomes
        if each.case.number // _ONCE_MORE == base // _ONCE_MORE
    }


def numbers(setting: Setting) -> list[Line]:
    """Measure spoken numbers, live."""
    if setting.digits is None:
        return []
    material = Material(setting.half, setting.phrases, setting.folder)
    phrase = setting.phrases[Intent.MASS].lower().replace("{number}", NUMBER)
    given = setting.folder, setting.pronunciations, setting.digits, phrase
    heard = {PHONES: spoken_numbers.measure_phones(material, *given)}
    if not setting.only_phones:
        heard[ALONE] = spoken_numbers.measure(material, *given)
    return spoken_numbers.lines(heard)


def timing(
    setting: Setting, wanted: Mapping[Kind, int], heard: Mapping[int, phones.Heard]
) -> list[Line]:
    """Measure delays, processor time, memory and listening to noise alone, live."""
    material = Material(setting.half, setting.phrases, setting.folder)
    drawn = plan(material, wanted)
    cases = [case for case in drawn if case.kind == "phrase"][:_TIMED]
    taken = [heard[case.number] for case in cases if heard[case.number].decision == "accept"]
    mine = [heard[case.number] for case in cases]
    found = {"end of speech to decision": {PHONES: _spread([each.delay for each in taken])}}
    share = sum(each.cpu for each in mine) / sum(each.seconds for each in mine)
    found["processor time of the whole loop"] = {PHONES: f"{share:.3f} s per s"}
    found["peak memory of judging, MB"] = {PHONES: f"{memory('phones'):.0f}"}
    judges = [] if setting.only_phones else [Verifier(setting.pronunciations)]
    for judge in judges:
        judge.prepare(material.union, material.situations[0].legal)
        for figure, cell in _pocketsphinx(setting, material, cases, judge, share).items():
            found.setdefault(figure, {}).update(cell)
    for kind in ("babble", "hum"):
        detectors: dict[str, Detector] = {
            PHONES: phones.Phones(material, setting.pronunciations).detector(
                material.union, material.situations[0]
            ),
        }
        for judge in judges:
            detectors[ALONE] = CutAndJudge(judge.judge)
        listened = noise_alone(kind, setting.minutes_of_noise, material, detectors)
        found[f"accepted from {kind} alone"] = {
            name: f"{each.accepted} of {each.utterances} in {each.minutes:g} min"
            for name, each in listened.items()
        }
    return [Line(figure, cells) for figure, cells in found.items()]


def _pocketsphinx(
    setting: Setting, material: Material, cases: Sequence[Case], judge: Verifier, share: float
) -> Mapping[str, dict[str, str]]:
    """Return the cells of pocketsphinx, and the costs of both as multiples of the bare decode.

    Args:
        setting: what is measured.
        material: voices and noise.
        cases: what is said.
        judge: the acceptance layer, prepared.
        share: processor seconds of the phone model for each second of sound.
    """
    raw = PocketSphinxRecogniser(setting.pronunciations)
    raw.prepare(material.union)
    timed = delays(material, cases, judge.judge, raw.hear)
    seconds = sum(each.seconds for each in timed)
    bare, ours = (sum(getattr(e, cost) for e in timed) / seconds for cost in ("raw_cpu", "cpu"))
    costs = {ALONE: ours, PHONES: share}
    cells = {name: f"{one / bare:.1f} x, {one:.3f} s per s" for name, one in costs.items()}
    return {
        "end of speech to decision": {ALONE: _spread([each.total for each in timed])},
        "wall time of the judgement": {ALONE: _spread([each.judged for each in timed])},
        "end of speech to the engine's own endpoint": {
            ALONE: _spread([each.engine for each in timed])
        },
        "processor time of the whole loop": {RAW: "1.0 x", **cells},
        "peak memory of judging, MB": {ALONE: f"{memory('embedded'):.0f}"},
    }


def _spread(values: Sequence[float]) -> str:
    return f"p50 {percentile(values, 0.5):.2f} s, p95 {percentile(values, 0.95):.2f} s"


def report(setting: Setting, wanted: Mapping[Kind, int], say: Say) -> str:
    """Measure everything and return the text to print."""
    collected = collect(setting, wanted, say)
    judged = ways(collected)
    say("timing")
    table = [*lines(judged), *numbers(setting), *timing(setting, wanted, collected.heard)]
    parts = [markdown(table)]
    for way in judged[-2:]:
        worst = [f"{text}: {found}" for text, found in by_phrase(way.outcomes)[:12]]
        voices = [f"{voice}: {found}" for voice, found in by_voice(way.outcomes)]
        parts.append(f"Worst phrases, {way.name}:\n" + "\n".join(worst))
        parts.append(f"Voices, {way.name}:\n" + "\n".join(voices))
    return "\n\n".join(parts)
