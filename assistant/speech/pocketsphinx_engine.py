"""The embedded recogniser: PocketSphinx with the American English model inside its wheel.

It decodes one whole utterance at a time against a network of whole phrases. It nearly always
returns one of the phrases, however different the sound: a grammar alone rejects almost nothing, so
the acceptance decision is made elsewhere.
"""

import threading
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from assistant.errors import DeviceError, GrammarError
from assistant.grammar.phones import PHONES
from assistant.ports import SAMPLE_RATE, EngineFacts, Utterance
from assistant.speech.hypothesis import Hypothesis
from assistant.speech.model_hash import folder_hash
from assistant.speech.pcm import dithered
from assistant.speech.phrase_graph import build_network, normal

SHORTEST_BYTES = 2 * SAMPLE_RATE // 20
"""Less than 50 ms holds no frame pair to decode."""

_SEARCHES_KEPT = 64

PHONE_WORD = "gg"
"""Prefix of the pseudo-words for single phones; no English word starts like this."""

DECODER_SETTINGS: Mapping[str, str | float | bool | None] = {
    # No dictation model: it takes 70 MB and 0.2 s and is not used.
    "lm": None,
    # With the best path of the lattice, speech outside the grammar is returned as half a phrase.
    "bestpath": False,
    # Normalised over the whole buffer, so that nothing carries over from one utterance to the next.
    "cmn": "batch",
    # Wide beams leave 0.5 % of spoken phrases without a hypothesis instead of 2.3 %.
    "beam": 1e-80,
    "wbeam": 1e-60,
    "pbeam": 1e-80,
    "loglevel": "FATAL",
}
"""Settings of the decoder, each with its reason."""


@cache
def engine_facts() -> EngineFacts:
    """Return what identifies the engine and the American English model in its package.

    Raises:
        DeviceError: the model cannot be read.
    """
    import pocketsphinx  # noqa: PLC0415 - imported only where speech is heard

    folder = Path(pocketsphinx.get_model_path("en-us"))
    return EngineFacts("pocketsphinx", version("pocketsphinx"), folder.name, folder_hash(folder))


def open_decoder(
    pronunciations: Mapping[str, Sequence[str]] | None = None,
    **settings: str | float | bool | None,
) -> Any:  # noqa: ANN401 - the engine ships no types
    """Load the embedded model.

    Args:
        pronunciations: word to its pronunciations in ARPAbet without stress marks; they are added
            to the dictionary's own.
        settings: replace entries of `DECODER_SETTINGS`.

    Returns:
        A `pocketsphinx.Decoder`.

    Raises:
        DeviceError: the package or its model is missing.
        GrammarError: a pronunciation uses a sound the model does not have.
    """
    try:
        import pocketsphinx  # noqa: PLC0415 - imported only where speech is heard
    except ImportError as fault:
        raise DeviceError(
            f"The speech recogniser cannot be loaded ({fault}); run: pip install pocketsphinx"
        ) from fault
    options = {**DECODER_SETTINGS, **settings}
    try:
        decoder = pocketsphinx.Decoder(**options)
    except (RuntimeError, ValueError) as fault:
        raise DeviceError(
            f"PocketSphinx found no English model ({fault}); reinstall the package pocketsphinx"
        ) from fault
    add_pronunciations(decoder, pronunciations or {})
    return decoder


def add_phone_words(decoder: Any) -> list[str]:  # noqa: ANN401 - untyped engine
    """Add one word per phone, for a free loop of phones, and return the words in order."""
    words = [PHONE_WORD + phone.lower() for phone in PHONES]
    for word, phone in zip(words, PHONES, strict=True):
        decoder.add_word(word, phone, word == words[-1])
    return words


def add_pronunciations(decoder: Any, pronunciations: Mapping[str, Sequence[str]]) -> None:  # noqa: ANN401 - untyped engine
    """Add pronunciations to the decoder's dictionary; existing ones are skipped.

    Raises:
        GrammarError: a pronunciation uses a sound the model does not have.
    """
    for given, ways in pronunciations.items():
        word = normal(given)
        known = known_ways(decoder, word)
        for way in ways:
            sounds = way.split()
            # Checked here because the engine crashes on an empty pronunciation.
            if not sounds or not set(PHONES).issuperset(sounds):
                raise GrammarError(
                    f'pronunciations, "{given}": "{way}" is not a row of English ARPAbet sounds'
                    ' without stress marks, such as "ER TH T"; correct it'
                )
            phones = " ".join(sounds)
            if phones in known:
                continue
            entry = f"{word}({len(known) + 1})" if known else word
            decoder.add_word(entry, phones, True)  # noqa: FBT003 - the engine's signature
            known.append(phones)


