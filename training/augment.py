"""From clean clips to what a microphone in a room would have heard; everything on one device.

Each function takes and returns sound (batch, samples) with full scale 1, or a power spectrum.
Ranges are drawn anew for each utterance; the reasons stand beside them.
"""

import math
from dataclasses import dataclass

import torch
import torch.nn.functional as functional
from torch import Tensor

RATE = 16000
FULL_SCALE = 32768.0


class Dice:
    """Random numbers on the device, shaped (batch, 1)."""

    def __init__(self, batch: int, device: torch.device) -> None:
        self.batch, self.device = batch, device

    def between(self, low: float, high: float) -> Tensor:
        return low + (high - low) * torch.rand(self.batch, 1, device=self.device)

    def chance(self, probability: float) -> Tensor:
        return torch.rand(self.batch, 1, device=self.device) < probability

    def noise(self, samples: int) -> Tensor:
        return torch.randn(self.batch, samples, device=self.device)


def decibels(value: Tensor) -> Tensor:
    """A level in dB as an amplitude factor."""
    return torch.pow(10.0, value / 20)


@dataclass(frozen=True, slots=True)
class Segments:
    """Up to K clips per utterance (batch, K): where they lie, how long they are, where they go.

    ``begin`` counts samples of the utterance; ``length`` 0 is no clip; ``human`` (batch, 1) marks
    recordings, which need less bending than synthesised speech.
    """

    start: Tensor
    length: Tensor
    begin: Tensor
    speed: Tensor
    human: Tensor


def assemble(joined: Tensor, segments: Segments, samples: int) -> Tensor:
    """Clips in silence at their speeds (pitch follows); int16 ``joined`` becomes full scale 1."""
    time = torch.arange(samples, device=joined.device)[None]
    out = torch.zeros(len(segments.start), samples, device=joined.device)
    for k in range(segments.start.shape[1]):
        place = (time - segments.begin[:, k, None]) * segments.speed
        inside = (place >= 0) & (place < segments.length[:, k, None] - 1)
        whole = place.floor().clamp(min=0)
        share = place - whole
        index = segments.start[:, k, None] + torch.minimum(
            whole.long(), (segments.length[:, k, None] - 2).clamp(min=0)
        )
        sound = joined[index].float() * (1 - share) + joined[index + 1].float() * share
        out += sound * inside / FULL_SCALE
    return out


