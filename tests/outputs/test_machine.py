"""Pick lists for machines: what is given, what is refused, and the published schema."""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from canopy.outputs.machine import CAUTION, MACHINE_COLUMNS, Seen, as_json, doubt, machine_list, pick_list_schema
from canopy.records import Layout
from canopy.settings.plan import PickSettings

NOW = datetime(2026, 6, 1, 12)
LAYOUT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=100, pitch_y_mm=100, outline_width_mm=320, outline_height_mm=220
)
VALIDATOR = Draft202012Validator(pick_list_schema(), format_checker=Draft202012Validator.FORMAT_CHECKER)


def _cells(**changes):
    centres = LAYOUT.centres_mm()
    cells = pd.DataFrame(
        {
            "photo": "a.jpg", "taken_at": "2026-06-01T08:00:00", "row": [1, 1, 1, 2, 2, 2], "col": [1, 2, 3, 1, 2, 3],
            "cell": LAYOUT.names(), "state": ["planted"] * 5 + ["empty"],
            "decision": ["harvest", "wait", "harvest", "harvest", "inspect", "empty"],
            "reason": [None, "too small", None, None, "damage: 20 % yellow or brown", None],
            "x_mm": [*(centres[:5, 0] + 2.0), np.nan], "y_mm": [*centres[:5, 1], np.nan],
            "diameter_mm": [80.0, 60.0, 80.0, 80.0, 80.0, np.nan], "located_by": "markers", "quality": "good",
            "tilt_deg": 3.0,
        }
    )  # fmt: skip
    return cells.assign(**changes)


def _seen(turned=False, **changes):
    return Seen("T1", LAYOUT, _cells(**changes), turned)


def _list(chosen=("A1", "A3", "B1")):
    return machine_list(_seen(), dict.fromkeys(chosen), settings=PickSettings())


def test_places_extent_and_room_by_hand():
    found = _list()
    assert list(found.picks.columns) == [column.name for column in MACHINE_COLUMNS]
    first = found.picks.set_index("cell").loc["A1"]
    # The grid of 3 x 100 by 2 x 100 mm is centred in 320 x 220 mm: A1 lies at (60, 60), its leaves 2 mm further along.
    assert first[["cell_x_mm", "cell_y_mm", "x_mm", "y_mm", "width_mm"]].tolist() == [60, 60, 62, 60, 80]
    assert first["clearance_mm"] == 100 - 40 - 40  # to B1, whose circle is the nearest
    assert sorted(found.picks["order"]) == [1, 2, 3]


def test_all_other_plants_are_not_to_be_touched():
    kept = _list().kept.set_index("cell")
    assert kept["why"].to_dict() == {"A2": "wait: too small", "B2": "inspect: damage: 20 % yellow or brown"}
    assert (kept["action"] == "do not touch").all()


def test_plants_to_inspect_are_never_picked():
    found = _list(("A1", "B2"))
    assert found.picks["cell"].tolist() == ["A1"]
    assert "B2" in set(found.kept["cell"])


def test_the_path_is_short():
    found = machine_list(_seen(decision="harvest"), dict.fromkeys(["A1", "A2", "B1", "B2"]), settings=PickSettings())
    # Out along one row and back along the other: |A1| = hypot(62, 60), then three steps of 100 mm.
    assert found.length_mm == pytest.approx(np.hypot(62, 60) + 300)


@pytest.mark.parametrize(
    ("change", "turned", "said"),
    [
        ({"located_by": "outline"}, False, "its grid is doubtful (located by outline)"),
        ({"located_by": "whole picture"}, False, "its grid is doubtful (located by whole picture)"),
        ({"quality": "doubtful"}, False, "its last photo is doubtful"),
        ({"tilt_deg": 20.0}, False, "the camera's tilt is 20°, limit 15°"),
        ({"tilt_deg": np.nan}, False, "the camera's tilt is nan°"),
        ({"taken_at": None}, False, "the time of its last photo is not known"),
        ({"taken_at": "2026-05-30T08:00:00"}, False, "its last photo is 52 hours old, limit 24"),
        ({}, True, "it lay turned by 180° in its last photo"),
        ({}, None, "it may have lain turned by 180°"),
    ],
)
def test_places_of_a_doubtful_grid_are_refused(change, turned, said):
    assert doubt(_seen(turned, **change), now=NOW, settings=PickSettings()).startswith(said)


@pytest.mark.parametrize("located", ["markers", "3 markers", "corners", "saved view rack1, followed 3 px"])
def test_a_sure_grid_is_not(located):
    assert doubt(_seen(located_by=located), now=NOW, settings=PickSettings()) is None


def test_json_is_as_the_schema_says():
    data = as_json([_list()], {"T2": "its grid is doubtful"}, made_for=date(2026, 6, 1))
    Draft202012Validator.check_schema(pick_list_schema())
    VALIDATOR.validate(data)
    assert data["caution"] == CAUTION
    assert data["refused"] == [{"tray": "T2", "why": "its grid is doubtful"}]
    tray = data["trays"][0]
    assert [pick["order"] for pick in tray["picks"]] == [1, 2, 3]
    assert tray["picks"][0]["canopy_centre"] == {"x": 62.0, "y": 60.0}
    VALIDATOR.validate(as_json([], {}, made_for=date(2026, 6, 1)))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data.pop("caution"),
        lambda data: data["trays"][0]["picks"][0].update(canopy_width=-1),
        lambda data: data["trays"][0]["picks"][0].pop("cell_centre"),
        lambda data: data.update(units="inch"),
        lambda data: data["trays"][0].update(extra=1),
        lambda data: data.update(made_for="tomorrow"),
    ],
)
def test_the_schema_refuses_what_is_not_so(spoil):
    data = as_json([_list()], {}, made_for=date(2026, 6, 1))
    spoil(data)
    with pytest.raises(ValidationError):
        VALIDATOR.validate(data)


def test_the_caution_names_who_answers():
    for word in ("Guards", "lock-out", "local rules", "sensors"):
        assert word in CAUTION
