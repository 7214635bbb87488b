"""Pick lists and ticks: each cut counts once, whoever sends it and however often."""

from __future__ import annotations

import pytest

from canopy.store.logbook import harvests
from canopy.store.notebook import cut_cells
from canopy.web.cutting import todays_list
from canopy.web.farm import rack_of, walking_order

JSON = {"accept": "application/json"}


def _tick(client, cell, key, *, done="yes", tray="R1-05", **fields):
    return client.fill("/today/cut", tray=tray, tick=f"{cell} {done}", key=key, headers=JSON, **fields)


def _heads(site, cell, tray="R1-05"):
    with site.store.reading() as connection:
        return cut_cells(connection, tray, since="2026-05-04").get(cell, 0)


def test_the_list_holds_what_the_newest_photos_say(site, crew):
    listed = todays_list(site).trays
    assert [one.tray for one in listed] == sorted((one.tray for one in listed), key=walking_order)
    one = next(one for one in listed if one.tray == "R1-05")
    with site.store.reading() as connection:
        rows = connection.exec_driver_sql(
            f"SELECT cell FROM cells WHERE reading_id = {one.reading} AND decision = 'transplant' ORDER BY position"
        )
        assert [cell.cell for _, cells in one.rows for cell in cells] == [row[0] for row in rows]
    html = crew.get("/today").text
    assert html.index("t-R1-01") < html.index("t-R1-05")
    assert html.count('name="tick"') == sum(one.count for one in listed)


def test_a_tick_sent_twice_counts_once(crew, site):
    assert _tick(crew, "A6", "tick-key-a6").json()["new"] is True
    assert _tick(crew, "A6", "tick-key-a6").json()["new"] is False  # replayed
    assert _tick(crew, "A6", "tick-key-a6-other").json()["new"] is False  # another phone, the same plant
    assert _heads(site, "A6") == 1


def test_a_tick_that_comes_late_keeps_its_day(crew, site):
    assert _tick(crew, "A8", "tick-key-a8", on="2026-05-05").json()["new"] is True
    with site.store.reading() as connection:
        table = harvests(connection)
    row = table[table["cell"] == "A8"].iloc[0]
    assert (row["harvested_on"], row["by"], row["heads"]) == ("2026-05-05", "ana", 1)
    assert _tick(crew, "A8", "tick-key-a8-2").json()["new"] is False  # a day later it is the same plant still


def test_a_tick_is_taken_back_by_a_record_of_its_own(crew, site):
    _tick(crew, "B8", "tick-key-b8")
    assert _tick(crew, "B8", "tick-key-b8-back", done="no").json()["new"] is True
    assert _heads(site, "B8") == 0
    assert _tick(crew, "B8", "tick-key-b8", done="yes").json()["new"] is False  # the first one, replayed late
    assert _heads(site, "B8") == 0
    with site.store.reading() as connection:
        table = harvests(connection)
    assert list(table[table["cell"] == "B8"]["heads"]) == [1, -1]


def test_without_a_script_the_form_leads_back_to_the_tray(crew, site):
    cell = next(one for one in todays_list(site).trays if one.tray == "R1-05").rows[-1][1][-1].cell
    answer = crew.fill("/today/cut", tray="R1-05", tick=f"{cell} yes", key="tick-key-last", rack="R1", part="1")
    assert answer.headers["location"] == "/today?rack=R1&part=1#t-R1-05"
    html = crew.get("/today?rack=R1").text
    assert f'aria-pressed="true">{cell}<' in html


def test_grams_are_written_down_once(crew, site):
    for _ in range(2):
        crew.fill("/today/grams", tray="R1-05", grams="412,5", key="gram-key-1")
    assert next(one for one in todays_list(site).trays if one.tray == "R1-05").grams == 412.5


@pytest.mark.parametrize(
    ("fields", "said"),
    [({"tick": "Z9 yes"}, "no photo of this tray"), ({"tray": "R9-99"}, "no photo of this tray"),
     ({"key": "short"}, "key: "), ({"on": "2026-04-01"}, "on: lies more than"), ({"on": "tomorrow"}, "on: write")],
)  # fmt: skip
def test_ticks_that_make_no_sense_are_refused(crew, fields, said):
    answer = crew.fill("/today/cut", headers=JSON,
                       **{"tray": "R1-05", "tick": "A6 yes", "key": "tick-key-00", **fields})  # fmt: skip
    assert answer.status_code == 422
    assert said in answer.json()["detail"]


@pytest.mark.parametrize("grams", ["", "-1", "0", "1e9", "nan", "inf", "much"])
def test_grams_that_make_no_sense_are_refused(crew, grams):
    assert crew.fill("/today/grams", tray="R1-05", grams=grams, key="gram-key-9").status_code == 422


def test_old_photos_give_no_list(site, monkeypatch):
    from datetime import timedelta

    from .farm import NOW

    monkeypatch.setattr(site, "clock", lambda: NOW + timedelta(days=20))
    assert todays_list(site).trays == []


def test_walking_order_counts_as_people_do():
    # By hand: racks by number, then places by number.
    trays = ["R10-1", "R2-10", "R2-9", "A1", "r2-1", "R2"]
    assert sorted(trays, key=walking_order) == ["A1", "R2", "r2-1", "R2-9", "R2-10", "R10-1"]


@pytest.mark.parametrize(("tray", "rack"), [("R1-05", "R1"), ("B_2_7", "B"), ("17", "17"), ("North 3", "North")])
def test_rack_is_the_id_up_to_its_first_sign(tray, rack):
    assert rack_of(tray) == rack


def test_a_long_list_comes_in_parts(site, crew, monkeypatch):
    small = site.settings.model_copy(update={"today_page": 1})
    monkeypatch.setattr(type(site), "settings", property(lambda self: small))
    first = todays_list(site)
    assert (first.part, len(first.trays)) == (1, 1)
    assert first.parts == len({one.tray for part in range(1, 9) for one in todays_list(site, part=part).trays})
    assert "/today?rack=&amp;part=2" in crew.get("/today").text
    assert crew.get("/today?part=x").status_code == 200