def whispered(sound: Tensor, share: Tensor) -> Tensor:
    """Replace ``share`` (batch, 1) of the voice by breath with the same spectral envelope.

    A whisper has no pitch and little power in the lowest formant region.
    """
    size, step = 512, 128
    window = torch.hann_window(size, device=sound.device)
    spectrum = torch.stft(sound, size, step, window=window, return_complex=True)
    power = spectrum.abs().square()
    smooth = functional.avg_pool1d(power.transpose(1, 2), 9, 1, 4, count_include_pad=False)
    envelope = smooth.transpose(1, 2).sqrt()
    tilt = torch.linspace(0, 8000, size // 2 + 1, device=sound.device)
    tilt = (tilt / 900).clamp(0.15, 1.0)[:, None]
    breath = (
        envelope
        * tilt
        * torch.view_as_complex(torch.randn(*envelope.shape, 2, device=sound.device))
        / 1.4
    )
    mixed = (1 - share[:, :, None]) * spectrum + share[:, :, None] * breath
    return torch.istft(mixed, size, step, window=window, length=sound.shape[1])


def room_response(dice: Dice) -> Tensor:
    """(batch, 8000) impulse responses: the direct sound, then noise that dies away."""
    time = torch.arange(RATE // 2, device=dice.device)[None] / RATE
    decay = torch.exp(-6.9 * time / dice.between(0.08, 0.7))
    tail = dice.noise(RATE // 2) * decay * (time > 0.002)
    tail = tail / tail.square().sum(1, keepdim=True).sqrt()
    strength = decibels(-dice.between(-3, 18)) * dice.chance(0.55)  # direct to reverberant ratio
    response = tail * strength
    response[:, 0] += 1
    return response


def channel_gain(dice: Dice, bins: int) -> Tensor:
    """(batch, bins) gain over frequency: microphone colour, telephone band, missing lows."""
    hz = torch.linspace(0, RATE / 2, bins, device=dice.device)[None]
    points = (torch.rand(dice.batch, 7, device=dice.device) - 0.5) * 18 * dice.between(0, 1)
    colour = functional.interpolate(points[:, None], size=bins, mode="linear", align_corners=True)[
        :, 0
    ]
    corner = torch.where(dice.chance(0.4), dice.between(3300, 4000), dice.between(7000, 9000))
    lows = torch.where(dice.chance(0.35), dice.between(60, 300), dice.between(1, 30))
    low_pass = 1 / torch.sqrt(1 + (hz / corner) ** 24)
    return decibels(colour) * low_pass * torch.sqrt(1 - torch.exp(-((hz / lows) ** 4)))


def filtered(sound: Tensor, response: Tensor | None, gain: Tensor) -> Tensor:
    """Through a room and a channel."""
    size = 2 * (gain.shape[1] - 1)
    spectrum = torch.fft.rfft(sound, size) * gain
    if response is not None:
        spectrum = spectrum * torch.fft.rfft(response, size)
    return torch.as_tensor(torch.fft.irfft(spectrum, size)[:, : sound.shape[1]])


def coloured_noise(dice: Dice, samples: int, size: int) -> Tensor:
    """Steady noise whose spectrum falls (or rises) by a random slope."""
    hz = torch.linspace(0, RATE / 2, size // 2 + 1, device=dice.device)[None]
    spectrum = torch.fft.rfft(dice.noise(samples), size) * (hz + 60).pow(-dice.between(-0.4, 1.1))
    return torch.as_tensor(torch.fft.irfft(spectrum, size)[:, :samples])


def breaths(dice: Dice, samples: int, size: int) -> Tensor:
    """Breathing in and out: slow swells of noise in a broad band, anywhere."""
    hz = torch.linspace(0, RATE / 2, size // 2 + 1, device=dice.device)[None]
    centre = dice.between(500, 2500)
    band = torch.exp(-(((hz + 1).log() - centre.log()) ** 2) / 0.5)
    noise = torch.fft.irfft(torch.fft.rfft(dice.noise(samples), size) * band, size)[:, :samples]
    time = torch.arange(samples, device=dice.device)[None] / RATE
    swell = torch.cos(math.pi * (time / dice.between(1.2, 3.5) + dice.between(0, 1))).square()
    return torch.as_tensor(noise * swell.pow(2))


def clicks(dice: Dice, samples: int) -> Tensor:
    """Knocks and tongue clicks: one to three short bursts that ring."""
    time = torch.arange(samples, device=dice.device)[None] / RATE
    out = torch.zeros(dice.batch, samples, device=dice.device)
    ring, decay = dice.between(120, 2500), dice.between(0.004, 0.03)
    for _ in range(3):
        since = time - dice.between(0, samples / RATE)
        burst = torch.exp(-since.clamp(min=0) / decay) * torch.sin(2 * math.pi * ring * since)
        out += burst * (since >= 0) * dice.chance(0.6)
    return out


def of_unit_power(sound: Tensor) -> Tensor:
    return sound / (sound.square().mean(1, keepdim=True).sqrt() + 1e-9)


def noise_mix(dice: Dice, speech: Tensor, recorded: Tensor, size: int) -> Tensor:
    """Noise of unit power: steady, recorded or other people; at times breath and knocks."""
    samples = speech.shape[1]
    start = (dice.between(0, 1) * (len(recorded) - samples - 1)).long()
    room = recorded[start + torch.arange(samples, device=dice.device)[None]].float() / FULL_SCALE
    steady = of_unit_power(coloured_noise(dice, samples, size))
    noise = torch.where(dice.chance(0.4), of_unit_power(room), steady)
    voices = sum(
        torch.roll(speech, (shift, int(torch.randint(samples, ()))), (0, 1))
        for shift in (7, 14, 21)
    )
    assert isinstance(voices, Tensor)
    noise = noise + of_unit_power(voices) * dice.between(0, 0.8) * dice.chance(0.15)
    noise = noise + of_unit_power(breaths(dice, samples, size)) * dice.between(
        0.5, 3
    ) * dice.chance(0.2)
    return noise + clicks(dice, samples) * dice.between(1, 12) * dice.chance(0.1)


def mu_law(sound: Tensor) -> Tensor:
    """Eight-bit telephone coding (ITU-T G.711, mu = 255) there and back."""
    scale = math.log1p(255)
    code = torch.sign(sound) * torch.log1p(255 * sound.abs().clamp(max=1)) / scale
    code = torch.round(code * 127) / 127
    return torch.sign(code) * torch.expm1(code.abs() * scale) / 255


def microphone(joined: Tensor, recorded: Tensor, segments: Segments, samples: int) -> Tensor:
    """What is recorded, in int16 units: (batch, samples)."""
    dice = Dice(len(segments.start), joined.device)
    speech = assemble(joined, segments, samples)
    airy = max(1, dice.batch // 7)
    share = torch.where(
        torch.rand(airy, 1, device=joined.device) < 0.5,
        torch.ones(airy, 1, device=joined.device),
        0.2 + 0.6 * torch.rand(airy, 1, device=joined.device),
    )
    chosen = torch.randperm(dice.batch, device=joined.device)[:airy]
    speech[chosen] = whispered(speech[chosen], share)
    size = 1 << (samples + RATE // 2 - 1).bit_length()
    gain = channel_gain(dice, size // 2 + 1)
    heard = filtered(speech, room_response(dice), gain)
    present = (speech.abs() > 1e-5).float().mean(1, keepdim=True).clamp(min=0.05)
    level = (heard.square().mean(1, keepdim=True) / present).sqrt()
    noise = noise_mix(dice, speech, recorded, size)
    noise = torch.where(dice.chance(0.5), of_unit_power(filtered(noise, None, gain)), noise)
    ratio_db = torch.where(dice.chance(0.3), dice.between(40, 60), dice.between(3, 40))
    heard = heard + noise * level * decibels(-ratio_db)
    heard = heard / (heard.abs().amax(1, keepdim=True) + 1e-6) * decibels(dice.between(-40, 4))
    heard = torch.where(dice.chance(0.08), mu_law(heard), heard).clamp(-1, 1)
    return torch.round(heard * (FULL_SCALE - 1)) + dice.noise(samples)  # the decoder dithers by 1


def other_throat(power: Tensor, factor: Tensor) -> Tensor:
    """Stretch the frequency axis by ``factor`` (batch, 1): a longer or shorter vocal tract."""
    batch, frames, bins = power.shape
    place = (torch.arange(bins, device=power.device)[None] * factor).clamp(max=bins - 1)
    low = place.floor().long()
    share = (place - low)[:, None]
    high = (low + 1).clamp(max=bins - 1)
    index = low[:, None].expand(batch, frames, bins), high[:, None].expand(batch, frames, bins)
    return power.gather(2, index[0]) * (1 - share) + power.gather(2, index[1]) * share
