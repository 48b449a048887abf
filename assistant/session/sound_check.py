"""The sound check: room noise, operator's level, and whether the operator is understood.

Driven by ticks like the session itself, so that it works in a live and a simulated room.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from statistics import fmean, median
from typing import Final

from assistant.grammar.language import Language
from assistant.grammar.rendering import phrase
from assistant.ports import PhraseEngine, Speaker, Utterance
from assistant.procedure.enums import Intent
from assistant.procedure.events import Meaning, SoundChecked
from assistant.procedure.model import Session
from assistant.session.audio_pump import attend
from assistant.speech.audio_events import QueueItem, SoundQueue
from assistant.speech.detector import PlacedJudgement
from assistant.speech.detectors import detector_for
from assistant.speech.listening_pipeline import ListeningPipeline

WORKABLE_DB: Final = 12.0
"""Signal-to-noise ratio below which a session is refused unless overridden. At 10 dB about two
phrases in five were not understood at first by the embedded engine (see the README's table)."""

BLOCK_S: Final = 0.05
QUIET_S: Final = 2.0
SETTLE_S: Final = 0.5
PATIENCE_S: Final = 6.0
OVERRIDE_PATIENCE_S: Final = 15.0
CLIPPED_SAMPLES: Final = 8
BELOW_OPERATOR_DB: Final = 15.0
"""Sound this much fainter than the operator is from elsewhere; a voice varies by up to 10 dB."""
MAY_MISS: Final = 1
"""Phrases that need not be understood."""
FAINT_DBFS: Final = -45.0
"""A voice at a headset is 15 to 25 dB louder; across a room it is about this faint."""
DEAD_DBFS: Final = -90.0
"""A microphone that works gives more in any room."""
SWELL_DB: Final = 10.0
SWELL_BLOCKS: Final = 4
"""Steady noise varies by a few dB over 0.2 s; speech by far more."""
MOST_QUIET_TRIES: Final = 3
STRICTER_PER_DB: Final = 0.25
STRICTEST: Final = 1.5
_QUIETEST_DBFS: Final = -96.0


class Problem(Enum):
    """Why a session would not work; each has its own remedy. The values are keys of the grammar."""

    TOO_LOUD = "too_loud"
    WRONG_MICROPHONE = "wrong_microphone"
    NOTHING_HEARD = "nothing_heard"
    SPOKEN_OVER = "spoken_over"
    NOT_UNDERSTOOD = "not_understood"


def explained(language: Language, problem: Problem) -> str:
    """What is wrong and what to do, in a sentence or two."""
    words = language.sound_check
    # A record may hold a grammar from before there was more than one sentence.
    return getattr(words, problem.value) or words.too_loud


@dataclass(frozen=True, slots=True)
class Finding:
    """Result of the sound check."""

    event: SoundChecked
    noise_dbfs: float
    problem: Problem | None
    """What stands against a session, also where it was overridden."""
    snr_db: float
    least_dbfs: float
    """Minimum level of the operator's voice, in dB relative to full scale."""

    @property
    def workable(self) -> bool:
        """Whether a session may start: nothing is wrong, or the check was overridden."""
        return self.problem is None or self.event.overridden

    @property
    def stricter(self) -> float:
        """Increase of the session's thresholds, in log odds."""
        return stricter(self.snr_db)


def stricter(snr_db: float) -> float:
    """Return the increase of the thresholds for a signal-to-noise ratio, in log odds.

    The weights were fitted and measured down to 10 dB. Within that range they are used
    unchanged. Below it nothing was measured and the evidence is weaker, so phrases just above the
    threshold are asked back instead: 0.25 (log odds) for each dB, 1.5 at most.
    """
    return min(max(WORKABLE_DB - snr_db, 0.0) * STRICTER_PER_DB, STRICTEST)


@dataclass(frozen=True, slots=True)
class Delays:
    """Latencies of the devices, in milliseconds; None if unknown.

    The microphone's as its system reports it, the loudspeaker's as measured from the sentence's
    start to its first sample.
    """

    microphone: float | None = None
    speaker: float | None = None


def with_delays(event: SoundChecked, delays: Delays) -> SoundChecked:
    """Return the event with the delays of the devices."""
    told = {
        name: f"{value:.1f}"
        for name, value in (("microphone_ms", delays.microphone), ("speaker_ms", delays.speaker))
        if value is not None
    }
    return event.model_copy(update=told)


@dataclass(slots=True)
class _Tally:
    noise: list[float] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)
    understood: int = 0
    clipped: bool = False

    @property
    def snr_db(self) -> float:
        """Signal-to-noise ratio so far in dB, 0 if nothing was said."""
        return fmean(self.levels) - fmean(self.noise) if self.levels and self.noise else 0.0

    @property
    def spoken_over(self) -> bool:
        """Whether the noise swelled and fell, as a voice does, while it was measured."""
        windows = zip(*(self.noise[start:] for start in range(SWELL_BLOCKS)), strict=False)
        means = [fmean(window) for window in windows]
        return bool(means) and max(means) - min(means) > SWELL_DB

    def problem(self, asked: int) -> Problem | None:
        """What stands against a session, None where nothing does."""
        if not self.levels:
            dead = fmean(self.noise) < DEAD_DBFS
            return Problem.WRONG_MICROPHONE if dead else Problem.NOTHING_HEARD
        if self.snr_db < WORKABLE_DB:
            if self.spoken_over:
                return Problem.SPOKEN_OVER
            faint = fmean(self.levels) < FAINT_DBFS
            return Problem.WRONG_MICROPHONE if faint else Problem.TOO_LOUD
        return Problem.NOT_UNDERSTOOD if self.understood < asked - MAY_MISS else None


