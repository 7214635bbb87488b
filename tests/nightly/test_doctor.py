"""What keeps passes from going well is found and said."""

from __future__ import annotations

import json
import re
from datetime import datetime
from pathlib import Path

import pytest

from canopy.cli.app import main
from canopy.nightly.doctor import examine
from canopy.nightly.farm import find_farm
from canopy.store.database import opened
from canopy.store.outbox import UNSURE, Message, put_message, put_state

HOUR_S = 3600


def _found(share, what=None):
    found = examine(find_farm(share.folder, store=share.store), now_ns=round(share.now_s * 1e9))
    return [(one.level, one.said) for one in found if what in (None, one.what)]


@pytest.fixture
def farm(share):
    """A farm in good order, with the clock of this machine."""
    share.now_s = datetime.now().timestamp()
    share.put("rack1/R1_a.jpg", b"1")
    share.one_pass()
    return share


def test_a_farm_in_good_order(farm):
    found = examine(find_farm(farm.folder, store=farm.store), now_ns=round(farm.now_s * 1e9))
    assert {one.level for one in found} == {"good"}
    assert [one.what for one in found] == [
        "tray list", "photos", "store", "disk", "clock", "fonts", "messages", "cameras",
    ]  # fmt: skip


def test_a_farm_without_a_store_yet(share):
    levels = [level for level, _ in _found(share, "store")]
    assert levels == ["look"]
    assert list(Path(share.store).parent.iterdir()) == []


def test_one_broken_thing_keeps_nothing_else_from_being_looked_at(farm):
    (farm.folder / "trays.csv").unlink()
    found = examine(find_farm(farm.folder, store=farm.store), now_ns=round(farm.now_s * 1e9))
    assert [one.what for one in found if one.level == "bad"] == ["tray list", "cameras"]
    assert "no such tray list" in found[0].said


@pytest.mark.parametrize(
    ("line", "said"), [("R1_*,R1,0x0,,\n", "line 2"), ("", "has no line yet; write one for each tray")]
)
def test_a_tray_list_that_is_not_right(farm, line, said):
    (farm.folder / "trays.csv").write_text("photo,tray,layout,pitch_mm,outline_mm\n" + line)
    level, got = _found(farm, "tray list")[0]
    assert level == "look"
    assert said in got


def test_photos_that_cannot_be_read(farm):
    (farm.folder / "R1_b.jpg").symlink_to("nowhere")
    assert _found(farm, "photos") == [("look", "/R1_b.jpg: the link leads nowhere")]


def test_rights_are_asked_for_each_photo(farm, monkeypatch):
    # Root may read everything, so that the question itself is answered here.
    monkeypatch.setattr("canopy.nightly.doctor.os.access", lambda path, _: not str(path).endswith(".jpg"))
    assert _found(farm, "photos") == [
        ("look", f"{farm.folder / 'rack1' / 'R1_a.jpg'}: may not be read, of 1 here; change the rights")
    ]


def test_a_damaged_store(farm):
    with Path(farm.store).open("r+b") as file:
        file.seek(0, 2)
        middle = file.tell() // 2
        file.seek(middle - 2048)
        file.write(b"\xff" * 8192)
    level, said = _found(farm, "store")[0]
    assert level == "bad"
    assert "put back a backup" in said


def test_a_store_on_a_network_share(farm, monkeypatch):
    monkeypatch.setattr("canopy.nightly.doctor._mount_kind", lambda _: "nfs4")
    assert _found(farm, "store")[0][0] == "bad"
    assert "lies on a network share (nfs4); move it to a disk of this machine" in _found(farm, "store")[0][1]


def test_a_full_disk(farm):
    (farm.folder / "canopy.toml").write_text("[nightly]\ndisk_free_mb = 1e9\n")
    level, said = _found(farm, "disk")[0]
    assert (level, "make room" in said) == ("look", True)


def test_clocks_that_do_not_agree(farm):
    farm.now_s -= 7200
    assert [level for level, _ in _found(farm, "clock")] == ["look", "look"]
    # The disk's clock goes on while the test runs, up to the minute from which clocks count as apart.
    assert re.search(r"its clock is \+72[0-5]\d s off this machine's", _found(farm, "clock")[0][1])


