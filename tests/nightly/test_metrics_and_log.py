"""The text file for Prometheus and the log of JSON lines."""

from __future__ import annotations

import json
import re

from canopy.nightly.metrics import Metric, write_metrics

from .conftest import BAD

# Text exposition format 0.0.4 (prometheus.io, "Exposition formats"): names, labels in braces, a number.
LINE = re.compile(r'[a-zA-Z_:][a-zA-Z0-9_:]*(\{[a-zA-Z_]\w*="([^"\\\n]|\\.)*"\})? -?[0-9.]+(e[+-]?\d+)?$')


def _watched(share):
    (share.folder / "canopy.toml").write_text(
        '[nightly]\nmetrics = "../kept/canopy.prom"\nlog = "../kept/passes.log"\n'
    )
    share.put("R1_a.jpg", b"1")
    share.put("R1_b.jpg", BAD)
    share.put("R2_c.jpg", b"22", age_s=1)
    return share.folder.parent / "kept"


def test_figures_of_the_pass_and_of_the_store(any_share):
    kept = _watched(any_share)
    any_share.one_pass()
    lines = (kept / "canopy.prom").read_text().splitlines()
    values = dict(line.rsplit(" ", 1) for line in lines if not line.startswith("#"))
    assert all(LINE.match(line) for line in lines if not line.startswith("#"))
    assert values["canopy_pass_timestamp_seconds"] == str(any_share.now_s)
    assert values['canopy_pass_files{what="read"}'] == "1"
    assert values['canopy_pass_files{what="waiting"}'] == "1"
    assert values['canopy_photos{state="read"}'] == "1"
    assert values['canopy_photos_set_aside{reason="truncated"}'] == "1"
    any_share.now_s += 300
    any_share.one_pass()  # quiet passes write too: that the last one is not long ago is what is watched
    assert f"canopy_pass_timestamp_seconds {any_share.now_s}" in (kept / "canopy.prom").read_text()
    assert sorted(path.name for path in kept.iterdir() if "prom" in path.name) == ["canopy.prom"]


def test_every_metric_has_help_and_type_once_and_labels_are_escaped(tmp_path):
    write_metrics(tmp_path / "m.prom", [Metric("a", "What.", [({"of": 'x"\\\n'}, 1.5), ({"of": "y"}, 2)])])
    assert (tmp_path / "m.prom").read_text() == (
        '# HELP a What.\n# TYPE a gauge\na{of="x\\"\\\\\\n"} 1.5\na{of="y"} 2\n'
    )


def test_the_log_says_what_became_of_each_photo_and_nothing_of_quiet_passes(share):
    kept = _watched(share)
    share.one_pass()
    events = [json.loads(line) for line in (kept / "passes.log").read_text().splitlines()]
    assert [event["event"] for event in events] == ["read", "set aside", "pass"]
    assert (events[0]["photo"], events[0]["tray"], len(events[0]["sha256"])) == ("R1_a.jpg", "R1", 64)
    assert (events[1]["photo"], events[1]["code"]) == ("R1_b.jpg", "truncated")
    assert (events[2]["read"], events[2]["set_aside"], events[2]["waiting"]) == (1, 1, 1)
    assert {event["at"] for event in events} == {"2026-03-20T09:46:40+00:00"}
    share.one_pass()  # what had been waiting
    (kept / "passes.log").rename(kept / "passes.log.1")  # as logrotate does
    share.one_pass()
    assert not (kept / "passes.log").exists()


def test_names_of_any_kind_stay_in_their_line(share):
    kept = _watched(share)
    share.list_trays(("*", "R1"))
    share.put("a\n\udcff\u2028.jpg", b"odd")
    share.one_pass()
    events = [json.loads(line) for line in (kept / "passes.log").read_text().split("\n")[:-1]]
    assert "a\n\udcff\u2028.jpg" in [event.get("photo") for event in events]


def test_places_that_cannot_be_written_stop_nothing(share):
    (share.folder / "canopy.toml").write_text('[nightly]\nmetrics = "no/such/m.prom"\nlog = "no/such/l.log"\n')
    share.put("R1_a.jpg", b"1")
    night = share.one_pass()
    assert (night.read, night.exit_code) == (1, 0)
    assert [note.split(": ")[1].split(" (")[0] for note in night.notes] == ["cannot be written"] * 2
