"""Photos, files and folders: written over, found again, forgotten."""

from __future__ import annotations

from dataclasses import replace

from canopy.store import ledger
from canopy.store.ledger import SET_ASIDE, File

from .made_up import ODD_NAME, photo


def test_photos_are_written_over(store):
    aside = photo(state=SET_ASIDE, reason="blurred", message="a.jpg: blurred", tried_with="w0")
    with store.writing() as connection:
        assert ledger.photo_of(connection, aside.sha256) is None
        ledger.put_photo(connection, aside)
        assert ledger.photo_of(connection, aside.sha256) == aside
        ledger.put_photo(connection, photo())
        assert ledger.photos(connection) == [photo()]
        assert ledger.photos(connection, state=SET_ASIDE) == []


def test_files_come_with_the_state_of_their_photo(store):
    read, new = File("r", "a.jpg", 1, 2, photo().sha256, "w1"), File("r", ODD_NAME, 3, 4)
    other = File("", "a.jpg", 5, 6)
    with store.writing() as connection:
        ledger.put_photo(connection, photo())
        ledger.put_files(connection, [read, new, other])
        assert dict(ledger.files_in(connection, "r")) == {read: "read", new: None}
        changed = replace(read, size=9)
        ledger.put_files(connection, [changed])
        assert {file for file, _ in ledger.files_in(connection, "r")} == {changed, new}
        ledger.forget_files(connection, [("r", ODD_NAME)])
        assert ledger.all_files(connection) == [other, changed]
        assert ledger.photo_of(connection, photo().sha256) == photo()


def test_folders_are_forgotten_with_their_files(store):
    with store.writing() as connection:
        ledger.put_files(connection, [File("r", "a.jpg", 1, 2)])
        ledger.put_folder(connection, "r", listing="x")
        ledger.put_folder(connection, "r", listing="y", waits_on="w")
        assert ledger.folder_states(connection) == {"r": ("y", "w")}
        ledger.forget_folders(connection, ["r"])
        assert ledger.folder_states(connection) == {}
        assert ledger.all_files(connection) == []


def test_which_folders_wait_for_something_to_change(store):
    with store.writing() as connection:
        for number, state in enumerate((ledger.READ, ledger.PARTLY, SET_ASIDE)):
            ledger.put_photo(connection, photo(str(number) * 64, state=state))
            ledger.put_files(connection, [File(state, "a.jpg", 1, 2, str(number) * 64), File(state, "new.jpg", 1, 2)])
        assert [ledger.any_set_aside(connection, state) for state in ("read", "partly", "set_aside", "absent")] == [
            False, True, True, False
        ]  # fmt: skip


def test_what_was_tried_is_known_by_photo_and_by_each_of_its_files(store):
    sha256 = photo().sha256
    with store.writing() as connection:
        ledger.put_photo(connection, photo(tried_with="w1"))
        ledger.put_files(connection, [File("", "b.jpg", 1, 2, sha256, "w2")])
        tried = [ledger.was_tried(connection, sha256, with_) for with_ in ("w1", "w2", "w3")]
        assert tried == [True, True, False]
        assert not ledger.was_tried(connection, "00" * 32, "w1")


def test_paths():
    assert (File("", "a.jpg", 1, 2).path, File("r/s", "a.jpg", 1, 2).path) == ("a.jpg", "r/s/a.jpg")
