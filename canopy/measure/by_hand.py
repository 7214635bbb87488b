"""Measured cells whose state a person has given."""

from __future__ import annotations

import pandas as pd

from canopy.records import ByHand
from canopy.records.text import TEXT_TYPE

VOUCHED = "vouched"
"""Extra column: True where a person says that a plant stands in the cell."""

_WORDS = {"planted": "planted, said by hand; nothing to measure", "empty": "empty, said by hand",
          "dead": "plant is dead, said by hand"}  # fmt: skip


def mark_by_hand(cells: pd.DataFrame, by_hand: ByHand | None) -> pd.DataFrame:
    """The measured cells with the states that a person has given, and `VOUCHED` beside them.

    An area is never made up: a plant that nothing was seen of stays without one, and must be looked at.
    """
    said = dict(by_hand.states) if by_hand is not None else {}
    if not said:
        return cells
    given = [said.get(name) for name in cells["cell"]]
    seen = (cells["state"] == "planted").fillna(False).tolist()
    state, reason = cells["state"].tolist(), cells["reason"].tolist()
    for place, word in enumerate(given):
        if word is not None and not (word == "planted" and seen[place]):
            state[place], reason[place] = ("planted" if word == "planted" else "empty"), _WORDS[word]
    return cells.assign(
        state=pd.array(state, dtype=TEXT_TYPE),
        reason=pd.array(reason, dtype=TEXT_TYPE),
        **{VOUCHED: [word == "planted" for word in given]},
    )
