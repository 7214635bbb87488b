"""How many plants of a tray must be measured to speak for all of them."""

from __future__ import annotations

from scipy.stats import beta


def sure_share(passed: int, failed: int, *, confidence: float) -> float:
    """Share of all plants that pass, at least, as sure as stated (Clopper & Pearson 1934, Biometrika 26:404).

    Parameters
    ----------
    passed, failed : int
        Of the plants measured.
    confidence : float
        One-sided, 0..1.

    Returns
    -------
    float
        0 when none passed.
    """
    return float(beta.ppf(1.0 - confidence, passed, failed + 1)) if passed > 0 else 0.0


def plants_to_measure(failed: int, *, share: float, confidence: float, most: int) -> int | None:
    """How many plants in all, those measured so far included, would show the share if no more of them failed.

    Without failures it is the success-run number ln(1 − confidence)/ln(share), rounded up.

    Parameters
    ----------
    failed : int
        Plants that failed so far.
    share, confidence : float
        What must be shown.
    most : int
        Plants in the tray.

    Returns
    -------
    int or None
        None when all plants of the tray would not be enough.
    """
    for count in range(failed + 1, most + 1):
        if sure_share(count - failed, failed, confidence=confidence) >= share - 1e-12:
            return count
    return None
