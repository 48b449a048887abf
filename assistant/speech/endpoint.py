"""Where speech begins and ends in a stream of 50 ms blocks.

Speech begins when most frames within 60 ms are clearly above the room's noise, and ends when none
is for the hang time. The thresholds adapt to how much the room's noise fluctuates. Within an
utterance, sound far below its loudest frame counts as quiet, so that background talk does
not keep it open; a much louder voice that starts over such talk begins a new utterance.

Sound longer than the maximum duration is cut off and marked as such; input is then ignored until a
pause or a much louder voice, so that the end of a long talk cannot be mistaken for a short command.
"""

from collections import deque
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Utterance
from assistant.speech.noise_floor import FRAME_SAMPLES, FRAMES_PER_BLOCK, NoiseFloor
from assistant.speech.pcm import BYTES_PER_SAMPLE, FULL_SCALE, samples_of

EndedBy = Literal["quiet", "limit", "end"]

_MS_PER_FRAME = 1000 * FRAME_SAMPLES // SAMPLE_RATE
_ONSET_FRAMES = 6
_ONSET_NEEDED = 4
_ONSET_SAMPLES = _ONSET_FRAMES * FRAME_SAMPLES
_START_OVER_REST_DB = 2.6
_STOP_OVER_REST_DB = 1.4
_QUIETEST_REST_DB = 1.2
_LOUDEST_REST_DB = 4.0
_REST_QUANTILE = 0.4
_REST_FRAMES = 300
_QUIET_BELOW_PEAK_DB = 16.0
_RISE_FRAMES = 12
_TAKEN_OVER_DB = 10.0
_TAKEN_OVER_MS = 400
CLIPPED_AT = 32700
"""Samples with at least this magnitude count as clipped."""


@dataclass(frozen=True, slots=True)
class EndpointSettings:
    """Durations of the end-of-speech detection, in milliseconds, and the minimum level."""

    pre_roll_ms: int = 300
    """Audio kept before the first loud frame; it may contain a soft first consonant."""
    post_roll_ms: int = 100
    """Audio kept after the last loud frame. Once this much has come, the utterance can be judged
    early; 200 ms accepts no more phrases (68 of 90 either way, on the tuning half)."""
    hang_ms: int = 250
    """Quiet that ends an utterance; longer than the closure of any consonant."""
    faint_hang_ms: int = 350
    """Faint sound that ends an utterance; longer, since words have faint parts."""
    minimum_ms: int = 250
    """Anything shorter, from first to last loud frame, is too short to be a phrase."""
    ignored_ms: int = 100
    """Anything shorter than this is a click and is not reported."""
    maximum_ms: int = 3500
    """Anything longer is cut off. With the silence kept around it, the longest utterance is the
    longest that the verifier takes."""
    settle_ms: int = 300
    """Audio needed at the start to estimate the room's noise."""
    least_dbfs: float = -120.0
    """Fainter sound is never speech, in dB relative to full scale; after a
    sound check this is some 15 dB below the operator's level, so distant voices are ignored."""


def for_numbers(settings: EndpointSettings) -> EndpointSettings:
    """Return the settings used while a number is asked for: digits take time, with pauses."""
    return replace(settings, hang_ms=500, faint_hang_ms=600, maximum_ms=7000)


@dataclass(frozen=True, slots=True)
class Segment:
    """One utterance cut out of the stream, with details of the cut."""

    utterance: Utterance
    ended_by: EndedBy
    duration_ms: int
    """From the first to the last loud frame."""
    first_sample: int
    """Position of the first loud frame, in samples since the start of the stream."""
    last_sample: int
    """Position just after the last loud frame."""
    closed_sample: int
    """Position in the stream at which the end was decided."""
    level_dbfs: float
    """Level of the speech, in dB relative to full scale."""
    floor_dbfs: float
    """Level of the room's noise, in dB relative to full scale."""
    clipped: int
    """Number of clipped samples."""
    too_short: bool
    """Whether it is shorter than a phrase can be."""


