"""Heavy random change of light, colour, ground and clutter on the device, so that leaves are learnt and not scenes."""

from __future__ import annotations

import math
import random

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

_RED = torch.tensor([-0.15, 0.9, 0.35])  # anthocyanin takes green, then blue; strengths of our own


_FLAT_PX = 16


class Dice:
    """Random numbers of one generator on one device, shaped to broadcast over a batch."""

    def __init__(self, batch: int, side: int, device: torch.device, seed: int) -> None:
        self.batch, self.side, self.device = batch, side, device
        self.dtype = torch.float16 if device.type == "cuda" else torch.float32
        self.generator = torch.Generator(device=device)
        self.generator.manual_seed(seed)
        self.whole = random.Random(seed)  # on the host: asking the device would wait for it

    def uniform(self, *shape: int) -> Tensor:
        """Uniform on 0..1."""
        return torch.rand(*shape, device=self.device, generator=self.generator, dtype=self.dtype)

    def normal(self, *shape: int) -> Tensor:
        """Standard normal."""
        return torch.randn(*shape, device=self.device, generator=self.generator, dtype=self.dtype)

    def one(self) -> Tensor:
        """Uniform, one a picture."""
        return self.uniform(self.batch, 1, 1, 1)

    def three(self) -> Tensor:
        """Uniform, three a picture (colours)."""
        return self.uniform(self.batch, 3, 1, 1)

    def chance(self, probability: float) -> Tensor:
        """1 with this probability, one a picture."""
        return (self.one() < probability).to(self.dtype)

    def pick(self, low: int, high: int) -> int:
        """One whole number for the whole batch, low..high inclusive."""
        return self.whole.randint(low, high)

    def cloud(self, cells: int, mode: str = "bicubic") -> Tensor:
        """Smooth noise with the given number of bumps a side."""
        noise = self.normal(self.batch, 1, cells, cells)
        return noise if cells == self.side else F.interpolate(noise, (self.side, self.side), mode=mode)


def change(pictures: Tensor, canopy: Tensor, dice: Dice) -> Tensor:
    """(B, 3, S, S) code values 0..1 and canopy shares (B, 1, S, S) → changed code values, exposure normalised."""
    pictures, canopy = pictures.to(dice.dtype), canopy.to(dice.dtype)
    x = _recolour_leaves(pictures, canopy, dice)
    ground = _clutter(_ground(dice), dice)
    where = _where(dice) * (1 - canopy)
    x = x * (1 - where) + ground * where
    x = _light(x, dice)
    x = _camera(x, dice)
    return (x * (0.42 / x.mean((1, 2, 3), keepdim=True).clamp(min=0.02)).clamp(0.6, 4)).clamp(0, 1)


def _recolour_leaves(x: Tensor, canopy: Tensor, dice: Dice) -> Tensor:
    """Leaves alone a little lighter, darker, yellower or bluer: palettes nobody drew."""
    gain = torch.exp(0.16 * dice.normal(dice.batch, 3, 1, 1) * dice.one() + 0.18 * dice.normal(dice.batch, 1, 1, 1))
    patchy = torch.exp(0.12 * dice.cloud(12) * dice.one())
    redder = torch.exp(-dice.one() * torch.sigmoid(dice.cloud(6) * 3) * dice.chance(0.1) * _RED.to(x).view(1, 3, 1, 1))
    x = _flatter(x, canopy, dice)
    return (x * (1 + canopy * (gain * patchy * redder - 1))).clamp(0, 1)


def _flatter(x: Tensor, canopy: Tensor, dice: Dice) -> Tensor:
    """Some leaves without texture, as in pictures rendered by plainer means: their colour is that around them."""
    small = dice.side // _FLAT_PX
    colours, weight = (F.interpolate(part, (small, small), mode="area") for part in (x * canopy, canopy))
    around = F.interpolate(colours / weight.clamp(min=1e-3), (dice.side,) * 2, mode="bilinear")
    return x + (around - x) * canopy * (dice.chance(0.15) * dice.one().sqrt())


def _muted(dice: Dice, chroma: float) -> Tensor:
    """A random colour of limited colourfulness."""
    return (0.92 * dice.one() + (dice.three() - 0.5) * chroma * dice.one()).clamp(0.01, 1)


