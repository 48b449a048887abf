"""The log-mel front end of Whisper, once in numpy and once in torch for the accelerator.

Source of the definition: Radford et al. 2022, "Robust Speech Recognition via Large-Scale Weak
Supervision", and its MIT-licensed code: 16 kHz, windows of 25 ms (Hann) every 10 ms, 80 mel bands
by Slaney's formula, log10, at most 8 decades below the loudest, then (x + 4) / 4.
"""

from typing import Final

import numpy as np
import numpy.typing as npt
import torch

RATE: Final = 16_000
WINDOW: Final = 400
STEP: Final = 160
BANDS: Final = 80

Floats = npt.NDArray[np.float32]


def _hertz(mel: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Slaney's scale: straight up to 1 kHz (15 mel), then a factor of 6.4 in 27 mel."""
    straight = mel * 200 / 3
    return np.where(mel < 15, straight, 1000 * np.exp((mel - 15) * np.log(6.4) / 27))


def filters() -> Floats:
    """Return the 80 triangles over the 201 bins, each of area one (80, 201)."""
    top = 15 + 27 * np.log(8000 / 1000) / np.log(6.4)
    edges = _hertz(np.linspace(0, top, BANDS + 2))
    bins = np.linspace(0, RATE / 2, WINDOW // 2 + 1)
    rising = (bins[None] - edges[:-2, None]) / np.diff(edges)[:-1, None]
    falling = (edges[2:, None] - bins[None]) / np.diff(edges)[1:, None]
    triangles = np.maximum(0, np.minimum(rising, falling))
    return np.asarray(triangles * (2 / (edges[2:] - edges[:-2]))[:, None], np.float32)


def log_mel(sound: Floats) -> Floats:
    """Return the front end's picture of one clip.

    Args:
        sound: samples at 16 kHz between -1 and 1.

    Returns:
        80 bands by an even number of frames, 100 a second.
    """
    edged = np.pad(sound.astype(np.float64), WINDOW // 2, mode="reflect")
    count = sound.size // STEP // 2 * 2
    places = np.arange(count)[:, None] * STEP + np.arange(WINDOW)[None]
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)
    power = np.abs(np.fft.rfft(edged[places] * window, axis=1)) ** 2
    decades = np.log10(np.maximum(filters().astype(np.float64) @ power.T, 1e-10))
    decades = np.maximum(decades, decades.max() - 8)
    return np.asarray((decades + 4) / 4, np.float32)


class Front(torch.nn.Module):
    """The same for a batch, on the accelerator: (B, samples) to (B, 80, frames)."""

    def __init__(self) -> None:
        """Keep the triangles and the window where the module is."""
        super().__init__()
        self.register_buffer("bands", torch.from_numpy(filters()))
        self.register_buffer("window", torch.hann_window(WINDOW))

    def forward(self, sound: torch.Tensor) -> torch.Tensor:
        """Picture each clip; the loudest of each clip sets its own floor."""
        both = torch.stft(sound, WINDOW, STEP, window=self.window, return_complex=True)
        power = both[..., :-1].abs() ** 2
        decades = (self.bands @ power).clamp_min(1e-10).log10()
        decades = torch.maximum(decades, decades.amax((1, 2), keepdim=True) - 8)
        return ((decades + 4) / 4)[..., : decades.shape[-1] // 2 * 2]
