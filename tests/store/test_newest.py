"""Newest readings, histories, photos sent and keys, on both databases."""

from __future__ import annotations

from dataclasses import replace

import pytest

from canopy.records import Reading
from canopy.store import people, snaps
from canopy.store.ledger import put_photo
from canopy.store.logbook import Harvest, add_harvest, harvests_of
from canopy.store.newest import (
    cells_in_short,
    history_of,
    latest,
    latest_of,
    newest_reading_of_photo,
    reading_of,
)
from canopy.store.notebook import (
    SeenNote,
    add_note,
    add_recipe,
    cut_cells,
    grams_cut,
    last_notes,
    saved_recipes,
)
from canopy.store.readings import put_reading

from .made_up import ODD_NAME, origin, photo, reading

AT = "2026-05-04T06:00:00+00:00"


def _put(store, tray, taken_at, *, content, made_with="w1"):
    """A reading of a tray at a time; its number."""
    one = reading(tray=tray)
    one = Reading(one.photo, tray, one.cells, one.trays.assign(taken_at=taken_at), one.criteria, one.remarks)
    one.trays["taken_at"] = one.trays["taken_at"].astype(one.cells["tray"].dtype)
    sha256 = f"{content:064x}"
    with store.writing() as connection:
        put_photo(connection, photo(sha256))
        return put_reading(connection, one, origin(sha256, made_with=made_with))


def test_the_newest_photo_counts_and_of_one_photo_the_newest_reading(store):
    first = _put(store, "T1", "2026-05-01T05:00:00", content=1)
    newest = _put(store, "T1", "2026-05-03T05:00:00", content=2)
    _put(store, "T1", "2026-05-02T05:00:00", content=3)  # came in late
    other = _put(store, ODD_NAME, "2026-05-01T05:00:00", content=4)
    unknown = _put(store, "T3", None, content=5)
    with store.reading() as connection:
        assert [(one.tray, one.id) for one in latest(connection)] == sorted(
            [("T1", newest), ("T3", unknown), (ODD_NAME, other)]
        )
        assert latest_of(connection, "T1") == newest
        assert latest_of(connection, "none") is None
    again = _put(store, "T1", "2026-05-03T05:00:00", content=2, made_with="w2")
    with store.reading() as connection:
        assert latest_of(connection, "T1") == again
        assert [one.id for one in latest(connection) if one.tray == "T1"] == [again]
        days = history_of(connection, "T1", most=9)
        assert [one.taken_at[:10] for one in days] == ["2026-05-03", "2026-05-02", "2026-05-01"]
        assert (days[0].id, days[2].id) == (again, first)
        assert len(history_of(connection, "T1", most=2)) == 2
        assert newest_reading_of_photo(connection, f"{2:064x}", "T1") == again
        assert newest_reading_of_photo(connection, f"{2:064x}", "T1", made_with="w1") == newest
        assert newest_reading_of_photo(connection, f"{9:064x}", "T1") is None


def test_a_photo_of_a_known_time_counts_before_one_of_unknown_time(store):
    known = _put(store, "T1", "2026-05-01T05:00:00", content=1)
    _put(store, "T1", None, content=2)
    with store.reading() as connection:
        assert latest_of(connection, "T1") == known
        assert [one.id for one in latest(connection)] == [known]


def test_an_empty_store_has_no_newest(store):
    with store.reading() as connection:
        assert latest(connection) == []
        assert reading_of(connection, 1) is None


def test_one_reading_comes_whole(store):
    number = _put(store, "T1", "2026-05-01T05:00:00", content=1)
    with store.reading() as connection:
        kept = reading_of(connection, number)
        short = cells_in_short(connection, [number])
    assert list(kept.cells["cell"]) == ["A1", "A2"] == [cell.cell for cell in short[number]]
    assert (kept.tray, kept.made_with, len(kept.trays), len(kept.criteria)) == ("T1", "w1", 1, 2)