def _ground(dice: Dice) -> Tensor:
    """Procedural grounds: octave noise, speckles of several colours, pebbles, stripes, grids, plain with a cast."""
    s = dice.side
    texture = sum(
        (dice.cloud(n, "bilinear") * dice.one() ** 2 * 0.25 for n in (4, 16, 64, 128, s)),
        start=torch.zeros(dice.batch, 1, s, s, device=dice.device, dtype=dice.dtype),
    )
    ground = _muted(dice, 0.35) * (1 + 0.5 * texture)
    for probability in (0.5, 0.35, 0.3):
        grains = dice.cloud((24, 40, 64, 96, 128, s)[dice.pick(0, 5)])
        mask = torch.sigmoid((grains - 0.3 - 0.9 * dice.one()) * (3 + 14 * dice.one())) * dice.chance(probability)
        ground = ground * (1 - mask) + _muted(dice, 0.4) * (1 + 0.3 * texture) * mask
    ground = _pebbles(ground, dice)
    return _bars(ground, dice).clamp(0, 1)


def _pebbles(ground: Tensor, dice: Dice) -> Tensor:
    """Rounded stones with dark gaps: cells of a jittered lattice, each of its own grey."""
    cells = (8, 14, 24, 40)[dice.pick(0, 3)]
    shade = F.interpolate(dice.uniform(dice.batch, 1, cells, cells), (dice.side, dice.side), mode="nearest")
    axis = torch.linspace(0, cells * math.pi, dice.side, device=dice.device)
    warp = dice.cloud(cells * 2 if cells < 40 else cells) * 0.7
    round_ = (torch.sin(axis.view(1, 1, 1, -1) + warp).abs() * torch.sin(axis.view(1, 1, -1, 1) + warp).abs()) ** 0.5
    stones = _muted(dice, 0.25) * (0.35 + 0.9 * shade) * round_
    on = dice.chance(0.25)
    return ground * (1 - on) + stones.to(dice.dtype) * on


def _bars(ground: Tensor, dice: Dice) -> Tensor:
    """Stripes, slats, weave and mesh: one or two square waves at any angle."""
    s = dice.side
    line = torch.arange(s, device=dice.device, dtype=torch.float32)
    for probability in (0.25, 0.12):
        angle, period = math.pi * dice.one(), 3 + 60 * dice.one() ** 2
        wave = torch.cos(angle) * line.view(1, 1, 1, s) + torch.sin(angle) * line.view(1, 1, s, 1)
        bars = torch.sigmoid((torch.sin(2 * math.pi * wave / period) - 1.6 * dice.one() + 0.8) * (2 + 10 * dice.one()))
        bars = bars.to(dice.dtype) * dice.chance(probability)
        ground = ground * (1 - bars) + _muted(dice, 0.4) * bars
    return ground


def _clutter(ground: Tensor, dice: Dice) -> Tensor:
    """Crumbs in patches, and flat or shaded ellipses, bars and rings of colours that are not leaf green."""
    s = dice.side
    crumbs = dice.cloud((96, 128, s)[dice.pick(0, 2)])
    patch = torch.sigmoid(dice.cloud(5) * 6 - 2 * dice.one())
    mask = torch.sigmoid((crumbs - 0.4 - 1.2 * dice.one()) * 12) * patch * dice.chance(0.6)
    brown = torch.tensor([1.15, 0.95, 0.8], device=dice.device, dtype=dice.dtype).view(1, 3, 1, 1)
    ground = ground * (1 - mask) + (0.02 + (0.22 + 0.6 * dice.chance(0.2)) * dice.one()) * brown * mask
    line = torch.arange(s, device=dice.device, dtype=torch.float32)
    yy, xx = line.view(1, s, 1), line.view(1, 1, s)
    for _ in range(6):
        cx, cy, angle = (k * dice.uniform(dice.batch, 1, 1) for k in (s, s, 2 * math.pi))
        long, short = (2 + 50 * dice.uniform(dice.batch, 1, 1) ** 2 for _ in range(2))
        u = (xx - cx) * torch.cos(angle) + (yy - cy) * torch.sin(angle)
        v = (yy - cy) * torch.cos(angle) - (xx - cx) * torch.sin(angle)
        power = (2, 2, 8)[dice.pick(0, 2)]
        inside = torch.sigmoid((1 - ((u / long).abs() ** power + (v / short).abs() ** power)) * 6)
        inside = (inside.to(dice.dtype) * dice.chance(0.3).squeeze(1)).unsqueeze(1)
        shaded = 1 + 0.35 * dice.cloud(6) * dice.chance(0.5)
        ground = ground * (1 - inside) + _object_colour(dice) * shaded * inside
    return ground.clamp(0, 1)


