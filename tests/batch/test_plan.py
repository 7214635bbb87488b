"""From files and lists to jobs: which list and which settings count, and what is set aside beforehand."""

from __future__ import annotations

import os
from datetime import datetime

import pytest

from canopy.batch.job import Job, SetAside
from canopy.batch.plan import make_plan
from canopy.errors import UsageError

HEADER = "photo,tray,layout\n"


def _folder(path, *photos, trays=None, settings=None):
    path.mkdir(parents=True)
    for name in photos:
        (path / name).write_bytes(b"")
    if trays is not None:
        (path / "trays.csv").write_text(HEADER + trays)
    if settings is not None:
        (path / "canopy.toml").write_text(settings)
    return path


def _told(plan):
    return [(job.source.name, job.record.tray) if isinstance(job, Job) else (job.photo, job.code) for job in plan.jobs]


def test_list_and_settings_beside_the_photos_are_taken(tmp_path):
    folder = _folder(tmp_path / "a", "x.jpg", trays="*.jpg,R1,72\n", settings="[outputs]\ntop_picks = 3\n")
    plan = make_plan([folder])
    assert _told(plan) == [("x.jpg", "R1")]
    assert plan.configuration.settings.outputs.top_picks == 3


def test_given_files_come_before_those_beside_the_photos(tmp_path):
    folder = _folder(tmp_path / "a", "x.jpg", trays="*.jpg,R1,72\n", settings="[outputs]\ntop_picks = 3\n")
    other = _folder(tmp_path / "b", trays="*.jpg,R2,72\n", settings="[outputs]\ntop_picks = 4\n")
    plan = make_plan([folder], trays=other / "trays.csv", settings=other / "canopy.toml")
    assert _told(plan) == [("x.jpg", "R2")]
    assert plan.configuration.settings.outputs.top_picks == 4


def test_one_photo_of_a_sub_folder_is_found_in_the_list_of_the_whole_folder(tmp_path):
    folder = _folder(tmp_path / "farm", trays="rack/x_*.jpg,R1,72\nother/x_*.jpg,R2,72\n")
    photo = _folder(folder / "rack", "x_1.jpg") / "x_1.jpg"
    assert _told(make_plan([photo], trays=folder / "trays.csv")) == [("x_1.jpg", "R1")]
    elsewhere = _folder(tmp_path / "rack", "x_1.jpg") / "x_1.jpg"
    assert _told(make_plan([elsewhere], trays=folder / "trays.csv")) == [("x_1.jpg", "not_listed")]


def test_each_folder_has_its_own_list_and_order_is_kept(tmp_path):
    one = _folder(tmp_path / "a", "z.jpg", "y.jpg", trays="*.jpg,R1,72\n")
    other = _folder(tmp_path / "b", "x.jpg", trays="*.jpg,R2,72\n")
    assert _told(make_plan([one, other])) == [("y.jpg", "R1"), ("z.jpg", "R1"), ("x.jpg", "R2")]


def test_two_settings_files_need_a_word(tmp_path):
    one = _folder(tmp_path / "a", "x.jpg", trays="*.jpg,R1,72\n", settings="")
    other = _folder(tmp_path / "b", "y.jpg", trays="*.jpg,R2,72\n", settings="")
    with pytest.raises(UsageError, match="two settings files; say which one with --settings"):
        make_plan([one, other])


def test_what_cannot_be_worked_on_is_set_aside_with_its_reason(tmp_path):
    folder = _folder(
        tmp_path / "a", "good.jpg", "wrong.jpg", "extra.jpg",
        trays="good.jpg,R1,72\nwrong.jpg,R2,73\ngone.jpg,R3,72\n",
    )  # fmt: skip
    (tmp_path / "none").mkdir()
    plan = make_plan([folder, tmp_path / "none"])
    assert _told(plan) == [
        ("extra.jpg", "not_listed"),
        ("good.jpg", "R1"),
        ("wrong.jpg", "tray_list"),
        ("gone.jpg", "missing"),
        ("none/", "no_photos"),
    ]
    assert len(plan.problems) == 1
    aside = next(job for job in plan.jobs if isinstance(job, SetAside) and job.code == "tray_list")
    assert (aside.tray, aside.message) == ("R2", plan.problems[0])


def test_a_single_photo_does_not_ask_for_the_rest_of_its_list(tmp_path):
    folder = _folder(tmp_path / "a", "x.jpg", trays="x.jpg,R1,72\ngone.jpg,R3,72\n")
    assert _told(make_plan([folder / "x.jpg"])) == [("x.jpg", "R1")]


def test_the_files_date_is_the_machines_wall_clock(tmp_path):
    folder = _folder(tmp_path / "a", "x.jpg", trays="*.jpg,R1,72\n")
    moment = datetime(2026, 3, 5, 5, 30)
    os.utime(folder / "x.jpg", (moment.timestamp(), moment.timestamp()))
    (job,) = make_plan([folder]).jobs
    assert isinstance(job, Job)
    assert job.modified_at == moment
