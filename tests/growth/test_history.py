from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.errors import UsageError
from canopy.growth.events import check_events
from canopy.growth.history import TURN_DTYPES, line_up
from canopy.records import Layout, TrayRecord, cell_name
from canopy.settings.growth import HistorySettings

SETTINGS = HistorySettings()
LAYOUT = Layout(
    name="3x5", rows=3, columns=5, pitch_x_mm=50, pitch_y_mm=50, outline_width_mm=270, outline_height_mm=170
)
TRAY = TrayRecord(tray="T1", layout=LAYOUT, sown_on=pd.Timestamp("2026-05-01").date())
SIZES = np.exp(np.random.default_rng(2).normal(0, 0.4, (3, 5)))


def _photo(day, *, turned=False, sizes=SIZES, growth=0.2, hour="08:00:00"):
    """Cell rows of one photo on a day after sowing; turned: as a tray put back the other way round is read."""
    rows = []
    for r in range(3):
        for c in range(5):
            size = sizes[2 - r, 4 - c] if turned else sizes[r, c]
            area = 100 * size * np.exp(growth * day)
            rows.append(
                {
                    "tray": "T1", "taken_at": f"{pd.Timestamp('2026-05-01') + pd.Timedelta(days=day):%Y-%m-%d}T{hour}",
                    "row": r + 1, "col": c + 1, "cell": cell_name(r + 1, c + 1),
                    "state": "planted" if size > 0 else "empty", "das": day,
                    "area_mm2": area if size > 0 else np.nan, "area_low_mm2": 0.9 * area, "area_high_mm2": 1.1 * area,
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def _events(*rows):
    table = pd.DataFrame(rows, columns=["tray", "cell", "date", "event"])
    return check_events(table, trays={"T1": TRAY})


def test_a_turned_tray_does_not_swap_its_plants():
    readings = pd.concat([_photo(8), _photo(10, turned=True), _photo(12)], ignore_index=True)
    history = line_up(readings, tray=TRAY, settings=SETTINGS)
    assert history.turns["turned"].tolist() == [False, True, False]
    assert len(history.remarks) == 1
    assert history.remarks[0].startswith("photo of 2026-05-11T08:00:00: tray was put back turned by 180° (patterns")
    for cell, plant in history.table.groupby("cell"):
        r, c = LAYOUT.names().index(cell) // 5, LAYOUT.names().index(cell) % 5
        np.testing.assert_allclose(plant["area_mm2"], 100 * SIZES[r, c] * np.exp(0.2 * np.array([8, 10, 12])))
    assert history.table["das"].unique().tolist() == pytest.approx([8 + 1 / 3, 10 + 1 / 3, 12 + 1 / 3])


def test_photos_located_by_markers_are_never_turned():
    readings = pd.concat([_photo(8), _photo(10, turned=True)], ignore_index=True).assign(located_by="3 markers")
    history = line_up(readings, tray=TRAY, settings=SETTINGS)
    assert history.turns["turned"].tolist() == [False, False]
    assert history.remarks == ()


def test_doubt_is_said_and_the_photo_left_as_it_came():
    alike = np.ones((3, 5))
    readings = pd.concat([_photo(8), _photo(9, sizes=alike), _photo(10)], ignore_index=True)
    history = line_up(readings, tray=TRAY, settings=SETTINGS)
    assert history.turns["turned"].isna().tolist() == [False, True, False]
    assert "left as it came" in history.remarks[0]
    # The doubtful photo is no standard for the next one.
    assert history.turns["turned"].tolist()[2] is False


def test_new_plants_and_cuts():
    photos = [_photo(day) for day in (8, 12, 16, 20)]
    for photo in photos[2:]:
        photo.loc[photo["cell"].isin(["A1", "B2", "C3"]), "area_mm2"] *= 0.1
    events, complaints = _events(
        ("T1", "A1", "2026-05-14", "resown"), ("T1", "b2", "2026-05-14", "cut"),
        ("T1", "C3", "2026-05-14", "thinned"), ("T1", "", "2026-05-19", "cut"),
    )  # fmt: skip
    assert complaints == ()
    history = line_up(pd.concat(photos, ignore_index=True), tray=TRAY, settings=SETTINGS, events=events)
    table = history.table.set_index(["cell", "das"]).sort_index()

    def column(cell, name):
        return table.loc[cell, name].tolist()

    assert column("A1", "plant") == ["A1", "A1", "A1/2", "A1/2"]
    assert column("A1", "curve") == ["A1", "A1", "A1/2", "A1/2 cut 1"]
    assert column("A1", "start_das") == [0, 0, 13, 18]
    assert column("B2", "plant") == ["B2"] * 4
    assert column("B2", "curve") == ["B2", "B2", "B2 cut 1", "B2 cut 2"]
    assert column("C3", "start_das") == [0, 0, 0, 18]  # thinned: who stays was sown with the tray
    assert column("C5", "curve") == ["C5", "C5", "C5", "C5 cut 1"]
    # After a cut of the whole tray there is no pattern left to compare; that is said too.
    assert list(history.remarks) == [
        "photo of 2026-05-21T08:00:00: too few plants to tell whether the tray was turned; left as it came"
    ]


def test_a_photo_of_the_day_of_the_cut_is_before_it_or_after_by_what_it_shows():
    early, late = _photo(16, hour="07:00:00"), _photo(16, hour="17:00:00")
    late["area_mm2"] *= 0.2
    events, _ = _events(("T1", "whole tray", "2026-05-17", "cut"))
    history = line_up(
        pd.concat([_photo(12), early, late, _photo(20)], ignore_index=True), tray=TRAY, settings=SETTINGS, events=events
    )
    assert history.table[history.table["cell"] == "B4"]["curve"].tolist() == ["B4", "B4", "B4 cut 1", "B4 cut 1"]


def test_breaks_that_nobody_noted_are_said():
    gone = SIZES.copy()
    gone[0, 0] = 0.0
    photos = [_photo(8), _photo(10), _photo(12, sizes=gone), _photo(14), _photo(16)]
    for photo in photos[3:]:
        photo.loc[photo["cell"] == "A1", "area_mm2"] *= 0.05
        photo.loc[photo["cell"] == "B4", "area_mm2"] *= 0.2
    photos[3].loc[photos[3]["cell"] == "C2", "area_mm2"] *= 0.3  # one bad reading: no break
    history = line_up(pd.concat(photos, ignore_index=True), tray=TRAY, settings=SETTINGS)
    curves = {cell: part["curve"].tolist() for cell, part in history.table.groupby("cell")}
    assert curves["A1"] == ["A1", "A1", "A1", "A1/2", "A1/2"]
    assert curves["B4"] == ["B4", "B4", "B4", "B4 cut 1", "B4 cut 1"]
    assert curves["C2"] == ["C2"] * 5
    assert list(history.remarks) == [
        "A1: empty and planted again by day 14 without a note; taken for a new plant",
        "B4: lost 70 % of its area by day 14 without a note; curve anew",
    ]


def test_a_new_plant_after_a_cut_one_starts_uncut():
    gone = SIZES.copy()
    gone[0, 0] = 0.0
    photos = [_photo(8), _photo(12), _photo(14, sizes=gone), _photo(16), _photo(18)]
    photos[1].loc[photos[1]["cell"] == "A1", "area_mm2"] *= 0.5
    for photo in photos[3:]:
        photo.loc[photo["cell"] == "A1", "area_mm2"] *= 0.02
    events, _ = _events(("T1", "A1", "2026-05-10", "cut"))
    history = line_up(pd.concat(photos, ignore_index=True), tray=TRAY, settings=SETTINGS, events=events)
    own = history.table[history.table["cell"] == "A1"]
    assert own["curve"].tolist() == ["A1", "A1 cut 1", "A1 cut 1", "A1/2", "A1/2"]
    assert own["regrown"].tolist() == [False, True, True, False, False]


def test_bad_readings_are_named_and_the_rest_goes_on():
    table = pd.concat([_photo(8), _photo(10)], ignore_index=True).astype({"area_mm2": object, "row": object})
    table.loc[3, "area_mm2"] = -4.0
    table.loc[5, "row"] = 9
    table.loc[7, "tray"] = "T2"
    table.loc[16, "taken_at"] = "2026-04-30T08:00:00"
    table = pd.concat([table, table.iloc[[20]]], ignore_index=True)
    history = line_up(table, tray=TRAY, settings=SETTINGS)
    assert [str(c) for c in history.complaints] == [
        "readings of T1 line 5, column `area_mm2`: -4.0 is negative; leave it empty where nothing was measured",
        "readings of T1 line 7, column `row`: 9 is above 3; correct it",
        "readings of T1 line 9, column `tray`: no tray here is called `T2`; correct the name",
        "readings of T1 line 18, column `taken_at`: 2026-04-30T08:00:00 is before the tray was sown (2026-05-01); "
        "correct one of them",
        "readings of T1 line 32, column `col`: repeats line 22 (same taken_at, row, col); only that one is used",
    ]
    assert len(history.table) == 30 - 4


def test_bad_notes_are_named_and_the_rest_goes_on():
    events, complaints = _events(
        ("T1", "A1", "2026-04-20", "cut"), ("T9", "A1", "2026-05-20", "cut"), ("T1", "D1", "2026-05-20", "cut"),
        ("T1", "A2", "2026-05-20", "harvest"), ("T1", "A3", "soon", "cut"), ("T1", "A4", "2026-05-20", "cut"),
        ("T1", "A4", "2026-05-20", "cut"),
    )  # fmt: skip
    assert [str(c) for c in complaints] == [
        "events line 2, column `date`: 2026-04-20 is before the tray was sown (2026-05-01); correct one of them",
        "events line 3, column `tray`: no tray is called `T9`; correct the name",
        "events line 4, column `cell`: its tray has no cell D1; write a name like B4, or `whole tray`",
        "events line 5, column `event`: no event is called `harvest`; did you mean `harvested`?",
        "events line 6, column `date`: `soon` is not a date; write it like 2026-05-14 or 14.05.2026",
        "events line 8, column `event`: repeats line 7 (same tray, cell, date, event); only that one is used",
    ]
    assert events[["cell", "event"]].to_numpy().tolist() == [["A4", "cut"]]


def test_no_rows_and_no_day_of_sowing():
    history = line_up(_photo(8).iloc[:0], tray=TRAY, settings=SETTINGS)
    assert len(history.table) == 0
    assert {"plant", "curve", "start_das"} <= set(history.curves().columns)
    assert history.turns.dtypes.astype(str).to_dict() == TURN_DTYPES
    with pytest.raises(UsageError, match="tray T1: growth needs `sown_on`; add it to the tray list"):
        line_up(_photo(8), tray=TRAY.model_copy(update={"sown_on": None}), settings=SETTINGS)
    with pytest.raises(UsageError, match="readings of T1: column `area_mm2` is missing"):
        line_up(_photo(8).rename(columns={"area_mm2": "areamm2"}), tray=TRAY, settings=SETTINGS)


def test_order_of_photos_is_irrelevant_and_input_untouched():
    readings = pd.concat([_photo(8), _photo(10, turned=True), _photo(12)], ignore_index=True)
    before = readings.copy()
    first = line_up(readings, tray=TRAY, settings=SETTINGS)
    again = line_up(readings.iloc[::-1], tray=TRAY, settings=SETTINGS)
    pd.testing.assert_frame_equal(readings, before)
    pd.testing.assert_frame_equal(first.table, again.table)
