"""The crop types the renderer can grow, one record each, by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from canopy.synthetic.brassicas import BRASSICAS
from canopy.synthetic.habit import Cultivar
from canopy.synthetic.herbs import HERBS, OTHERS
from canopy.synthetic.lettuces import LETTUCES
from canopy.synthetic.variety import draw_variety

__all__ = ["CULTIVARS", "Cultivar", "draw_variety"]

CULTIVARS: Mapping[str, Cultivar] = MappingProxyType(
    {cultivar.name: cultivar for cultivar in (*LETTUCES, *HERBS, *BRASSICAS, *OTHERS)}
)