def known_ways(decoder: Any, word: str) -> list[str]:  # noqa: ANN401 - untyped engine
    """Return every pronunciation the decoder has for a lower-case word; none if unknown."""
    ways: list[str] = []
    phones = decoder.lookup_word(word)
    while phones is not None:
        ways.append(str(phones))
        phones = decoder.lookup_word(f"{word}({len(ways) + 1})")
    return ways


class PocketSphinxRecogniser:
    """The embedded English model as a plain recogniser, without any verification.

    Thread-safe; calls wait for each other.
    """

    def __init__(self, pronunciations: Mapping[str, Sequence[str]] | None = None) -> None:
        """Load the model (about 0.1 s).

        Args:
            pronunciations: word to extra pronunciations in ARPAbet without stress marks.

        Raises:
            DeviceError: the package or its model is missing.
            GrammarError: a pronunciation uses a sound the model does not have.
        """
        self._decoder = open_decoder(pronunciations)
        self._lock = threading.Lock()
        self._searches: dict[tuple[str, ...], str] = {}
        self._active = ""
        self._phrases: frozenset[str] = frozenset()
        self._serial = 0

    @property
    def name(self) -> str:
        """Engine, version and model, as written to the record."""
        return f"pocketsphinx {version('pocketsphinx')} en-us"

    def missing(self, words: Sequence[str]) -> list[str]:
        """Return the words this engine cannot pronounce; they cannot be used in a phrase."""
        with self._lock:
            return [word for word in words if not known_ways(self._decoder, normal(word))]

    def prepare(self, phrases: Sequence[str]) -> None:
        """Set the phrases to recognise from the next utterance on.

        Raises:
            GrammarError: a phrase contains a word the engine does not know, or the list is empty.
        """
        key = tuple(sorted({normal(phrase) for phrase in phrases}))
        if not key or not key[0]:
            raise GrammarError("There is no phrase to listen for; give at least one, with words")
        unknown = self.missing(sorted({word for phrase in key for word in phrase.split()}))
        if unknown:
            raise GrammarError(
                f'The embedded recogniser cannot pronounce "{", ".join(unknown)}";'
                " add the sounds under [pronunciations] or use other words"
            )
        with self._lock:
            self._active = self._searches.get(key) or self._build(key)
            self._phrases = frozenset(key)

    def _build(self, key: tuple[str, ...]) -> str:
        """Add the network of the phrases to the engine; drop old ones if there are too many."""
        if len(self._searches) >= _SEARCHES_KEPT:
            for stale in self._searches.values():
                if stale != self._active:
                    self._decoder.remove_search(stale)
            self._searches.clear()
        self._serial += 1
        name = f"phrases-{self._serial}"
        network = build_network(key)
        # Equal weights: a phrase is not less likely because it has many neighbours.
        arcs = [
            (arc.source, arc.target, 1.0, arc.word) if arc.word else (arc.source, arc.target, 1.0)
            for arc in network.arcs
        ]
        fsg = self._decoder.create_fsg(name, 0, network.final, arcs)
        self._decoder.add_fsg(name, fsg)
        self._searches[key] = name
        return name

    def hear(self, utterance: Utterance) -> Hypothesis:
        """Recognise one whole utterance; the text is one of the phrases, or "".

        The result depends on the utterance alone, never on earlier ones.

        Raises:
            RuntimeError: `prepare` was not called.
        """
        if not self._active:
            raise RuntimeError("prepare() must name the phrases before hear()")
        if len(utterance.pcm) < SHORTEST_BYTES:
            return Hypothesis("")
        sound = dithered(utterance.pcm)
        with self._lock:
            text = self._decode(sound)
            return Hypothesis(text if text in self._phrases else "")

    def _decode(self, sound: bytes) -> str:
        decoder = self._decoder
        decoder.activate_search(self._active)
        decoder.reinit_feat()
        decoder.start_utt()
        try:
            decoder.process_raw(sound, full_utt=True)
        finally:
            decoder.end_utt()
        found = decoder.hyp()
        return "" if found is None else str(found.hypstr)


def model_folder() -> Path:
    """Return the folder of the embedded acoustic model, for its hash.

    Raises:
        DeviceError: the package is missing.
    """
    try:
        from pocketsphinx import get_model_path  # noqa: PLC0415 - only where speech is heard
    except ImportError as fault:
        raise DeviceError(
            f"The speech recogniser cannot be loaded ({fault}); run: pip install pocketsphinx"
        ) from fault
    return Path(get_model_path()) / "en-us"
