"""The embedded engine's passes over one utterance: what it heard, and how well each phone fits.

Four passes are made over the same samples: the grammar of all phrases, the grammar without the
best phrase (for the runner-up), the best phrase laid along the audio phone by phone, and a free
loop of phones. Pruning is wide and the cepstral mean is taken over the whole utterance, so the
figures depend on the samples only and not on what was heard before.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Final

from assistant.errors import GrammarError
from assistant.speech.pocketsphinx_engine import (
    PHONE_WORD,
    add_phone_words,
    known_ways,
    open_decoder,
)
from assistant.speech.utterance_verification.trimming import Samples

_LOOP: Final = {"lw": 1.0, "wip": 0.2, "beam": 1e-20, "wbeam": 1e-14, "pbeam": 1e-20}


@dataclass(frozen=True, slots=True)
class Segment:
    """One phone laid along the audio; frames are 10 ms, the score is a log likelihood."""

    name: str
    start: int
    frames: int
    score: float
    word: int
    """Number of its word in the phrase, -1 for silence and noise."""


@dataclass(frozen=True, slots=True)
class Passes:
    """What the engine's passes gave for one utterance."""

    phrase: str
    """The phrase under test."""
    union: str
    """The best phrase of all."""
    second: str
    score: float
    """Score of `phrase` in the grammar pass, a log likelihood."""
    rival: float
    """Score of the best other phrase in the same pass."""
    aligned: tuple[Segment, ...] = ()
    loop: tuple[Segment, ...] = ()
    spread: float = 0.0
    """Loud over quiet frames of the utterance, in dB."""


