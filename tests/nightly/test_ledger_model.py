"""The ledger against a model of a few lines: whatever happens to files and passes, each content gives one result."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from canopy.store.database import Store

from .conftest import BAD, Share, made_up_analyse

PATHS = st.sampled_from([f"{folder}R1_{name}.jpg" for folder in ("", "a/", "a/b/") for name in "xyz"])
# One content begins like a photo that gives no reading.
CONTENTS = st.sampled_from([b"1", b"22", b"333", b"7777777", b"88888888", BAD + b"1", BAD + b"22"])


class Killed(BaseException):
    """The process ends here."""


class Farm(RuleBasedStateMachine):
    """Files come, go, change and are copied; passes run to their end or are killed between any two writes.

    The model: `files` is what lies in the folder, `ever` the contents that some pass may have seen, `must` those that a
    pass has been through to its end with.
    """

    def __init__(self):
        super().__init__()
        self.top = Path(tempfile.mkdtemp())
        (self.top / "share").mkdir()
        self.share = Share(self.top / "share", str(self.top / "canopy.db"))
        self.share.list_trays(("R1_*", "R1"))
        self.files: dict[str, bytes] = {}
        self.bin: dict[str, bytes] = {}
        self.young: dict[str, bool] = {}  # changed a moment ago by the clock: whether a pass has seen it just so
        self.ever: set[bytes] = set()
        self.must: set[bytes] = set()
        self.ticks = 0
        self.made = False

    def teardown(self):
        shutil.rmtree(self.top)

    def _write(self, path, content, *, young=False):
        self.ticks += 1  # no two changes within one tick of the clock
        age_s = -self.ticks if young else 100_000 - self.ticks
        self.share.put(path, content, age_s=age_s)
        self.files[path] = content
        self.young.pop(path, None)
        self.young |= {path: False} if young else {}

    @rule(path=PATHS, content=CONTENTS)
    def arrive_or_edit(self, path, content):
        self._write(path, content)

    @rule(path=PATHS, content=CONTENTS)
    def begin_to_arrive(self, path, content):
        if path not in self.files:
            self._write(path, content, young=True)

    @precondition(lambda self: self.files)
    @rule(data=st.data(), to=PATHS)
    def rename(self, data, to):
        path = data.draw(st.sampled_from(sorted(self.files)))
        target = self.share.folder / to
        target.parent.mkdir(parents=True, exist_ok=True)
        (self.share.folder / path).rename(target)
        self.files[to] = self.files.pop(path)
        self.young.pop(to, None)
        if path in self.young:
            seen = self.young.pop(path)
            self.young[to] = seen and path == to

    @precondition(lambda self: self.files)
    @rule(data=st.data(), to=PATHS)
    def duplicate(self, data, to):
        self._write(to, self.files[data.draw(st.sampled_from(sorted(self.files)))])

    @precondition(lambda self: self.files)
    @rule(data=st.data())
    def delete(self, data):
        path = data.draw(st.sampled_from(sorted(self.files)))
        (self.share.folder / path).unlink()
        self.bin[path] = self.files.pop(path)
        self.young.pop(path, None)

    @precondition(lambda self: self.bin)
    @rule(data=st.data())
    def restore(self, data):
        path = data.draw(st.sampled_from(sorted(self.bin)))
        self._write(path, self.bin[path])

    @rule()
    def one_pass(self):
        self._pass()
        self.must |= {content for path, content in self.files.items() if self.young.get(path, True)}
        self.young = dict.fromkeys(self.young, True)

    @rule(writes=st.integers(1, 4))
    def a_pass_that_is_killed(self, writes):
        real, left = Store.writing, [writes]

        @contextmanager
        def writing(store):
            with real(store) as connection:
                yield connection
                left[0] -= 1
                if left[0] == 0:
                    raise Killed

        with mock.patch.object(Store, "writing", writing):
            try:
                self.one_pass()
            except Killed:
                self.made = self.made or writes > 1  # the first write makes the tables

    def _pass(self):
        self.ever |= set(self.files.values())
        with mock.patch("canopy.nightly.work.analyse", made_up_analyse):
            self.share.one_pass()
        self.made = True

    @invariant()
    def each_content_has_one_result(self):
        if not self.made:
            return
        photos = self.share.photos()
        # A made-up reading says how long its photo was, and no two contents are of one length.
        states = {photo.size: photo.state for photo in photos}
        assert len(states) == len(photos)
        assert {len(content) for content in self.must} <= set(states) <= {len(content) for content in self.ever}
        bad = {len(content) for content in self.ever if content.startswith(BAD)}
        assert {size for size, state in states.items() if state == "set_aside"} == bad & set(states)
        read = [int(area) for area in self.share.read("cells")["area_mm2"].dropna()]
        assert sorted(read) == sorted(set(states) - bad)
        assert not Path(self.share.store + ".lock").exists()


Farm.TestCase.settings = settings(
    max_examples=14, stateful_step_count=14, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
TestFarm = Farm.TestCase