def test_cut_heads_add_up_and_those_taken_back_count_against(store):
    with store.writing() as connection:
        for cell, day, heads in (("A1", "2026-05-03", 1), ("A2", "2026-05-04", 1), ("A2", "2026-05-04", -1),
                                 ("A3", "2026-05-04", None)):  # fmt: skip
            add_harvest(connection, Harvest(AT, "ana", "T1", cell, day, heads))
        add_harvest(connection, Harvest(AT, "ana", "T1", "", "2026-05-04", None, 200.5))
        add_harvest(connection, Harvest(AT, "bo", "T1", "", "2026-05-04", None, 100.0))
        assert cut_cells(connection, "T1", since="2026-05-04") == {"A2": 0, "A3": 1}
        assert cut_cells(connection, "T1", since="")["A1"] == 1
        assert grams_cut(connection, on="2026-05-04") == {"T1": 300.5}
        assert [one.weight_g for one in harvests_of(connection, "T1", most=2)] == [100.0, 200.5]


def test_notes_and_recipes_count_in_their_last_version(store):
    with store.writing() as connection:
        for note in ("one", "two"):
            add_note(connection, SeenNote(AT, "bo", "T1", "", note))
            add_recipe(connection, {"crop": "basil", "stage": "finish", "x": note}, at=AT, by="cleo", note="")
        assert last_notes(connection, ["T1", "T2"])["T1"].note == "two"
        assert last_notes(connection, []) == {}
        number, fields = saved_recipes(connection)["basil", "finish"]
    assert (number, fields["x"]) == (2, "two")


def test_a_key_is_taken_once_and_what_came_with_it_stays(store):
    with store.writing() as connection:
        assert snaps.first_time(connection, "k1", at=AT, by="ana", what="tick")
        assert not snaps.first_time(connection, "k1", at=AT, by="bo", what="tick")
        assert snaps.first_time(connection, "k2", at=AT, by="ana", what="tick")
    with store.writing() as connection:
        assert not snaps.first_time(connection, "k2", at=AT, by="ana", what="tick")


def test_photos_sent_are_in_line_until_they_are_measured(store):
    one = snaps.Snap("key-1", "ab" * 32, "jpeg", "ana", AT)
    with store.writing() as connection:
        assert snaps.add_snap(connection, one)
        assert not snaps.add_snap(connection, replace(one, by="bo"))
        assert snaps.add_snap(connection, replace(one, key="key-2", by="bo", sent_at="2026-05-04T05:00:00+00:00"))
        assert snaps.waiting(connection) == ["key-2", "key-1"]
        snaps.change_snap(connection, replace(one, state=snaps.READ, tray="T1"))
        assert snaps.waiting(connection) == ["key-2"]
        assert snaps.snap_of(connection, "key-1").tray == "T1"
        assert snaps.snap_of(connection, "none") is None
        assert [snap.key for snap in snaps.recent(connection, most=9)] == ["key-1", "key-2"]


def test_a_person_given_a_new_secret_is_signed_out_everywhere(store):
    ana = people.Person("ana", "crew", "hash", AT)
    with store.writing() as connection:
        people.put_person(connection, ana)
        people.begin_session(connection, "s1", "ana", made_at=AT, ends_at="2026-05-05T00:00:00+00:00")
        assert people.person_of_session(connection, "s1", now=AT) == ana
        people.put_person(connection, replace(ana, secret="other"))
        assert people.person_of_session(connection, "s1", now=AT) is None


@pytest.mark.parametrize(("now", "there"), [("2026-05-04T23:59:59+00:00", True), ("2026-05-05T00:00:01+00:00", False)])
def test_sessions_end(store, now, there):
    with store.writing() as connection:
        people.put_person(connection, people.Person("ana", "crew", "hash", AT))
        people.begin_session(connection, "s1", "ana", made_at=AT, ends_at="2026-05-05T00:00:00+00:00")
        assert (people.person_of_session(connection, "s1", now=now) is not None) == there
        people.begin_session(connection, "s2", "ana", made_at=now, ends_at="2026-06-01T00:00:00+00:00")
        assert (people.person_of_session(connection, "s1", now=AT) is not None) == there  # cleared away when over
        people.end_session(connection, "s2")
        assert people.person_of_session(connection, "s2", now=AT) is None


def test_an_earlier_token_of_a_name_is_no_longer_good(store):
    with store.writing() as connection:
        people.put_token(connection, people.Token("h1", "erp", "read", AT))
        people.put_token(connection, people.Token("h2", "erp", "read harvest", AT))
        people.put_token(connection, people.Token("h3", "other", "read", AT))
        good = [people.token_of(connection, name) is not None for name in ("h1", "h2", "h3", "h4")]
    assert good == [False, True, True, False]