def spoken_for_check(language: Language, session: Session) -> tuple[str, ...]:
    """Phrases of this plan to try: those that advance an insertion."""
    wanted = (
        Meaning(intent=Intent.DIES_SEATED),
        Meaning(intent=Intent.PORT_OPEN, position=session.plan.sampler.positions[0]),
        Meaning(intent=Intent.SAMPLER_OUT),
        Meaning(intent=Intent.TUBE_EMPTIED),
    )
    return tuple(phrase(language, meaning) for meaning in wanted)


def judging_ms(engine: PhraseEngine, utterance: Utterance) -> float:
    """Measure how long this machine takes to judge an utterance, in milliseconds.

    The median of three runs; each is one sample shorter, since an identical sound may be cached.
    """
    taken = []
    for number in range(1, 4):
        shorter = Utterance(pcm=utterance.pcm[: -2 * number])
        began = time.perf_counter()
        engine.judge(shorter)
        taken.append((time.perf_counter() - began) * 1000)
    return median(taken)


class SoundCheck:
    """Asks for silence, then for a few phrases; `finding` is available afterwards.

    Where something is wrong it says what, and how to start all the same. It waits for that, then
    ends, or checks again and again, so that gloved hands need not start the program anew.
    """

    def __init__(
        self,
        language: Language,
        engine: PhraseEngine,
        speaker: Speaker,
        phrases: tuple[str, ...],
        shown: Callable[[str], None] = lambda _words: None,
        *,
        again: bool = False,
    ) -> None:
        """Start asking.

        Args:
            language: words of the prompts.
            engine: recognises the phrases, which are set here.
            speaker: speaks the prompts.
            phrases: to be spoken in turn.
            shown: called with every sentence that is spoken.
            again: check until the sound is good or the check is overridden.
        """
        self._language = language
        self._words = language.sound_check
        self._again = again
        self._failed = False
        self._quiet_tries = 0
        self._engine = engine
        self._speaker = speaker
        self._shown = shown
        self._asked = phrases
        self._pipeline = ListeningPipeline(detector_for(engine))
        union = [*phrases, self._words.override]
        engine.prepare(union, dict.fromkeys(union, "strict"))
        self._number = -1
        self._speaking = True
        self._since = 0.0
        self._tally = _Tally()
        self.finding: Finding | None = None
        self.latest = Utterance()
        """The last utterance, empty if there was none."""
        self._say(self._words.quiet)

    @property
    def result(self) -> Finding:
        """The result.

        Raises:
            RuntimeError: it is not over yet.
        """
        if self.finding is None:
            raise RuntimeError("the sound check is not over")
        return self.finding

    @property
    def asking(self) -> str:
        """The phrase to say now, "" while the program speaks or measures silence."""
        if self._speaking or self._number < 0 or self.finding is not None:
            return ""
        if self._number < len(self._asked):
            return self._asked[self._number]
        return self._words.override

    def tick(self, block: bytes) -> None:
        """Process 50 ms of sound."""
        heard = self._pipeline.listen(block)
        if self._speaking or self.finding is not None:
            return
        self._since += BLOCK_S
        if self._number < 0:
            self._measure_quiet()
        elif self._number < len(self._asked):
            self._listen(heard)
        else:
            self._await_override(heard)

    def key(self, utterance: Utterance) -> None:
        """Process a typed line: once something was wrong, the override may be typed."""
        said = " ".join(utterance.typed.lower().split())
        if self._failed and self.finding is None and said == self._words.override:
            self._end(overridden=True)

    def work(self, queue: SoundQueue) -> list[QueueItem]:
        """Process sound and keys from a queue until the check is over.

        Returns:
            other items that arrived meanwhile, such as device reports, in order.

        Raises:
            DeviceError: the sound ended, or the microphone was lost.
        """
        return attend(
            queue,
            "sound check",
            over=lambda: self.finding is not None,
            tick=self.tick,
            key=self.key,
        )

    def _say(self, words: str) -> None:
        self._speaking = True
        self._pipeline.prompt_started()
        self._shown(words)
        self._speaker.say(words, self._said)

    def _said(self) -> None:
        self._speaking = False
        self._since = 0.0
        self._pipeline.prompt_ended()

    def _measure_quiet(self) -> None:
        if self._since > SETTLE_S:
            self._tally.noise.append(max(self._pipeline.level_dbfs, _QUIETEST_DBFS))
        if self._since < QUIET_S + SETTLE_S:
            return
        self._quiet_tries += 1
        if self._tally.spoken_over and self._quiet_tries < MOST_QUIET_TRIES:
            self._tally.noise.clear()
            self._say(explained(self._language, Problem.SPOKEN_OVER))
            return
        self._next()

    def _listen(self, heard: list[PlacedJudgement]) -> None:
        if self._overriding(heard):
            self._end(overridden=True)
            return
        for each in heard:
            segment = each.segment
            self.latest = segment.utterance
            self._tally.levels.append(segment.level_dbfs)
            self._tally.clipped |= segment.clipped >= CLIPPED_SAMPLES
            judgement = each.judgement
            right = judgement.decision != "refuse" and judgement.text == self._asked[self._number]
            self._tally.understood += right
            self._next()
            return
        if self._since >= PATIENCE_S:
            self._next()

    def _next(self) -> None:
        self._number += 1
        if self._number < len(self._asked):
            self._say(self._words.repeat.format(phrase=self._asked[self._number]))
        elif (problem := self._tally.problem(len(self._asked))) is None:
            self._end(overridden=False)
        else:
            self._failed = True
            go_on = self._words.go_on or "{phrase}"
            phrase = go_on.format(phrase=self._words.override)
            self._say(f"{explained(self._language, problem)} {phrase}")

    def _overriding(self, heard: list[PlacedJudgement]) -> bool:
        """Whether somebody says to start in spite of what was wrong."""
        return self._failed and any(
            each.judgement.text == self._words.override and each.judgement.decision == "accept"
            for each in heard
        )

    def _await_override(self, heard: list[PlacedJudgement]) -> None:
        if self._overriding(heard):
            self._end(overridden=True)
        elif self._since >= OVERRIDE_PATIENCE_S:
            if not self._again:
                self._end(overridden=False)
                return
            self._number, self._tally, self._quiet_tries = -1, _Tally(), 0
            self._say(self._words.quiet)

    def _end(self, *, overridden: bool) -> None:
        tally = self._tally
        noise = fmean(tally.noise) if tally.noise else _QUIETEST_DBFS
        speech = fmean(tally.levels) if tally.levels else _QUIETEST_DBFS
        event = SoundChecked(
            speech_dbfs=f"{speech:.1f}",
            noise_dbfs=f"{noise:.1f}",
            snr_db=f"{tally.snr_db:.1f}",
            clipped=tally.clipped,
            recognised=tally.understood,
            asked=len(self._asked),
            overridden=overridden,
        )
        problem = tally.problem(len(self._asked))
        self.finding = Finding(
            event,
            noise,
            problem=problem,
            snr_db=tally.snr_db,
            least_dbfs=speech - BELOW_OPERATOR_DB,
        )
        if problem is None:
            self._shown(self._words.passed)
            self._speaker.say(self._words.passed, lambda: None)
