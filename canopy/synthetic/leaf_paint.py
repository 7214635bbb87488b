"""Colour, sheen and fine relief of the points of one leaf."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.damage import LeafDamage, LeafPoints, damage_codes, damage_masks
from canopy.synthetic.leaf_outline import FloatArray, Footprint
from canopy.synthetic.leaf_texture import blotches, veinlets

_WAX = (0.40, 0.43, 0.41)  # reflectance of bloom, hair and dust
_COARSEST_BLADE_PX = 6.0  # below this length in pixels no side veins are drawn
_VEIN_SHARE = 0.006  # half-width of side veins over blade length, at most

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class LeafLook:
    """How one leaf is coloured; reflectances are linear.

    Attributes
    ----------
    blade, glow, vein, stalk, pigment, under, cream : colours of the blade, its lighter parts, veins, stalk, red
        pigment, underside
        and white variegation.
    petiole : share of the length that is stalk.
    midrib_mm : half-width of the midrib where the blade begins.
    midrib_fade : how much of the stalk's colour the midrib loses along the blade.
    base_glow : how much of `glow` towards the base of the blade.
    pigment_base, pigment_margin, pigment_tip, pigment_between, pigment_blotch : where pigment gathers; sums are
        clipped to 0..1.
    veins, vein_lean, vein_contrast, network : side veins per half, forward run per mm across, paleness, fine network.
    blister : slope of the bulges between side veins.
    fold : share of the half-width that curls over and shows the underside.
    variegation : share of the blade in cream.
    offset : place in the shared texture tiles.
    """

    blade: Rgb
    glow: Rgb
    vein: Rgb
    stalk: Rgb
    pigment: Rgb
    under: Rgb
    petiole: float
    midrib_mm: float
    midrib_fade: float
    offset: tuple[float, float]
    base_glow: float = 0.3
    blotch: float = 0.15
    pigment_base: float = -1.0
    pigment_margin: float = 0.0
    pigment_tip: float = 0.0
    pigment_between: float = 0.0
    pigment_blotch: float = 0.0
    stalk_pigment: float = 0.0
    veins: float = 6.0
    vein_lean: float = 0.7
    vein_contrast: float = 0.4
    network: float = 0.25
    network_scale: float = 1.2
    blister: float = 0.1
    fold: float = 0.0
    variegation: float = 0.0
    cream: Rgb = (0.55, 0.55, 0.30)
    gloss: float = 0.3
    bloom: float = 0.05


@dataclass(frozen=True, eq=False)
class Painted:
    """Look of N points: albedo (3, N), relief slopes in the leaf's frame (N,), gloss (N,), damage codes (N,)."""

    albedo: FloatArray
    slope_u: FloatArray
    slope_v: FloatArray
    gloss: FloatArray
    codes: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class _Ribs:
    midrib: FloatArray
    vein: FloatArray
    slope_u: FloatArray
    slope_v: FloatArray


def paint_points(
    look: LeafLook, damage: LeafDamage, place: Footprint, *, length_mm: float, widest_mm: float, px_mm: float
) -> Painted:
    """Paint N points given by their place on a leaf of this length and greatest half-width."""
    stalk_mm = length_mm * look.petiole
    blade = (place.station_mm - stalk_mm) * (1.0 / (length_mm - stalk_mm))
    reach = np.maximum(place.half_width_mm, 0.3 * px_mm)
    margin = np.asarray(np.clip(np.abs(place.across_mm) / reach, 0.0, 1.0), np.float32)
    scale = 1.0 / length_mm
    x, y = place.station_mm * scale + look.offset[0], place.across_mm * scale + look.offset[1]
    broad, middling, fine = blotches(x, y, texel=px_mm * scale)
    ribs = _ribs(look, blade, place.across_mm, middling, blade_mm=length_mm - stalk_mm, px_mm=px_mm)
    finer = look.network_scale
    net, net_u, net_v = veinlets(x * finer, y * finer, texel=px_mm * scale * finer)
    ribbed = np.asarray(np.maximum(ribs.vein, ribs.midrib), np.float32)
    points = LeafPoints(blade, margin, place.inside_mm, broad, middling, fine, ribbed)
    albedo = _healthy(look, points, ribs, net)
    yellow, brown = _apply_damage(albedo, damage, points, half_width_mm=widest_mm)
    gloss = look.gloss * np.clip(1.0 - 0.25 * fine - 0.3 * ribs.midrib, 0.2, 1.5)
    if damage.any:
        gloss *= 1.0 - 0.8 * np.maximum(brown, 0.3 * yellow)
    domed = look.blister * (1.0 - ribs.midrib)
    return Painted(
        albedo,
        ribs.slope_u + net_u * domed,
        ribs.slope_v + net_v * domed,
        np.clip(gloss, 0.0, 1.0),
        damage_codes(damage, yellow, brown),
    )


