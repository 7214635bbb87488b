"""The tray's label: a QR code in the photo whose text is the tray's id."""

from __future__ import annotations

from collections.abc import Collection

import cv2
import numpy as np
from numpy.typing import NDArray


def read_labels(rgb: NDArray[np.uint8]) -> tuple[str, ...]:
    """Texts of the QR codes that the picture shows, each once, sorted; none where none can be read.

    A module of a code must be some 3 pixels wide.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    # This one looks for the three squares as for markers: it finds small codes on rough ground at half the size that
    # `cv2.QRCodeDetector` needs, in half the time.
    done, texts, *_ = cv2.QRCodeDetectorAruco().detectAndDecodeMulti(grey)
    return tuple(sorted({text.strip() for text in texts if text.strip()})) if done else ()


def tray_named(labels: Collection[str], known: Collection[str]) -> str | None:
    """The one tray that the labels name; None where none does, or several do."""
    named = {label for label in labels if label in known}
    return named.pop() if len(named) == 1 else None
