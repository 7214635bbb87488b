"""`canopy view save` and `canopy view check`, and a night that relies on a saved view."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import cv2
import numpy as np
import pandas as pd
import pytest

from canopy.synthetic.simulate import simulate

from .typed import run

TAKEN = datetime(2026, 5, 4, 6, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """One drawn photo with markers, the same shifted by 12 px, one shifted by 200, one that shows nothing."""
    folder = tmp_path_factory.mktemp("farm")
    (photo,) = simulate(folder, ["plain"], count=1, seed=41, width_px=1200, height_px=900, first_taken_at=TAKEN)
    bgr = cv2.imread(str(photo))
    for name, shift in (("near", 12), ("far", 200)):
        moved = cv2.warpAffine(bgr, np.float32([[1, 0, shift], [0, 1, 0]]), (1200, 900), borderMode=cv2.BORDER_REFLECT)
        cv2.imwrite(str(folder / f"{name}.jpg"), moved)
    cv2.imwrite(str(folder / "bare.jpg"), np.full((900, 1200, 3), 120, np.uint8))
    listed = pd.read_csv(folder / "trays.csv", dtype=str).fillna("").assign(photo=photo.name)
    bare = listed.assign(photo="bare.jpg", tray="none", markers="no")
    pd.concat([listed, bare]).to_csv(folder / "trays.csv", index=False)
    return folder, photo


def test_a_view_is_saved_and_checked(capsys, farm):
    folder, photo = farm
    code, out, err = run(capsys, "view", "save", "rack-1", "--photo", photo)
    assert (code, err) == (0, "")
    assert "located by markers" in out
    assert json.loads((folder / "views" / "rack-1.json").read_text())["located_by"] == "markers"
    code, out, _ = run(capsys, "view", "check", "rack-1", folder / "near.jpg")
    assert code == 0
    assert out.startswith("near.jpg: saved view rack-1, followed 1")  # 12 px, to about 1 px
    code, out, _ = run(capsys, "view", "check", "rack-1", folder / "far.jpg", "--json")
    assert code == 1
    told = json.loads(out)
    assert (told["photo"], told["holds"]) == ("far.jpg", False)
    assert "saved view rack-1 does not hold" in told["message"]
    code, out, err = run(capsys, "view", "save", "rack-1", "--photo", photo)
    assert code == 2
    assert "is there already; choose another name, or say --replace" in err
    code, out, _ = run(capsys, "view", "save", "rack-1", "--photo", photo, "--replace", "--json")
    assert code == 0
    assert len(json.loads(out)["corners_px"]) == 4


def test_what_cannot_be_saved(capsys, farm):
    folder, photo = farm
    code, _, err = run(capsys, "view", "save", "bare", "--photo", folder / "bare.jpg")
    assert code == 1
    assert "set aside: bare.jpg: " in err
    code, _, err = run(capsys, "view", "save", "a/b", "--photo", photo)
    assert code == 2
    assert "view `a/b`: is no name for a view; use letters, digits" in err
    code, _, err = run(capsys, "view", "save", "rack", "--photo", photo, "--tray", "R7")
    assert code == 2
    assert "say which one with --tray" in err
    code, _, err = run(capsys, "view", "save", "rack", "--photo", folder / "far.jpg")
    assert code == 1
    assert "far.jpg: fits no line of trays.csv" in err
    code, _, err = run(capsys, "view", "check", "none", folder / "near.jpg")
    assert code == 2
    assert "view `none`: views/ holds none of that name" in err


def test_a_run_relies_on_the_view_and_says_so(capsys, farm, tmp_path):
    folder, photo = farm
    run(capsys, "view", "save", "rack-3", "--photo", photo, "--replace")
    line = pd.read_csv(folder / "trays.csv", dtype=str).fillna("").iloc[[0]].assign(view="rack-3", markers="")
    lines = pd.concat([line.assign(photo=name) for name in ("near.jpg", "far.jpg")])
    lines.to_csv(folder / "with_view.csv", index=False)
    given = [folder / "near.jpg", folder / "far.jpg"]
    code, _, _ = run(capsys, "score", *given, "--trays", folder / "with_view.csv", "--out", tmp_path / "out")
    assert code == 1
    trays = pd.read_csv(tmp_path / "out" / "trays.csv").set_index("photo")
    assert trays.located_by["near.jpg"].startswith("saved view rack-3, followed 1")
    assert trays.quality["far.jpg"] == "refused"
    told = json.loads((tmp_path / "out" / "run.json").read_text())
    assert {photo["photo"]: photo.get("reason") for photo in told["photos"]} == {
        "near.jpg": None,
        "far.jpg": "camera_moved",
    }
