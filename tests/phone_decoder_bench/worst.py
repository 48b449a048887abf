"""The worst phrase, the worst voice, and near misses by their distance in phones."""

from collections import Counter
from collections.abc import Iterator
from itertools import product

from assistant.speech.phone_decoder import Decided, PhraseVerifier, Pronunciations
from tests.listening_bench.texts import NEAR
from tests.phone_model.lexicon import distance

from .clips import Clip, Studio, laid, phrases, short_phrases
from .measure import interval, play, stakes

LEVELS = ("clean", "20")
ANYWHERE = ("say again", "stand by", "stop sampling now")
FARTHEST = 3


def every_phrase(verifier: PhraseVerifier, studio: Studio) -> Iterator[str]:
    """Have every voice say every phrase once a level, as the answer to the prompt; yield lines."""
    taken, count = Counter[tuple[str, str]](), Counter[tuple[str, str]]()
    turns = product(studio.voices, (*phrases(), *short_phrases()), LEVELS)
    for number, (who, phrase, level) in enumerate(turns):
        piece = (who.name, phrase, phrase, studio.say(who, phrase))
        clip = laid("phrase", level, number, piece, studio)
        right = _taken(verifier, clip, phrase) == phrase
        for key in ((level, ""), ("phrase", phrase), ("voice", who.name)):
            taken[key] += right
            count[key] += 1
    for kind in (*LEVELS, "phrase", "voice"):
        keys = sorted((key for key in count if key[0] == kind), key=lambda k: taken[k] / count[k])
        for key in keys[:6]:
            yield f"{' '.join(key)}: {_cell(taken[key], count[key])}"


def near_misses(
    verifier: PhraseVerifier, words: Pronunciations, studio: Studio, level: str
) -> Iterator[str]:
    """Have every voice say every near miss while its phrase is the one expected; yield lines."""
    taken, count = Counter[int](), Counter[int]()
    mine = NEAR[studio.half == "test" :: 2]
    near = {text: nearest(words, text) for text in mine}
    for number, (who, text) in enumerate(product(studio.voices, mine)):
        away, phrase = near[text]
        piece = (who.name, text, "", studio.say(who, text))
        clip = laid("near miss", level, number, piece, studio)
        far = min(away, FARTHEST)
        taken[far] += bool(_taken(verifier, clip, phrase))
        count[far] += 1
    for far in sorted(count):
        yield f"{far} phones away: {_cell(taken[far], count[far])}"


def nearest(words: Pronunciations, text: str) -> tuple[int, str]:
    """Return by how many phones the nearest phrase differs from a text, and that phrase."""
    return min(
        (distance(one, other), phrase)
        for phrase in phrases()
        for one, other in product(_ways(words, text), _ways(words, phrase))
    )


def _ways(words: Pronunciations, text: str) -> list[tuple[str, ...]]:
    return [tuple(phone for word in way for phone in word) for way in words.phrase(text)]


def _taken(verifier: PhraseVerifier, clip: Clip, phrase: str) -> str:
    """Play a clip where a phrase is expected and some others may be said; return what was taken."""
    known = stakes()
    legal = {each: known.get(each, "strict") for each in (phrase, *ANYWHERE)}
    verifier.set_legal(legal, (*phrases(), *short_phrases()), (phrase,))
    decided = [event for event in play(verifier, clip) if isinstance(event, Decided)]
    taken = [e.judgement.phrase for e in decided if e.judgement.decision == "accept"]
    return taken[0] if taken else ""


def _cell(hits: int, count: int) -> str:
    low, high = interval(hits, count)
    return f"{hits}/{count}, {100 * hits / count:.1f} % ({100 * low:.1f}-{100 * high:.1f})"
