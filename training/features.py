"""Kaldi's MFCC on tensors: 40 cepstra of 40 mel bands from 20 to 7600 Hz, every 10 ms, 25 ms long.

As in Kaldi's ``feature-window.cc``, ``mel-computations.cc`` and ``feature-mfcc.cc``: mean removed,
pre-emphasis 0.97, "povey" window, 512-point power spectrum, triangular bands on the mel scale
1127 ln(1 + f / 700), natural logarithm, orthonormal DCT-II, lifter 22. Samples are in int16 units.
"""

import math

import torch
from torch import Tensor

RATE = 16000
WINDOW, STEP, FFT = 400, 160, 512
BANDS = 40
LOWEST_HZ, HIGHEST_HZ = 20.0, 7600.0
LIFTER = 22
PRE_EMPHASIS = 0.97
ENERGY_FLOOR = 1.1920929e-07


def mel(frequency_hz: float) -> float:
    return 1127.0 * math.log(1.0 + frequency_hz / 700.0)


def mel_bands() -> Tensor:
    """(257, 40) weights of the power spectrum's bins in the bands."""
    low, high = mel(LOWEST_HZ), mel(HIGHEST_HZ)
    width = (high - low) / (BANDS + 1)
    bands = torch.zeros(FFT // 2 + 1, BANDS)
    for k in range(FFT // 2):
        place = (mel(k * RATE / FFT) - low) / width
        for band in range(BANDS):
            distance = abs(place - (band + 1))
            if distance < 1:
                bands[k, band] = 1 - distance
    return bands


def povey_window() -> Tensor:
    n = torch.arange(WINDOW, dtype=torch.float64)
    return (0.5 - 0.5 * torch.cos(2 * math.pi * n / (WINDOW - 1))).pow(0.85).float()


def cepstral_matrix() -> Tensor:
    """(40, 40): band energies times this are liftered cepstra."""
    n = torch.arange(BANDS, dtype=torch.float64)
    rows = [torch.cos(math.pi / BANDS * (n + 0.5) * k) * math.sqrt(2 / BANDS) for k in range(BANDS)]
    rows[0] = torch.full_like(n, math.sqrt(1 / BANDS))
    lift = 1 + LIFTER / 2 * torch.sin(math.pi * n / LIFTER)
    return (torch.stack(rows) * lift[:, None]).float().T.contiguous()


class Mfcc(torch.nn.Module):
    """Sound (batch, samples) in int16 units to features (batch, frames, 40)."""

    window: Tensor
    bands: Tensor
    cepstra: Tensor

    def __init__(self) -> None:
        super().__init__()
        self.register_buffer("window", povey_window())
        self.register_buffer("bands", mel_bands())
        self.register_buffer("cepstra", cepstral_matrix())

    def power(self, sound: Tensor) -> Tensor:
        """(batch, frames, 257) power spectrum of the whole windows that fit."""
        frames = sound.unfold(1, WINDOW, STEP)
        frames = frames - frames.mean(2, keepdim=True)
        before = torch.cat([frames[..., :1], frames[..., :-1]], 2)
        spectrum = torch.fft.rfft((frames - PRE_EMPHASIS * before) * self.window, FFT)
        power: Tensor = spectrum.real.square() + spectrum.imag.square()
        return power

    def forward(self, sound: Tensor) -> Tensor:
        return self.from_power(self.power(sound))

    def from_power(self, power: Tensor) -> Tensor:
        energies: Tensor = (power @ self.bands).clamp(min=ENERGY_FLOOR).log() @ self.cepstra
        return energies
