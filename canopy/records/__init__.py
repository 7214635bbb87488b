"""The nouns of the tool: frozen records that every room shares and that import nothing else of ours."""

from canopy.records.by_hand import ByHand, Stroke
from canopy.records.card import CardPatch, ColourCard
from canopy.records.height import Height
from canopy.records.layout import Layout, Markers, cell_name
from canopy.records.reading import Reading, Remark
from canopy.records.recipe import CropRecipe
from canopy.records.tray import TrayRecord, Treatment
from canopy.records.view import SavedView

__all__ = [
    "ByHand",
    "CardPatch",
    "ColourCard",
    "CropRecipe",
    "Height",
    "Layout",
    "Markers",
    "Reading",
    "Remark",
    "SavedView",
    "Stroke",
    "TrayRecord",
    "Treatment",
    "cell_name",
]
