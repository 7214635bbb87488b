"""From photos to tables where the tray list names no layout, and where one photo shows two trays."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pandas as pd

from canopy.cli.app import main
from canopy.synthetic.camera import look_at
from canopy.synthetic.render import render
from canopy.synthetic.scene import Neighbour
from canopy.synthetic.scenes import make_scene


def run(*arguments):
    try:
        main([str(argument) for argument in arguments])
    except SystemExit as stopped:
        return stopped.code or 0
    return 0


def drawn(*, neighbours):
    """A white tray of 72 cells without markers, alone or with another on its right."""
    width_px, height_px = (2400, 1600) if neighbours else (1500, 1000)  # leaves of 4 mm want 0.5 mm per pixel
    scene = make_scene("white_tray", seed=31, width_px=width_px, height_px=height_px)
    layout = scene.layout
    step = layout.outline_width_mm + 25.0
    width = layout.outline_width_mm + (step if neighbours else 0)
    centre = (width / 2, layout.outline_height_mm / 2)
    view = look_at(
        centre,
        (width, layout.outline_height_mm),
        width_px=width_px,
        height_px=height_px,
        fill=0.85,
        distance_mm=1600.0,
    )
    beside = (Neighbour(step, 0.0, scene.plants),) if neighbours else ()
    around = replace(scene.surroundings, markers=False)
    return replace(scene, camera=view, neighbours=beside, surroundings=around)


def write(folder, scene, trays):
    folder.mkdir()
    cv2.imwrite(str(folder / "a.png"), np.ascontiguousarray(render(scene).rgb[..., ::-1]))
    (folder / "trays.csv").write_text(trays)


def test_a_layout_is_chosen_and_said(tmp_path):
    scene = drawn(neighbours=False)
    write(tmp_path / "in", scene, "photo,tray\na.png,R1\n")
    assert run("score", tmp_path / "in", "--out", tmp_path / "out") == 0
    cells = pd.read_csv(tmp_path / "out" / "cells.csv")
    assert len(cells) == scene.layout.cells
    assert (cells.row.max(), cells.col.max()) == (scene.layout.rows, scene.layout.columns)
    assert " was chosen among " in (tmp_path / "out" / "report.html").read_text()


def test_two_trays_of_one_photo_give_two_readings(tmp_path, capsys):
    scene = drawn(neighbours=True)
    name = scene.layout.name
    pitch = f"{scene.layout.pitch_x_mm:g}x{scene.layout.pitch_y_mm:g}"
    line = f"{name},{pitch},540x280" if scene.layout.outline_width_mm == 540 else f"{name},{pitch},600x400"
    write(tmp_path / "in", scene, f"photo,tray,layout,pitch_mm,outline_mm\na.png,R1,{line}\na.png,R2,{line}\n")
    assert run("score", tmp_path / "in", "--out", tmp_path / "out", "--masks") == 0
    trays = pd.read_csv(tmp_path / "out" / "trays.csv")
    assert trays.tray.tolist() == ["R1", "R2"]
    assert trays.located_by.tolist() == ["outline, tray 1 of 2", "outline, tray 2 of 2"]
    # The same plants stand in both trays, a little differently seen: totals agree to a tenth.
    one, two = trays.mean_area_mm2
    assert abs(one / two - 1) < 0.1
    told = json.loads((tmp_path / "out" / "run.json").read_text())
    stems = [photo["stem"] for photo in told["photos"]]
    assert len(set(stems)) == 2
    for stem in stems:
        assert (tmp_path / "out" / "overlays" / f"{stem}.jpg").is_file()
        assert (tmp_path / "out" / "masks" / f"{stem}.png").is_file()
    capsys.readouterr()
    assert run("explain", tmp_path / "in" / "a.png", "A1") == 2
    assert "the tray list names R1, R2 for it; say which one with --tray" in capsys.readouterr().err
    assert run("explain", tmp_path / "in" / "a.png", "A1", "--tray", "R2") == 0
    assert "Cell A1" in capsys.readouterr().out
