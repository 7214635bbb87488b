"""Which photos are found, in which order, and under which names."""

from __future__ import annotations

import pytest

from canopy.batch.folder import find_photos, output_stems
from canopy.errors import UsageError


def _make(folder, *names):
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"")


def test_photos_of_a_folder_and_below_sorted_by_path(tmp_path):
    _make(tmp_path, "b.JPG", "a.png", "night/c.heic", "trays.csv", "notes.txt", ".hidden.jpg", ".git/d.jpg")
    sources, empty = find_photos([tmp_path])
    assert [source.name for source in sources] == ["a.png", "b.JPG", "night/c.heic"]
    assert empty == []
    assert all(source.root == tmp_path and source.from_folder for source in sources)


def test_a_single_photo_is_named_by_its_file_name(tmp_path):
    _make(tmp_path, "rack/a.jpg")
    (source,), _ = find_photos([tmp_path / "rack" / "a.jpg"])
    assert (source.name, source.root, source.from_folder) == ("a.jpg", tmp_path / "rack", False)


def test_a_photo_given_twice_is_listed_once(tmp_path):
    _make(tmp_path, "a.jpg")
    sources, _ = find_photos([tmp_path / "a.jpg", tmp_path])
    assert len(sources) == 1


def test_results_are_not_taken_for_photos(tmp_path):
    _make(tmp_path, "a.jpg", "out/overlays/a.jpg", "old/run.json", "old/cells.csv", "old/overlays/a.jpg")
    sources, _ = find_photos([tmp_path], out=tmp_path / "out")
    assert [source.name for source in sources] == ["a.jpg"]


def test_masks_and_overlays_kept_beside_photos_are_not_taken_for_photos(tmp_path):
    _make(tmp_path, "bench/images/a.jpg", "bench/masks/a.png", "bench/overlays/a.jpg", "my_masks/b.jpg")
    sources, _ = find_photos([tmp_path])
    assert [source.name for source in sources] == ["bench/images/a.jpg", "my_masks/b.jpg"]


def test_a_folder_of_masks_given_by_name_is_searched(tmp_path):
    _make(tmp_path, "masks/a.png")
    sources, _ = find_photos([tmp_path / "masks"])
    assert [source.name for source in sources] == ["a.png"]


def test_a_folder_without_photos_is_told_apart_from_one_that_is_absent(tmp_path):
    assert find_photos([tmp_path]) == ([], [tmp_path])
    with pytest.raises(UsageError, match=r"nowhere: no such photo or folder; check the path"):
        find_photos([tmp_path / "nowhere"])


def test_equal_names_in_two_given_folders_get_the_folder_in_front(tmp_path):
    _make(tmp_path, "mon/a.jpg", "tue/a.jpg")
    sources, _ = find_photos([tmp_path / "mon", tmp_path / "tue"])
    assert [source.name for source in sources] == ["mon/a.jpg", "tue/a.jpg"]


def test_equal_names_in_two_folders_of_one_name_are_refused(tmp_path):
    _make(tmp_path, "x/night/a.jpg", "y/night/a.jpg")
    with pytest.raises(UsageError, match=r"night/a\.jpg: two given folders of one name hold it"):
        find_photos([tmp_path / "x" / "night", tmp_path / "y" / "night"])


def test_a_stem_is_the_plain_name_where_that_is_alone():
    assert output_stems(["a.jpg", "b.b.png"]) == {"a.jpg": "a", "b.b.png": "b.b"}


def test_stems_never_collide():
    names = ["a.jpg", "a.png", "A.webp", "b.jpg", "n/b.jpg", "n-b.jpg", "n/c.jpg"]
    stems = output_stems(names)
    assert len({stem.casefold() for stem in stems.values()}) == len(names)
    assert stems["n-b.jpg"] == "n-b"
    assert all("/" not in stem for stem in stems.values())


def test_a_stem_does_not_hang_on_the_order():
    names = ["a.jpg", "n/a.jpg", "a.png"]
    assert output_stems(names) == output_stems(names[::-1])
