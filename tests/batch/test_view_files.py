"""Files of saved views: written and read back the same, and every way they can be wrong named."""

from __future__ import annotations

import json

import pytest

from canopy.batch.folder import find_photos
from canopy.batch.trays_csv import read_trays
from canopy.batch.view_files import read_view, views_below, write_view
from canopy.errors import UsageError
from canopy.readiness import known_recipes
from canopy.records import SavedView
from canopy.tray import layout_from

VIEW = SavedView(
    name="rack-1",
    width_px=4000,
    height_px=3000,
    corners_px=((100.25, 90), (3900, 95), (3890, 2010.5), (110, 2000)),
    k1=-0.0125,
    layout=layout_from("72"),
    saved_from="day 0.jpg",
    located_by="markers",
    picture=b"a picture's bytes",
)


def test_a_view_is_read_as_it_was_written(tmp_path):
    path = write_view(tmp_path / "views", VIEW)
    assert path == tmp_path / "views" / "rack-1.json"
    assert read_view(tmp_path / "views", "rack-1") == VIEW
    assert views_below(tmp_path)("rack-1") == VIEW
    data = json.loads(path.read_text())
    # What people read and other tools may rely on.
    assert data["format"] == 1
    assert data["corners_px"] == [[100.25, 90], [3900, 95], [3890, 2010.5], [110, 2000]]
    assert (data["layout"]["name"], data["layout"]["rows"]) == ("72", 6)
    assert sorted(file.name for file in path.parent.iterdir()) == ["rack-1.jpg", "rack-1.json"]


def test_nothing_is_written_over_unasked(tmp_path):
    write_view(tmp_path, VIEW)
    with pytest.raises(UsageError, match=r"rack-1\.json: is there already; choose another name, or say --replace"):
        write_view(tmp_path, VIEW)
    write_view(tmp_path, VIEW.model_copy(update={"k1": 0.0}), replace=True)
    assert read_view(tmp_path, "rack-1").k1 == 0


def test_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "views").write_text("a file")
    with pytest.raises(UsageError, match=r"rack-1\.json: cannot be written \("):
        write_view(tmp_path / "views", VIEW)


@pytest.mark.parametrize("name", ["rack-2", "../views/rack-1", "rack 1"])
def test_an_unknown_view_names_the_nearest(tmp_path, name):
    write_view(tmp_path, VIEW)
    with pytest.raises(
        UsageError, match=rf"view `{name}`: views/ holds none of that name.*save it with `canopy view save`"
    ):
        read_view(tmp_path, name)
    if name == "rack-2":
        with pytest.raises(UsageError, match="did you mean `rack-1`"):
            read_view(tmp_path, name)


@pytest.mark.parametrize(
    ("spoil", "wrong"),
    [
        (lambda path: path.with_suffix(".jpg").unlink(), "No such file"),
        (lambda path: path.with_suffix(".jpg").write_bytes(b"another"), "its picture is another one than was saved"),
        (lambda path: path.write_text("{"), "Expecting property name"),
        (lambda path: path.write_text("[]"), "is no saved view of format 1"),
        (lambda path: path.write_text(path.read_text().replace('"format": 1', '"format": 9')), "of format 1"),
        (
            lambda path: path.write_text(path.read_text().replace('"width_px": 4000', '"width_px": 0')),
            "width_px: Input",
        ),
        (lambda path: path.write_bytes(b"\xff\xfe"), "codec can't decode"),
    ],
)
def test_files_that_cannot_be_used(tmp_path, spoil, wrong):
    spoil(write_view(tmp_path, VIEW))
    with pytest.raises(
        UsageError, match=rf"view `rack-1`: views/rack-1\.json cannot be used \(.*{wrong}.*\); save it anew"
    ):
        read_view(tmp_path, "rack-1")


def test_the_tray_list_names_views(tmp_path):
    write_view(tmp_path / "views", VIEW)
    (tmp_path / "trays.csv").write_text(
        "photo,tray,layout,view,corners\na.jpg,R1,72,rack-1,\nb.jpg,R2,72,rack-9,\nc.jpg,R3,72,rack-1,1 2 3 4 5 6 7 8\n"
    )
    good, unknown, double = read_trays(tmp_path / "trays.csv", recipes=known_recipes()).lines
    assert good.record is not None
    assert good.record.view == VIEW
    assert unknown.problem.startswith("trays.csv, line 3, column `view`: `rack-9`: views/ holds none of that name")
    assert double.problem == "trays.csv, line 4, column `view`: `rack-1` stands beside `corners`; keep one of them"


def test_pictures_of_views_are_no_photos(tmp_path):
    write_view(tmp_path / "views", VIEW)
    (tmp_path / "a.jpg").write_bytes(b"")
    assert [source.name for source in find_photos([tmp_path])[0]] == ["a.jpg"]