class Engine:
    """Three decoders over one model, and the grammars in force."""

    def __init__(self, pronunciations: Mapping[str, Sequence[str]] | None = None) -> None:
        """Load the decoders.

        Args:
            pronunciations: words the dictionary lacks or says differently, each with one or more
                strings of ARPAbet phones.
        """
        self._grammar = open_decoder(pronunciations)
        self._align = open_decoder(pronunciations, compallsen=True)
        self._loop = open_decoder(None, compallsen=True, **_LOOP)
        self._add_loop()
        self._union: tuple[str, ...] = ()
        self._legal: tuple[str, ...] = ()
        self._searches: dict[tuple[str, ...], str] = {}
        # The engine lets go of the interpreter while it decodes, so two more passes run meanwhile.
        self._workers = ThreadPoolExecutor(max_workers=2, thread_name_prefix="passes")
        self._pronounced: dict[str, list[list[list[str]]]] = {}

    def _add_loop(self) -> None:
        words = add_phone_words(self._loop)
        rule = f"#JSGF V1.0; grammar loop; public <loop> = ( {' | '.join(words)} )+;"
        self._loop.add_jsgf_string("loop", rule)
        self._loop.activate_search("loop")

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set all phrases that can be heard, and those that are legal now.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        phrases = tuple(dict.fromkeys([*union, *legal]))
        if not phrases:
            msg = "There is no phrase to listen for: give at least one."
            raise GrammarError(msg)
        if phrases != self._union:
            self._check(phrases)
            for name in self._searches.values():
                self._grammar.remove_search(name)
            self._searches.clear()
            self._union = phrases
        self._legal = tuple(dict.fromkeys(legal))
        self._search(self._union)

    def _check(self, phrases: Sequence[str]) -> None:
        spoken = {word for phrase in phrases for word in phrase.split()}
        missing = sorted(word for word in spoken if self._grammar.lookup_word(word) is None)
        if missing:
            words = ", ".join(missing)
            msg = f"The embedded recogniser cannot pronounce {words}: add it to [pronunciations]."
            raise GrammarError(msg)

    def pronounce(self, phrase: str) -> list[list[list[str]]]:
        """Return, for each word of a phrase, every pronunciation as a list of phones."""
        kept = self._pronounced.get(phrase)
        if kept is not None:
            return kept
        said = [[way.split() for way in known_ways(self._grammar, word)] for word in phrase.split()]
        self._pronounced[phrase] = said
        return said

    def _search(self, phrases: tuple[str, ...]) -> str:
        name = self._searches.get(phrases)
        if name is None:
            name = f"g{len(self._searches)}"
            self._grammar.add_fsg(name, _network(self._grammar, name, phrases))
            self._searches[phrases] = name
        return name

    def _heard(self, phrases: tuple[str, ...], audio: bytes) -> tuple[str, float]:
        if not phrases:
            return "", 0.0
        self._grammar.activate_search(self._search(phrases))
        return self._decoded(audio)

    def _decoded(self, audio: bytes) -> tuple[str, float]:
        _decode(self._grammar, audio)
        found = self._grammar.hyp()
        if found is None:
            return "", 0.0
        return str(found.hypstr), float(self._grammar.get_logmath().log(found.score))

    def best(self, samples: Samples) -> str:
        """Return the best phrase of all and nothing else; "" when nothing fitted."""
        return self._heard(self._union, samples.tobytes())[0]

    def run(self, samples: Samples, spread: float) -> Iterator[Passes]:
        """Make all passes over one trimmed, dithered utterance, as far as they are asked for.

        Args:
            samples: the utterance.
            spread: loud over quiet frames, in dB; handed through.

        Yields:
            The best phrase of all, and when that one is not legal now, the best legal one after
            it; nothing when nothing fitted.
        """
        audio = samples.tobytes()
        looping = self._workers.submit(self._free, audio)
        best, top = self._heard(self._union, audio)
        if not best:
            looping.result()
            return
        laying = self._workers.submit(self._fit, audio, self._places(audio))
        others = tuple(phrase for phrase in self._union if phrase != best)
        second, rival = self._heard(others, audio)
        aligned, loop = laying.result(), looping.result()
        yield Passes(best, best, second, top, rival if second else top, aligned, loop, spread)
        if best in self._legal:
            return
        phrase, _ = self._heard(self._legal, audio)
        if not phrase:
            return
        # Scores of two grammars do not compare; those of two phrases laid along the audio do.
        legal = self._fit(audio, self._places(audio))
        yield Passes(phrase, best, best, _total(legal), _total(aligned), legal, loop, spread)

    def _places(self, audio: bytes) -> Any:  # noqa: ANN401 - the engine has no types
        """Lay the phrase of the last grammar pass along the audio; None if it has no room."""
        try:
            self._grammar.set_alignment()
            _decode(self._grammar, audio)
            return self._grammar.get_alignment()
        except RuntimeError:
            return None

    def _fit(self, audio: bytes, places: Any) -> tuple[Segment, ...]:  # noqa: ANN401 - the same
        """Lay the same phrase again with every sound of the model in competition, and score it."""
        if places is None:
            return ()
        try:
            self._align.set_alignment(places)
            _decode(self._align, audio)
        except RuntimeError:
            return ()
        out: list[Segment] = []
        number = -1
        for word in self._align.get_alignment():
            spoken = word.name[0] not in "<[+("
            number += spoken
            out.extend(
                Segment(
                    part.name,
                    part.start,
                    part.duration,
                    float(part.score),
                    number if spoken else -1,
                )
                for part in word
            )
        return tuple(out)

    def _free(self, audio: bytes) -> tuple[Segment, ...]:
        _decode(self._loop, audio)
        log = self._loop.get_logmath().log
        if self._loop.hyp() is None:
            return ()
        return tuple(
            Segment(
                _phone(part.word),
                part.start_frame,
                part.end_frame - part.start_frame + 1,
                float(log(part.ascore)),
                0 if part.word.startswith(PHONE_WORD) else -1,
            )
            for part in self._loop.seg()
            if part.word != "(NULL)"
        )


def _total(laid: Sequence[Segment]) -> float:
    return sum(part.score for part in laid)


def _phone(word: str) -> str:
    return word[len(PHONE_WORD) :].upper() if word.startswith(PHONE_WORD) else "SIL"


def _decode(decoder: Any, audio: bytes) -> None:  # noqa: ANN401 - the engine has no types
    # Without this, features of the utterance before leak into this one's scores.
    decoder.reinit_feat()
    decoder.start_utt()
    decoder.process_raw(audio, full_utt=True)
    decoder.end_utt()


def _network(decoder: Any, name: str, phrases: Sequence[str]) -> Any:  # noqa: ANN401 - see above
    """Build a network with one chain of words per phrase and no empty arcs.

    An empty arc in the result would keep the engine from laying the phrase along the audio.
    """
    arcs: list[tuple[int, int, float, str]] = []
    free = 2
    for phrase in phrases:
        words = phrase.split()
        at = 0
        for word in words[:-1]:
            arcs.append((at, free, 1.0 if at else 1.0 / len(phrases), word))
            at, free = free, free + 1
        arcs.append((at, 1, 1.0 if at else 1.0 / len(phrases), words[-1]))
    return decoder.create_fsg(name, 0, 1, arcs)
