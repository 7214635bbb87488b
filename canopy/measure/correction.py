"""From a camera's colours to known ones: linear and root-polynomial fits to patches of known colour.

Both kinds of map scale with exposure (k times the light gives k times the answer), so that the level of the light need
not be known; plain polynomials do not (Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Process.
24(5):1460–1470).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from canopy.measure.colour import FloatArray, ciede2000, linear_to_lab

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Share of linear R, G, B in luminance (IEC 61966-2-1)."""
FEWEST_PATCHES = 6
"""Fewer do not tell the nine numbers of a linear map from noise."""


@dataclass(frozen=True)
class Correction:
    """A map of linear camera colours to linear sRGB.

    Attributes
    ----------
    kind : str
        `none`, `linear` or `root-polynomial`.
    matrix : (3, 3) or (6, 3) ndarray
        Applied from the right to the terms of a colour: R, G, B, then √RG, √RB, √GB.
    source : str
        What it was fitted to: `card`, `markers`, `ground`, or empty.
    residual_median, residual_worst : float
        CIEDE2000 of the patches after the fit; NaN where nothing was fitted.
    left_out_median : float
        Median CIEDE2000 of patches that the fit had not seen (leave one out).
    patches : int
        Patches that were used.
    """

    kind: str
    matrix: FloatArray
    source: str = ""
    residual_median: float = float("nan")
    residual_worst: float = float("nan")
    left_out_median: float = float("nan")
    patches: int = 0

    def __call__(self, linear: ArrayLike) -> FloatArray:
        """Linear sRGB of linear camera colours, (n, 3) → (n, 3); what comes out below 0 is no light: 0."""
        colours = np.asarray(linear, dtype=np.float64)
        if self.kind == "none":
            return colours
        terms = root_terms(colours) if self.kind == "root-polynomial" else colours
        return np.asarray(np.maximum(terms @ self.matrix, 0.0))


NO_CORRECTION = Correction("none", np.eye(3))


def root_terms(linear: FloatArray) -> FloatArray:
    """R, G, B, √RG, √RB, √GB, the root-polynomial terms of degree 2; (n, 3) → (n, 6), negative light taken as 0."""
    colours = np.maximum(linear, 0.0)
    r, g, b = colours.T
    return np.column_stack([colours, np.sqrt(r * g), np.sqrt(r * b), np.sqrt(g * b)])


def fit_correction(seen_linear: ArrayLike, known_linear: ArrayLike, *, source: str = "card") -> Correction:
    """Fit both kinds of map and keep the one that foretells a patch better which it has not seen.

    Parameters
    ----------
    seen_linear : (n, 3) array
        Linear camera colours of n ≥ 6 patches, any exposure.
    known_linear : (n, 3) array
        Their linear sRGB values, 0..1 for colours inside sRGB.
    source : str
        Kept in the result.

    Returns
    -------
    Correction
        The chosen map, refined so that the squared CIELAB differences of all patches are least.

    Raises
    ------
    ValueError
        Shapes differ, or fewer than six patches.
    """
    seen, known = np.asarray(seen_linear, np.float64), np.asarray(known_linear, np.float64)
    if seen.shape != known.shape or seen.ndim != 2 or seen.shape[1] != 3:
        raise ValueError(f"patches: shapes {seen.shape} and {known.shape}; two lists of R, G, B of one length")
    if len(seen) < FEWEST_PATCHES:
        raise ValueError(f"patches: {len(seen)}; at least {FEWEST_PATCHES} are needed")
    linear, rooted = left_out_differences(seen, known), left_out_differences(root_terms(seen), known)
    better = np.median(rooted) < np.median(linear)
    kind, terms, left_out = ("root-polynomial", root_terms(seen), rooted) if better else ("linear", seen, linear)
    matrix = _refined(terms, known, _weighted(terms, known))
    residual = ciede2000(linear_to_lab(np.maximum(terms @ matrix, 0.0)), linear_to_lab(known))
    return Correction(
        kind=kind,
        matrix=matrix,
        source=source,
        residual_median=float(np.median(residual)),
        residual_worst=float(residual.max()),
        left_out_median=float(np.median(left_out)),
        patches=len(seen),
    )


def left_out_differences(terms: FloatArray, known: FloatArray) -> FloatArray:
    """(n,) CIEDE2000 of each patch by the fit to all others; infinite where that fit is not determined.

    For least squares the left-out prediction follows from the full fit: its error is e/(1 − h), h being the diagonal of
    the hat matrix (Allen 1974, Technometrics 16:125–127).
    """
    root_weight = np.sqrt(_weights(known))[:, None]
    weighted = terms * root_weight
    leverage = np.einsum("ij,ji->i", weighted, np.linalg.pinv(weighted))
    determined = leverage < 1 - 1e-9
    error = terms @ _weighted(terms, known) - known
    left_out = known + error / np.where(determined, 1 - leverage, 1.0)[:, None]
    return np.where(determined, ciede2000(linear_to_lab(left_out), linear_to_lab(known)), np.inf)


def balance(white_linear: ArrayLike, *, source: str) -> Correction:
    """The map that makes one grey thing grey and keeps its luminance: a gain for each channel.

    Parameters
    ----------
    white_linear : (3,) array
        Linear camera colour of something grey or white, above 0.
    source : str
        Kept in the result.
    """
    white = np.asarray(white_linear, np.float64)
    luminance = float(white @ LUMINANCE)
    return Correction("linear", np.diag(luminance / white), source)


def _weights(known: FloatArray) -> FloatArray:
    """Weight of each patch in light: dark ones more, since lightness goes with the cube root of luminance (CIE 15)."""
    return np.asarray(np.maximum(known @ LUMINANCE, 0.01) ** (-2 / 3))


def _weighted(terms: FloatArray, known: FloatArray) -> FloatArray:
    root_weight = np.sqrt(_weights(known))[:, None]
    return np.asarray(np.linalg.lstsq(terms * root_weight, known * root_weight, rcond=None)[0])


def _refined(terms: FloatArray, known: FloatArray, start: FloatArray) -> FloatArray:
    """The matrix of least squared CIELAB differences, by Levenberg–Marquardt from a start in linear light."""
    from scipy.optimize import least_squares  # here, because only pictures with a card need it

    target = linear_to_lab(known)

    def differences(flat: FloatArray) -> FloatArray:
        return np.asarray((linear_to_lab(terms @ flat.reshape(start.shape)) - target).ravel())

    return np.asarray(least_squares(differences, start.ravel(), method="lm").x.reshape(start.shape))