def _object_colour(dice: Dice) -> Tensor:
    """Any colour, but green only where it is flat and unlike a leaf (bluish or dull)."""
    colour = dice.three()
    bound = torch.maximum(colour[:, :1], colour[:, 2:]) * (0.55 + 0.45 * dice.one())
    return torch.cat([colour[:, :1], torch.minimum(colour[:, 1:2], bound), colour[:, 2:]], 1)


def _where(dice: Dice) -> Tensor:
    """Where the ground is replaced: everywhere, in a smooth part, or nowhere."""
    part = torch.sigmoid(dice.cloud(3) * 12)
    u = dice.one()
    return torch.where(u < 0.25, torch.ones_like(part), torch.where(u < 0.5, part, torch.zeros_like(part)))


def _light(x: Tensor, dice: Dice) -> Tensor:
    """Uneven coloured light on roughly linear values, exposure, colour mixing, haze; gamma back."""
    x = x ** (1.6 + 0.8 * dice.one())
    field = F.interpolate(
        dice.normal(dice.batch, 3, 4, 4) * (0.25 * dice.one()), (dice.side,) * 2, mode="bicubic", align_corners=True
    )
    gain = dice.normal(dice.batch, 3, 1, 1) * (0.30 * dice.one())
    x = x * torch.exp(field + gain + 0.55 * dice.normal(dice.batch, 1, 1, 1))
    mix = torch.eye(3, device=dice.device, dtype=dice.dtype)[None] + dice.normal(dice.batch, 3, 3) * (
        0.10 * dice.uniform(dice.batch, 1, 1)
    )
    x = torch.einsum("bij,bjhw->bihw", mix, x).clamp(min=0)
    x = x + 0.08 * dice.one() ** 2 * dice.three()
    return x.clamp(0, 1) ** (1 / (1.8 + 0.8 * dice.one()))


def _camera(x: Tensor, dice: Dice) -> Tensor:
    """Saturation, contrast, blur, sharpening, noise of two grains, block compression."""
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * (0.45 + 1.05 * dice.one())
    x = (x - 0.5) * (0.7 + 0.6 * dice.one()) + 0.5
    soft = F.avg_pool2d(x, 3, 1, 1)
    x = x + (soft - x) * (dice.chance(0.4) * 1.6 * dice.one() - dice.chance(0.3) * 0.9 * dice.one())
    fine = dice.normal(*x.shape)
    coarse = F.interpolate(
        dice.normal(dice.batch, 3, dice.side // 2, dice.side // 2), scale_factor=2.0, mode="bilinear"
    )
    x = x + (fine + coarse * dice.chance(0.4)) * (0.055 * dice.one() ** 2)
    return _compress(x.clamp(0, 1), dice).clamp(0, 1)


def _compress(x: Tensor, dice: Dice) -> Tensor:
    """Round 8 × 8 cosine coefficients as JPEG does (one step for all frequencies, growing with frequency)."""
    k = torch.arange(8, device=dice.device, dtype=torch.float32)
    basis = torch.cos(math.pi * (k.view(1, 8) + 0.5) * k.view(8, 1) / 8) * math.sqrt(2 / 8)
    basis[0] /= math.sqrt(2)
    basis, k = basis.to(dice.dtype), k.to(dice.dtype)
    b, c, h, w = x.shape
    blocks = x.view(b, c, h // 8, 8, w // 8, 8)
    freq = torch.einsum("ui,bcyixj,vj->bcyuxv", basis, blocks, basis)
    step = (0.004 + 0.05 * dice.one().view(b, 1, 1, 1, 1, 1) ** 2) * (1 + k.view(1, 1, 1, 8, 1, 1) + k) * 0.5
    freq = torch.round(freq / step) * step
    out = torch.einsum("ui,bcyuxv,vj->bcyixj", basis, freq, basis).reshape(b, c, h, w)
    on = dice.chance(0.4)
    return x * (1 - on) + out * on
