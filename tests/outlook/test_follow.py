"""Which plants stand in a tray, what they weigh, and what is said of those left out."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from canopy.errors import UsageError
from canopy.outlook.farm import read_farm
from canopy.outlook.follow import followed_trays
from canopy.store.database import opened
from canopy.store.logbook import Harvest, add_harvest
from canopy.tray.layouts import named_layouts

from .drawn_farm import TODAY, TRAYS, areas, make_farm


def _followed(folder, tray=None, today=TODAY):
    farm = read_farm(folder)
    return farm, *followed_trays(farm, tray=tray, today=today)


def test_curves_follow_the_truth(made_farm):
    _, followed, weights, complaints, said = _followed(made_farm)
    assert [one.lined.name for one in followed] == ["T1", "T2"]
    assert (complaints, said) == ((), ())
    assert weights["butterhead", "finish"].calibrated is False
    for number, one in enumerate(followed, start=1):
        off = np.log(one.curves.table["area_mm2"] / areas(number, 31 + 1 / 3).ravel())
        # Six readings with 3 % noise each, leaning on each other along the curve.
        assert np.abs(off).median() < 0.03
        assert one.now["cell"].tolist() == list(one.curves.plants)


def test_a_day_in_the_past_knows_nothing_of_later_photos(made_farm):
    _, followed, *_ = _followed(made_farm, today=date(2026, 5, 24))
    assert followed[0].readings["das"].max() == pytest.approx(22 + 1 / 3)


def test_plants_that_were_cut_or_moved_are_no_longer_there(farm):
    (farm / "events.csv").write_text(
        "tray;cell;date;event\nT1;A1;01.06.2026;harvested\nT1;A2;2026-06-01;cut\nT1;A3;2026-05-31;harvested\n"
        "T2;;2026-05-20;harvested\nT9;A1;2026-06-01;cut\n"
    )
    with opened(str(farm / "canopy.db"), busy_timeout_s=5) as store, store.writing() as connection:
        add_harvest(connection, Harvest("2026-06-01T10:00:00", "me", "T1", "B1", "2026-06-01", 1, 60.0))
        add_harvest(connection, Harvest("2026-06-01T10:00:00", "me", "OLD", "", "2026-06-01"))
    _, followed, _, complaints, _ = _followed(farm)
    # A1 and B1 were cut after the photo of that day. The photo of 1 June shows what is taken for the successor in A3,
    # and in T2. A cut on the day of the photo is taken to be after it as long as the photo shows no loss.
    cells = {one.lined.name: set(one.now["cell"]) for one in followed}
    assert {"A1", "B1"} & cells["T1"] == set()
    assert {"A3", "A4"} <= cells["T1"]
    assert len(cells["T2"]) == 24
    assert [str(c) for c in complaints] == [
        "events line 6, column `tray`: no tray is called `T9`; correct the name",
        "harvests of the store line 2, column `tray`: no tray is called `OLD`; correct the name",
    ]


def test_weigh_ins_of_a_farm_give_weights(farm):
    area = areas(1, 31 + 1 / 3).ravel()
    lines = [f"T1;{cell};2026-06-01;{0.002 * a:.2f}".replace(".", ",") for cell, a in
             zip([f"{r}{c}" for r in "ABCD" for c in range(1, 7)], area, strict=True)]  # fmt: skip
    (farm / "weigh_ins.csv").write_text("tray;cell;date;grams\n" + "\n".join([*lines, "T1;B9;2026-06-01;60"]) + "\n")
    _, _, weights, complaints, _ = _followed(farm)
    model = weights["butterhead", "finish"]
    assert model.calibrated
    # 0.2 g per cm² of true area, the photo of that day with 3 % noise: 24 plants, half of them fitted.
    assert np.exp(model.ln_a) * 30_000**model.exponent == pytest.approx(60, rel=0.05)
    assert [str(c) for c in complaints] == [
        "weigh-ins line 26, column `cell`: its tray has no cell B9; write a name like B4, or `whole tray`"
    ]


def test_trays_that_cannot_be_followed_are_said(tmp_path):
    lines = TRAYS.replace("T1,4x6,200,1250x850,butterhead,finish,2026-05-01", "T1,4x6,200,1250x850,,,2026-05-01")
    folder = make_farm(tmp_path / "p", trays=lines.replace("T2,", "T3,"))
    farm = read_farm(folder)
    assert farm.said == (
        "T1: cannot be followed without `crop`; add it to the tray list",
        "T2: has readings but is not in the tray list; add a line for it",
    )
    with pytest.raises(UsageError, match="T1: cannot be followed without `crop`"):
        farm.only("T1")
    with pytest.raises(UsageError, match="T8: no tray of this id has readings"):
        farm.only("T8")


def test_an_empty_tray_is_said(farm):
    (farm / "events.csv").write_text("tray,cell,date,event\nT1,,2026-06-02,harvested\n")
    _, followed, _, _, said = _followed(farm, today=date(2026, 6, 3))
    assert [one.lined.name for one in followed] == ["T2"]
    assert "T1: no plant stands in it by its last photo and the events noted since" in said


def test_growth_may_run_by_temperatures(farm):
    lines = [f"2026-05-{d:02},18,24" for d in range(1, 32)]
    (farm / "temperatures.csv").write_text("date,low_c,high_c\n" + "\n".join(lines) + "\n")
    _, followed, *_ = _followed(farm)
    assert followed[0].clock.kind == "degree days"


def test_a_layout_left_to_choose_is_known_by_its_cells(tmp_path):
    text = TRAYS.replace("4x6,200,1250x850", "auto,,").replace("T2,", "T9,")
    farm = read_farm(make_farm(tmp_path / "p", trays=text))
    fitting = [layout for layout in named_layouts().values() if (layout.rows, layout.columns) == (4, 6)]
    assert len(fitting) == 1
    assert farm.trays["T1"].record.layout == fitting[0]
