"""The tray's label: a QR code in the photo whose text is the tray's id."""

from __future__ import annotations

from collections.abc import Collection

import cv2
import numpy as np
from numpy.typing import NDArray

# Long sides at which the picture is looked at: a label of 25 modules on a 25 mm square, a fortieth of a picture of a
# 600 mm tray, has some 2 pixels a module at the first size.
_LONG_SIDES_PX = (2000, 4000)


def read_labels(rgb: NDArray[np.uint8]) -> tuple[str, ...]:
    """Texts of the QR codes that the picture shows, each once, sorted; none where none can be read.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    for long_side in _LONG_SIDES_PX:
        scale = min(1.0, long_side / max(grey.shape))
        looked_at = grey if scale == 1 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        done, texts, *_ = cv2.QRCodeDetector().detectAndDecodeMulti(looked_at)
        if found := sorted({text.strip() for text in texts if text.strip()} if done else set()):
            return tuple(found)
        if scale == 1:
            break
    return ()


def tray_named(labels: Collection[str], known: Collection[str]) -> str | None:
    """The one tray that the labels name; None where none does, or several do."""
    named = {label for label in labels if label in known}
    return named.pop() if len(named) == 1 else None
