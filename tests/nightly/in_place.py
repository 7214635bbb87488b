"""Photos read by this process where commands would start others."""

from __future__ import annotations

from canopy.nightly.pool import Here


class InPlace(Here):
    """Stands for a pool."""

    def __init__(self, _count, settings, _work):
        super().__init__(settings)

    def close(self):
        pass
