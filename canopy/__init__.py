"""Photos of trays in; per-cell measurements, a readiness score anyone can recompute, and a pick list out."""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from canopy.analyse import analyse
    from canopy.records import Reading, TrayRecord
    from canopy.settings import Settings

__all__ = ["Reading", "Settings", "TrayRecord", "__version__", "analyse"]

__version__ = "0.1.0"

_DOORS = {"Reading": "canopy.records", "TrayRecord": "canopy.records", "Settings": "canopy.settings"}


def __getattr__(name: str) -> Any:
    """Open a public name on first use, so that `canopy --help` does not pay for the image libraries."""
    if name not in _DOORS:
        raise AttributeError(f"module 'canopy' has no attribute {name!r}")
    return getattr(import_module(_DOORS[name]), name)


class _Package(ModuleType):
    """This package, in which `analyse` is always the function.

    Importing the module of that name would otherwise put the module in the function's place.
    """

    @property
    def analyse(self) -> Any:
        """The function `canopy.analyse.analyse`."""
        return import_module("canopy.analyse").analyse

    @analyse.setter
    def analyse(self, module: ModuleType) -> None:
        pass


sys.modules[__name__].__class__ = _Package
