"""What a room, a microphone and other people do to speech, for a batch on the accelerator.

Everything random comes from one generator, so that the same seed gives the same sound. Ranges are
chosen wider than what is expected in use; no recording of a room or of noise goes in.
"""

from dataclasses import dataclass
from typing import Final

import torch
import torch.nn.functional as F  # noqa: N812 - its usual name

from .front import RATE

_POINTS: Final = 1 << 17
"""Of every spectrum: longer than the longest clip with its echo."""
_FRAME: Final = RATE // 50


@dataclass(slots=True)
class Augmenter:
    """Changes clips (B, samples) that lie between -1 and 1, each by its own chance."""

    chance: torch.Generator
    """Also says on which device everything is."""

    def __call__(self, clips: torch.Tensor, empty: int) -> torch.Tensor:
        """Return the clips as a microphone might give them.

        Args:
            clips: speech (B, samples); the first `empty` of them are silent.
            empty: how many clips say nothing.

        Returns:
            Clips of the same number, faster or slower by one factor for the whole batch.
        """
        heard = self._coloured(self._roomed(clips))
        heard = self._noised(heard, clips, empty)
        heard = heard / heard.abs().amax(1, keepdim=True).clamp_min(1e-6)
        heard = self._limited(self._narrowed(heard))
        factor = 1 / float(self.uniform(1, low=0.86, high=1.17))
        return F.interpolate(heard[:, None], scale_factor=factor, mode="linear")[:, 0]

    def uniform(self, *shape: int, low: float = 0.0, high: float = 1.0) -> torch.Tensor:
        """Return even chances."""
        drawn = torch.rand(*shape, generator=self.chance, device=self.chance.device)
        return low + (high - low) * drawn

    def normal(self, *shape: int) -> torch.Tensor:
        """Return chances of the normal distribution."""
        return torch.randn(*shape, generator=self.chance, device=self.chance.device)

    def often(self, count: int, share: float) -> torch.Tensor:
        """Return (count, 1) ones with a share of zeros between them."""
        return (self.uniform(count, 1) < share).float()

    def _frequencies(self) -> torch.Tensor:
        return torch.fft.rfftfreq(_POINTS, 1 / RATE).to(self.chance.device)

    def _curve(self, count: int, deviation: float) -> torch.Tensor:
        """Return a smooth random curve in dB over all frequencies (count, bins)."""
        knots = self.normal(count, 1, 10) * deviation
        bins = _POINTS // 2 + 1
        return F.interpolate(knots, size=bins, mode="linear", align_corners=True)[:, 0]

    def paused(
        self, clips: torch.Tensor, lengths: torch.Tensor, starts: torch.Tensor
    ) -> torch.Tensor:
        """Hesitate for 0.2 to 0.7 s at the stillest place in the middle of each clip.

        Args:
            clips: speech (B, samples).
            lengths: samples that each speaks.
            starts: sample at which each begins to speak.

        Returns:
            Clips longer by 0.7 s.
        """
        count, size = clips.shape
        frames = clips[:, : size // _FRAME * _FRAME].reshape(count, -1, _FRAME)
        power = frames.square().mean(2)
        power = F.avg_pool1d(power[:, None], 3, 1, 1)[:, 0]
        at = torch.arange(power.shape[1], device=clips.device)[None] * _FRAME
        begin, end = starts + lengths * 0.25, starts + lengths * 0.75
        inside = (at >= begin[:, None]) & (at <= end[:, None])
        still = torch.where(inside, power, torch.full_like(power, 9e9)).argmin(1) * _FRAME
        still = still + _FRAME // 2
        gap = (self.uniform(count, low=0.2, high=0.7) * RATE).long()
        places = torch.arange(size + int(0.7 * RATE), device=clips.device)[None]
        after = places >= (still + gap)[:, None]
        source = torch.where(after, places - gap[:, None], places).clamp(0, size - 1)
        silent = (places >= still[:, None]) & ~after
        beyond = after & (places - gap[:, None] >= size)
        return clips.gather(1, source) * ~(silent | beyond)

    def _roomed(self, clips: torch.Tensor) -> torch.Tensor:
        """Add the decaying tail of a room to rather more than half of the clips."""
        count, device = len(clips), self.chance.device
        time = torch.arange(RATE // 2, device=device)[None] / RATE
        decay = self.uniform(count, 1, low=0.08, high=0.65)
        tail = self.normal(count, RATE // 2) * torch.exp(-6.9 * time / decay)
        tail = tail * (time > self.uniform(count, 1, low=0.0005, high=0.012))
        tail = tail / tail.square().sum(1, keepdim=True).sqrt().clamp_min(1e-6)
        level = 10 ** (-self.uniform(count, 1, low=0, high=22) / 20)
        tail = tail * level * self.often(count, 0.58)
        tail[:, 0] = 1
        both = torch.fft.rfft(clips, _POINTS) * torch.fft.rfft(tail, _POINTS)
        return torch.fft.irfft(both)[:, : clips.shape[1]]

    def _coloured(self, clips: torch.Tensor) -> torch.Tensor:
        """Bend the spectrum as microphones, masks and visors do."""
        count, hertz = len(clips), self._frequencies()[None]
        level = self._curve(count, 4.5) * self.often(count, 0.8)
        corner = self.uniform(count, 1, low=1400, high=6000)
        slope = self.uniform(count, 1, low=6, high=36) * self.often(count, 0.38)
        level = level - (hertz / corner).clamp_min(1).log2() * slope
        deep = self.uniform(count, 1, low=60, high=380)
        falling = (deep / hertz.clamp_min(10)).clamp_min(1).log2() * 12
        level = level - falling * self.often(count, 0.3)
        bent = torch.fft.rfft(clips, _POINTS) * 10 ** (level / 20)
        return torch.fft.irfft(bent)[:, : clips.shape[1]]

    def _noise(self, count: int, size: int) -> torch.Tensor:
        """Return fans, motors and knocks with a root mean square of about one."""
        device, hertz = self.chance.device, self._frequencies()[None]
        tilt = self.uniform(count, 1, low=-0.2, high=2.2)
        level = self._curve(count, 5) - 10 * tilt * (hertz.clamp_min(30) / 1000).log10()
        air = torch.fft.irfft(torch.fft.rfft(self.normal(count, _POINTS)) * 10 ** (level / 20))
        air = air[:, :size]
        air = air / air.std(1, keepdim=True).clamp_min(1e-6)
        time = torch.arange(size, device=device)[None] / RATE
        turn = 2 * torch.pi
        sway = torch.sin(
            turn * (self.uniform(count, 1, low=0.3, high=8) * time + self.uniform(count, 1))
        )
        air = air * (1 + self.uniform(count, 1, high=0.8) * sway * self.often(count, 0.4))
        base = 45 * 2 ** self.uniform(count, 1, high=3.5)
        tones = torch.zeros(count, size, device=device)
        for harmonic in range(1, 8):
            phase = turn * (base * harmonic * time + self.uniform(count, 1))
            tones = tones + torch.sin(phase) * self.uniform(count, 1) / harmonic**0.5
        tones = tones / tones.std(1, keepdim=True).clamp_min(1e-6)
        share = self.uniform(count, 1) * self.often(count, 0.45)
        return air * (1 - 0.7 * share) + tones * share + self._knocks(count, size)

    def _knocks(self, count: int, size: int) -> torch.Tensor:
        """Return now and then the ringing of struck metal or plastic."""
        struck = self.normal(count, size) * (self.uniform(count, size) < 6 / RATE)
        time = torch.arange(2400, device=self.chance.device)
        pitch = self.uniform(1, low=300, high=5000)
        ring = torch.exp(-time / self.uniform(1, low=40, high=500))
        ring = ring * (self.normal(2400) * 0.5 + torch.sin(2 * torch.pi * pitch * time / RATE))
        both = torch.fft.rfft(struck, _POINTS) * torch.fft.rfft(ring, _POINTS)
        return torch.fft.irfft(both)[:, :size] * self.often(count, 0.15) * 8

    def _noised(self, heard: torch.Tensor, clips: torch.Tensor, empty: int) -> torch.Tensor:
        """Lay noise of 2 to 55 dB under all clips and babble of 3 to 30 dB under a third."""
        count, size = heard.shape
        loud = heard.abs() > 0.02 * heard.abs().amax(1, keepdim=True)
        power = heard.square().sum(1, keepdim=True) / loud.sum(1, keepdim=True).clamp_min(1)
        power[:empty] = 0.01
        quiet = self.often(count, 0.25)
        ratio = quiet * self.uniform(count, 1, low=30, high=55)
        ratio = ratio + (1 - quiet) * self.uniform(count, 1, low=1, high=32)
        noised = heard + self._noise(count, size) * (power * 10 ** (-ratio / 10)).sqrt()
        babble = torch.zeros_like(clips)
        talkers = int(self.uniform(1, low=3, high=8))
        for talker in range(talkers):
            shift = int(self.uniform(1, low=0, high=size))
            other = torch.roll(clips, (empty + 1 + talker, shift), (0, 1))
            babble = babble + other * self.uniform(count, 1, low=0.4, high=1.2)
        babble = babble / babble.std(1, keepdim=True).clamp_min(1e-6)
        ratio = self.uniform(count, 1, low=3, high=30)
        share = self.often(count, 0.36)
        share[: empty // 2] = 1
        return noised + babble * (power * 10 ** (-ratio / 10)).sqrt() * share

    def _narrowed(self, heard: torch.Tensor) -> torch.Tensor:
        """Send some clips through a saturating radio or a telephone's band."""
        count, size = heard.shape
        hertz = self._frequencies()[None]
        radio = self.often(count, 0.12)
        heard = (
            radio * torch.tanh(heard * self.uniform(count, 1, low=2, high=10)) + (1 - radio) * heard
        )
        low = self.uniform(count, 1, low=150, high=450)
        high = self.uniform(count, 1, low=2400, high=4000)
        band = torch.sigmoid((hertz - low) / 30) * torch.sigmoid((high - hertz) / 80)
        share = self.often(count, 0.12)
        heard = torch.fft.irfft(torch.fft.rfft(heard, _POINTS) * (share * band + 1 - share))
        heard = heard[:, :size]
        return heard / heard.abs().amax(1, keepdim=True).clamp_min(1e-6)

    def _limited(self, heard: torch.Tensor) -> torch.Tensor:
        """Set the level over 50 dB, clip some, and round to 16 bits."""
        count = len(heard)
        level = 10 ** (-self.uniform(count, 1, low=0, high=50) / 20)
        clipped = self.often(count, 0.1)
        ceiling = level * self.uniform(count, 1, low=0.12, high=0.7) * clipped + 9 * (1 - clipped)
        heard = torch.maximum(torch.minimum(heard * level, ceiling), -ceiling)
        return (heard * 32767).round() / 32767