def test_a_photo_from_the_future(farm):
    farm.put("rack1/R1_b.jpg", b"2", age_s=-86400)
    for _ in range(2):
        farm.one_pass()
    assert "later than now; check this clock and the cameras'" in _found(farm, "clock")[0][1]


def test_letters_that_cannot_be_drawn(farm, monkeypatch):
    def absent(_):
        raise ImportError("no FreeType")

    monkeypatch.setattr("canopy.outputs.marks.font", absent)
    assert _found(farm, "fonts") == [("look", "pictures cannot be lettered (no FreeType); install Pillow as its wheel")]


def test_messages(farm):
    (farm.folder / "canopy.toml").write_text('[nightly.messages]\nto = "to.txt"\n')
    assert "no such file" in _found(farm, "messages")[0][1]
    (farm.folder / "to.txt").write_text("json://growers.example\n")
    (farm.folder / "to.txt").chmod(0o644)
    assert [level for level, _ in _found(farm, "messages")] == ["look", "good"]
    (farm.folder / "to.txt").chmod(0o600)
    with opened(farm.store, busy_timeout_s=5) as store, store.writing() as connection:
        from canopy.nightly.tell import checksum

        put_message(
            connection, Message("2026-03-20T05:00:00+00:00", 0, 0, "t", "b"), [checksum("json://growers.example")]
        )
        put_state(connection, 1, UNSURE, tries=1, tried_at=None)
    assert _found(farm, "messages") == [("look", "1 not sent or not surely, the last of 2026-03-20T05:00:00+00:00")]


def test_files_that_passes_write(farm):
    (farm.folder / "canopy.toml").write_text('[nightly]\nlog = "no/such/l.log"\nmetrics = "m.prom"\n')
    assert [level for level, _ in _found(farm, "files")] == ["good", "look"]


def _photos_every(share, pattern, *, hours, until):
    """Photos at these hours of the last five days, none later than `until` hours before now."""
    for day in range(5):
        for hour in hours:
            age_h = day * 24 + hour
            if age_h >= until:
                share.put(pattern.format(f"{day}_{hour}"), f"{pattern}{day}{hour}".encode(), age_s=age_h * HOUR_S)


def test_a_camera_that_has_fallen_silent(share):
    share.now_s = datetime(2026, 3, 20, 23, 0).timestamp()
    _photos_every(share, "rack2/R2_{}.jpg", hours=range(1, 13), until=0)
    _photos_every(share, "rack3/R1_{}.jpg", hours=range(1, 13), until=5)
    share.one_pass()
    assert _found(share, "cameras") == [("look", "no photo from rack3 since 18:00, usually every 1 h")]


def test_lamps_that_are_off_by_night_are_no_silence_and_one_outage_is_no_habit(share):
    share.now_s = datetime(2026, 3, 20, 6, 0).timestamp()
    _photos_every(share, "rack2/R2_{}.jpg", hours=range(11, 24), until=0)  # every night 11 hours without
    _photos_every(share, "rack3/R1_{}.jpg", hours=range(11, 24), until=48)
    share.one_pass()
    assert [said for _, said in _found(share, "cameras")] == [
        "no photo from rack3 since 2026-03-17 19:00, usually every 1 h"
    ]


def test_cameras_of_one_folder_are_told_by_their_trays(share):
    share.now_s = datetime(2026, 3, 20, 23, 0).timestamp()
    _photos_every(share, "R2_{}.jpg", hours=range(1, 13), until=0)
    _photos_every(share, "R1_{}.jpg", hours=range(1, 13), until=6)
    share.one_pass()
    assert [said for _, said in _found(share, "cameras")] == ["no photo from R1 since 17:00, usually every 1 h"]


def test_as_it_is_typed(farm, capsys):
    command = ["doctor", str(farm.folder), "--store", farm.store]
    for more, code in (([], 0), (["--json"], 0)):
        with pytest.raises(SystemExit) as stopped:
            main([*command, *more])
        assert (stopped.value.code or 0) == code
    words, data = capsys.readouterr().out.split("\n{")
    assert words.startswith("good  tray list: 2 lines\n")
    assert json.loads("{" + data)["exit_code"] == 0
    (farm.folder / "trays.csv").unlink()
    with pytest.raises(SystemExit) as stopped:
        main(command)
    assert stopped.value.code == 2
    assert capsys.readouterr().out.startswith("BAD   tray list: ")