def _ribs(
    look: LeafLook, blade: FloatArray, across_mm: FloatArray, noise: FloatArray, *, blade_mm: float, px_mm: float
) -> _Ribs:
    """Midrib and side veins: how much of each point they cover, and the relief between them."""
    away = np.abs(across_mm)
    taper = np.clip(1.0 - blade, 0.0, 1.2)
    rib_mm = look.midrib_mm * taper * (0.25 + 0.75 * taper)
    midrib = np.clip((rib_mm - away) * (1.0 / max(px_mm, 0.35 * look.midrib_mm)) + 0.5, 0.0, 1.0)
    midrib *= np.minimum(rib_mm * (2.0 / px_mm), 1.0)
    # stalk and midrib are round: their sides slope away
    slope_v = np.clip(across_mm / np.maximum(rib_mm, 0.3 * px_mm), -1.0, 1.0) * midrib * -0.55
    if look.veins < 1.0 or blade_mm < _COARSEST_BLADE_PX * px_mm:
        zero = np.zeros_like(blade)
        return _Ribs(midrib, zero, zero, slope_v)
    spacing = blade_mm / look.veins
    phase = blade * look.veins - away * (look.vein_lean / spacing) * (1.0 + away * (0.9 / blade_mm))
    phase += noise * 0.05 + np.where(across_mm > 0, np.float32(0.4), np.float32(0.0))
    offset = phase - np.rint(phase)
    vein_mm = min(0.45 * look.midrib_mm, _VEIN_SHARE * blade_mm)
    drawn_mm = max(vein_mm, 0.6 * px_mm)
    far = offset * (spacing / (drawn_mm * math.hypot(1.0, look.vein_lean)))
    on_blade = 1.0 - midrib
    vein = (vein_mm / drawn_mm) / (1.0 + far * far) ** 2 * (blade > 0.0) * on_blade
    swell = (np.copysign(0.5, offset) - offset) * (look.blister * 2.0 * min(spacing / (3.0 * px_mm), 1.0)) * on_blade
    return _Ribs(midrib, vein, swell, slope_v - swell * look.vein_lean * np.sign(across_mm))


def _healthy(look: LeafLook, points: LeafPoints, ribs: _Ribs, net: FloatArray) -> FloatArray:
    """Reflectance (3, N) before damage."""
    fade = 1.0 + look.blotch * (0.6 * points.middling + 0.4 * points.fine)
    albedo = np.empty((3, points.blade.size), np.float32)
    albedo[:] = np.array(look.blade, np.float32)[:, None]
    albedo *= np.clip(fade, 0.5, 1.6)
    light = np.clip(look.base_glow * (1.0 - points.blade) + look.blotch * points.broad, 0.0, 1.0)
    _mix(albedo, look.glow, light)
    if look.pigment_base > -1.0:
        gathered = (
            look.pigment_base
            + look.pigment_margin * points.margin * points.margin
            + look.pigment_tip * points.blade
            + look.pigment_blotch * points.broad
            - look.pigment_between * (ribs.vein + 0.5 * net)
        )
        _mix(albedo, look.pigment, np.clip(gathered, 0.0, 0.97))
    if look.variegation > 0.0:
        cream = (points.broad + 0.8 * points.margin - 2.0 + 2.5 * look.variegation) * 4.0
        _mix(albedo, look.cream, np.clip(cream, 0.0, 0.95))
    _mix(albedo, look.vein, np.minimum(look.vein_contrast * (ribs.vein + look.network * net), 1.0))
    stalk = np.array(look.stalk, np.float32) * (1.0 - look.stalk_pigment) + np.array(look.pigment) * look.stalk_pigment
    _mix(
        albedo,
        (float(stalk[0]), float(stalk[1]), float(stalk[2])),
        ribs.midrib * np.clip(1.0 - look.midrib_fade * points.blade, 0.0, 1.0),
    )
    if look.fold > 0.0:
        curl = (points.margin - 1.0 + look.fold * (1.0 + 0.8 * points.broad)) * 12.0
        _mix(albedo, look.under, np.clip(curl, 0.0, 1.0))
    if look.bloom > 0.0:
        _mix(albedo, _WAX, np.clip(look.bloom * (0.6 + 0.3 * points.fine), 0.0, 0.6))
    return albedo


def _apply_damage(
    albedo: FloatArray, damage: LeafDamage, points: LeafPoints, *, half_width_mm: float
) -> tuple[FloatArray, FloatArray]:
    zero = np.zeros_like(points.blade)
    if damage.dead:
        dry = np.clip(0.5 + 0.3 * points.broad + 0.15 * points.fine, 0.0, 1.0)
        albedo[:] = np.array(damage.straw, np.float32)[:, None] * (1.0 + 0.1 * points.middling)
        _mix(albedo, damage.brown, dry)
        np.clip(albedo, 0.004, 1.0, out=albedo)
        return zero, np.ones_like(zero)
    if not damage.any:
        return zero, zero
    yellow, brown = damage_masks(damage, points, half_width_mm=half_width_mm)
    _mix(albedo, damage.yellow, yellow)
    _mix(albedo, damage.brown, brown)
    return yellow, brown


def _mix(albedo: FloatArray, colour: Rgb, share: FloatArray) -> None:
    """Move reflectances (3, N) towards one colour by a share 0..1 per point, in place."""
    for channel, target in zip(albedo, colour, strict=True):
        channel += share * (np.float32(target) - channel)
