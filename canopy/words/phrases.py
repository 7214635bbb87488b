"""Sentences that rooms below write in English, as patterns: the report says them in the reader's language.

Tables keep the English sentences, which programs may rely on. A pattern's `{fields}` stand for what changes: numbers,
names, or words that are themselves said in the other language. `tests/words/test_phrases.py` holds that the rooms'
sentences fit.
"""

from __future__ import annotations

# canopy.readiness: reasons of cells, the score's line
_READINESS = (
    "damage: {share} yellow or brown, limit {limit}",
    "too young: {days} days after sowing, minimum {least}",
    "too small: {area} mm², minimum {least} mm²",
    "too old: {days} days after sowing, last day {last}",
    "colour, and so damage, could not be judged: look at the plants first",
    "no score: {missing}",
    "{names} missing",
    "age missing, no sowing date or no photo date",
    "size missing",
    "cover missing",
    "colour could not be judged",
    "damage could not be judged",
    "{name} withheld, its weight shared out",
    "{names} withheld, their weight shared out",
    "score {score} below {bound}, held back by {name}",
    "{name} is past its target and waiting will not mend that",
    "range {low} to {high} crosses {bound}",
    "range {low} to {high} crosses {bound}, too wide to decide",
    "may be empty: {area} mm² ({low} to {high}), little and doubtful beside the others",
    "waiting time after {product} applied {day}: {left}, not before {free}; follow the product label",
    "days left unknown (photo without date)",
    "1 day left",
    "{n} days left",
    "no plant, no score",
    "size",
    "age",
    "health",
    "colour",
    "cover",
    "unknown",
    "{score} = 100 · {terms}",
    "{line} — held back by {name}",
    "{name} {desirability}^{weight}",
)
# canopy.measure: patterns across a tray
_PATTERNS = (
    "no pattern",
    "too few plants to tell",
    "row {name} weak",
    "row {name} strong",
    "rows {names} weak",
    "rows {names} strong",
    "column {name} weak",
    "column {name} strong",
    "columns {names} weak",
    "columns {names} strong",
    "edge weak",
    "edge strong",
    "gradient towards row {name}",
    "gradient towards column {name}",
    "gradient towards corner {name}",
    "late germination in patches",
    "late germination here and there",
    "patches",
)

NUMBERS = frozenset({"desirability", "weight"})
"""Fields that hold nothing but a number."""

PHRASES: tuple[str, ...] = (
    *_READINESS,
    *_PATTERNS,
    # joints between sentences and words
    "; ",
    " · ",
    " and ",
    ", ",
)