class Endpointer:
    """Cuts utterances out of a stream; its output depends only on the blocks fed so far."""

    def __init__(self, settings: EndpointSettings | None = None) -> None:
        """Start without a noise estimate.

        Args:
            settings: durations; the defaults of the class if not given.
        """
        self.settings = settings or EndpointSettings()
        self._floor = NoiseFloor()
        self._blocks: deque[bytes] = deque()
        self._kept_from = 0
        self._position = 0
        self._recent: deque[tuple[int, float, float]] = deque(maxlen=_ONSET_FRAMES)
        self._rest: deque[float] = deque(maxlen=_REST_FRAMES)
        self._rest_db = _QUIETEST_REST_DB
        self._first: int | None = None
        self._last = self._last_audible = 0
        self._peak = self._former_peak = -120.0
        self._risen: deque[float] = deque(maxlen=_RISE_FRAMES)
        self._louder: deque[int] = deque(maxlen=_ONSET_FRAMES)
        self._deaf = False
        self._deaf_since = 0
        self.level_dbfs = -120.0
        """Level of the last block, in dB relative to full scale."""
        self.floor_dbfs = -120.0
        """Level of the room's noise, in dB relative to full scale."""

    @property
    def position(self) -> int:
        """Samples fed so far, including skipped ones."""
        return self._position

    @property
    def in_speech(self) -> bool:
        """Whether an utterance is in progress."""
        return self._first is not None

    @property
    def began(self) -> int | None:
        """Position of the first loud frame of the utterance in progress, None without one."""
        return self._first

    def feed(self, block: bytes) -> Segment | None:
        """Process 50 ms of sound and return the utterance that ended in it, if any.

        Raises:
            ValueError: the block is not `BLOCK_SAMPLES` long.
        """
        if len(block) != BLOCK_SAMPLES * BYTES_PER_SAMPLE:
            raise ValueError(f"a block has {BLOCK_SAMPLES} samples, not {len(block)} bytes")
        excess = self._floor.feed(block)
        self.level_dbfs, self.floor_dbfs = excess.level_dbfs, excess.floor_dbfs
        start = self._position
        self._position += BLOCK_SAMPLES
        self._blocks.append(block)
        if self._first is None and self._rest:
            self._rest_db = self._restlessness()
        segment = None
        for number in range(FRAMES_PER_BLOCK):
            place = start + number * FRAME_SAMPLES
            levels = excess.frames[number], excess.frame_levels[number]
            segment = self._frame(place, *levels) or segment
        self._forget()
        return segment

    def skip(self, samples: int) -> None:
        """Skip sound, for example during a prompt; discards an utterance in progress."""
        self.reset()
        self._position += samples
        self._kept_from = self._position

    def reset(self) -> None:
        """Discard an utterance in progress and the kept audio; keep the noise estimate."""
        self._blocks.clear()
        self._kept_from = self._position
        self._recent.clear()
        self._first = None
        self._deaf = False

    def forget_room(self) -> None:
        """Re-learn the room's noise, for example after a change of microphone."""
        self.reset()
        self._floor = NoiseFloor()
        self._rest.clear()

    def pending(self) -> Utterance | None:
        """Return the utterance as it will be if nothing more is said; None if it is too early.

        Once the full post-roll has followed the last loud frame, the samples of the finished
        utterance are fixed, so judging it now gives the same judgement sooner.
        """
        if self._first is None:
            return None
        # Faint sound that has lasted this long counts as background, as in `_close`.
        trailing = self._ms(self._last_audible - self._last)
        faint = trailing >= self.settings.faint_hang_ms - self.settings.hang_ms
        last = self._last if faint else self._last_audible
        if self._position - last < self._samples(self.settings.post_roll_ms):
            return None
        if self._ms(last - self._first) < self.settings.minimum_ms:
            return None
        return Utterance(pcm=self._cut(*self._bounds(self._first, last)))

    def finish(self) -> Segment | None:
        """Return the utterance that the end of the stream cut off, if there is one."""
        segment = self._close("end", self._position) if self.in_speech else None
        self.reset()
        return segment

    def _frame(self, place: int, excess: float, level: float) -> Segment | None:
        """Process one frame of 10 ms that starts at `place`."""
        end = place + FRAME_SAMPLES
        if self._first is None:
            self._rest.append(excess)
        if self._first is None and not self._deaf:
            self._look_for_onset(place, excess, level)
            return None
        if self._taken_over(place, level):
            return None
        self._follow_peak(level)
        if excess > self._rest_db + _STOP_OVER_REST_DB:
            self._last_audible = end
            if level > self._peak - _QUIET_BELOW_PEAK_DB:
                self._last = end
        if not self._deaf:
            return self._wait_for_end(end)
        if self._paused(end):
            self._deaf = False
        return None

    def _paused(self, end: int) -> bool:
        """Whether nothing was above the noise for the hang time, or nothing loud for longer."""
        return (
            self._ms(end - self._last_audible) >= self.settings.hang_ms
            or self._ms(end - self._last) >= self.settings.faint_hang_ms
        )

    def _wait_for_end(self, end: int) -> Segment | None:
        if self._paused(end):
            return self._close("quiet", end)
        if self._ms(end - (self._first or 0)) <= self.settings.maximum_ms:
            return None
        self._deaf, self._deaf_since = True, end
        return self._close("limit", end)

    def _look_for_onset(self, place: int, excess: float, level: float) -> None:
        if self._floor.seconds * 1000 < self.settings.settle_ms:
            return
        self._recent.append((place, excess if level > self.settings.least_dbfs else 0.0, level))
        start = self._rest_db + _START_OVER_REST_DB
        loud = [(at, height) for at, value, height in self._recent if value > start]
        if len(loud) >= _ONSET_NEEDED:
            self._begin(loud[0][0], place, max(height for _at, height in loud))

    def _taken_over(self, place: int, level: float) -> bool:
        """Whether a much louder voice has started over sound that has lasted a while."""
        began = self._deaf_since if self._first is None else self._first
        if not self._deaf and self._ms(place - began) < _TAKEN_OVER_MS:
            return False
        if level <= self._former_peak + _TAKEN_OVER_DB:
            return False
        self._louder.append(place)
        if len(self._louder) < _ONSET_NEEDED or place - self._louder[0] > 2 * _ONSET_SAMPLES:
            return False
        self._begin(self._louder[0], place, level)
        return True

    def _follow_peak(self, level: float) -> None:
        """Track the loudest level, and the loudest level before the last 120 ms.

        A new voice takes some frames to reach its level, so it is compared with the time before.
        """
        self._peak = max(self._peak, level)
        if len(self._risen) == _RISE_FRAMES:
            self._former_peak = max(self._former_peak, self._risen[0])
        self._risen.append(level)

    def _begin(self, first: int, place: int, peak: float) -> None:
        self._first = first
        self._last = self._last_audible = place + FRAME_SAMPLES
        self._peak = self._former_peak = peak
        self._risen.clear()
        self._deaf = False
        self._recent.clear()
        self._louder.clear()

    def _restlessness(self) -> float:
        usual = sorted(self._rest)[int(len(self._rest) * _REST_QUANTILE)]
        return min(max(usual, _QUIETEST_REST_DB), _LOUDEST_REST_DB)

    def _close(self, ended_by: EndedBy, closed: int) -> Segment | None:
        # A faint end belongs to the words unless it lasted long enough to be background.
        faint = self._ms(closed - self._last) >= self.settings.faint_hang_ms
        first, last = self._first or 0, self._last if faint else self._last_audible
        self._first = None
        self._recent.clear()
        duration = self._ms(last - first)
        if duration < self.settings.ignored_ms:
            return None
        start, stop = self._bounds(first, last)
        pcm = self._cut(start, min(stop, closed))
        speech = samples_of(self._cut(first, last)).astype(np.float64)
        power = max(float(np.mean(speech**2)) / FULL_SCALE**2, 1e-12)
        return Segment(
            utterance=Utterance(pcm=pcm),
            ended_by=ended_by,
            duration_ms=duration,
            first_sample=first,
            last_sample=last,
            closed_sample=closed,
            level_dbfs=float(10 * np.log10(power)),
            floor_dbfs=self.floor_dbfs,
            clipped=int(np.count_nonzero(np.abs(speech) >= CLIPPED_AT)),
            too_short=duration < self.settings.minimum_ms,
        )

    def _bounds(self, first: int, last: int) -> tuple[int, int]:
        """Return start and end of the audio that is kept for an utterance."""
        before, after = self.settings.pre_roll_ms, self.settings.post_roll_ms
        return first - self._samples(before), last + self._samples(after)

    def _cut(self, start: int, stop: int) -> bytes:
        """Return the kept audio between two positions in the stream."""
        begin = max(start - self._kept_from, 0) * BYTES_PER_SAMPLE
        return b"".join(self._blocks)[begin : (stop - self._kept_from) * BYTES_PER_SAMPLE]

    def _forget(self) -> None:
        """Discard audio older than the pre-roll of the current or a possible utterance."""
        onset = self._position - _ONSET_FRAMES * FRAME_SAMPLES
        since = onset if self._first is None else self._first
        needed = since - self._samples(self.settings.pre_roll_ms)
        while self._blocks and self._kept_from + BLOCK_SAMPLES <= needed:
            self._blocks.popleft()
            self._kept_from += BLOCK_SAMPLES

    @staticmethod
    def _ms(samples: int) -> int:
        return samples * _MS_PER_FRAME // FRAME_SAMPLES

    @staticmethod
    def _samples(milliseconds: int) -> int:
        return milliseconds * SAMPLE_RATE // 1000
