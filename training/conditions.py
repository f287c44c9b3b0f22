"""How a test recording is made harder: fixed, repeatable, and not the augmentation of training."""

import zlib
from collections.abc import Callable

import numpy as np
from scipy import signal

from training.corpus import RATE, Sound

LEAD_S, TAIL_S = 0.3, 0.6


def _dice(key: str) -> np.random.Generator:
    return np.random.default_rng(zlib.crc32(key.encode()))


def padded(sound: Sound, key: str) -> Sound:
    """Near-silence around the clip, as between two utterances."""
    rng = _dice(key)
    lead, tail = (rng.normal(0, 5e-5, int(s * RATE)).astype(np.float32) for s in (LEAD_S, TAIL_S))
    return np.concatenate([lead, sound, tail])


def noisy(ratio_db: float) -> Callable[[Sound, str], Sound]:
    """Pink noise at this ratio to the clip's mean power."""

    def apply(sound: Sound, key: str) -> Sound:
        whole = padded(sound, key)
        spectrum = np.fft.rfft(_dice(key).normal(size=len(whole)))
        spectrum /= np.sqrt(np.arange(len(spectrum)) + 1.0)
        pink = np.fft.irfft(spectrum, len(whole))
        pink *= np.sqrt(np.mean(sound**2) / np.mean(pink**2)) * 10 ** (-ratio_db / 20)
        return (whole + pink).astype(np.float32)

    return apply


def reverberant(sound: Sound, key: str) -> Sound:
    """A room, three metres away: reverberation time 0.5 s, tail 3 dB over the direct sound."""
    rng = _dice(key)
    time = np.arange(int(0.5 * RATE)) / RATE
    tail = rng.normal(size=len(time)) * np.exp(-6.9 * time / 0.5) * (time > 0.004)
    response = tail / np.sqrt(np.sum(tail**2)) * 10 ** (3 / 20)
    response[0] += 1
    out = signal.fftconvolve(padded(sound, key), response)[
        : len(sound) + int((LEAD_S + TAIL_S) * RATE)
    ]
    return np.asarray(out / np.abs(out).max() * 0.3, np.float32)


def telephone(sound: Sound, key: str) -> Sound:
    """300 to 3400 Hz."""
    band = signal.butter(6, [300, 3400], "bandpass", fs=RATE, output="sos")
    return np.asarray(signal.sosfilt(band, padded(sound, key)), np.float32)


def soft(sound: Sound, key: str) -> Sound:
    """Forty decibels down over the noise of a microphone, dull as from under a blanket."""
    dull = signal.sosfilt(signal.butter(1, 2500, fs=RATE, output="sos"), padded(sound, key))
    noise = _dice(key).normal(0, 4e-5, len(dull))
    return np.asarray(dull / np.abs(sound).max() * 0.01 + noise, np.float32)


def breathless(sound: Sound, key: str) -> Sound:
    """Half whispered, with breathing before and after."""
    rng = _dice(key)
    _, _, spectrum = signal.stft(sound, RATE, nperseg=512, noverlap=384)
    magnitude = signal.convolve(np.abs(spectrum), np.ones((9, 1)) / 9, "same")
    air = magnitude * np.exp(2j * np.pi * rng.random(spectrum.shape))
    _, mixed = signal.istft(0.3 * spectrum + 0.7 * air, RATE, nperseg=512, noverlap=384)
    whole = padded(mixed[: len(sound)].astype(np.float32), key)
    swell = np.abs(np.sin(np.linspace(0, 2 * np.pi, len(whole)))) ** 3
    band = signal.butter(2, [400, 4000], "bandpass", fs=RATE, output="sos")
    breath = signal.sosfilt(band, rng.normal(size=len(whole))) * swell
    level = np.sqrt(np.mean(sound**2)) * 10 ** (-15 / 20)
    return np.asarray(whole + breath * level / np.sqrt(np.mean(breath**2)), np.float32)


CONDITIONS: dict[str, Callable[[Sound, str], Sound]] = {
    "clean": padded,
    "20 dB": noisy(20),
    "10 dB": noisy(10),
    "5 dB": noisy(5),
    "reverb": reverberant,
    "telephone": telephone,
    "soft": soft,
    "breathless": breathless,
}
