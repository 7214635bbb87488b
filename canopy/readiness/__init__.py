"""Measured cells and a crop recipe in; score with its range, decision, what holds each cell back, and why, out."""

from canopy.readiness.decide import ScoredCells, decide_tray, score_cells
from canopy.readiness.explain import explain_cell, score_line
from canopy.readiness.gates import days_after_sowing
from canopy.readiness.recipes import known_recipes, recipe_for, recipes_from_toml

__all__ = [
    "ScoredCells",
    "days_after_sowing",
    "decide_tray",
    "explain_cell",
    "known_recipes",
    "recipe_for",
    "recipes_from_toml",
    "score_cells",
    "score_line",
]
