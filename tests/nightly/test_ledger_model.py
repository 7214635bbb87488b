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
from store.made_up import reading

from canopy.store.database import Store

from .conftest import BAD, Share, made_up_analyse

MENDABLE = BAD + b"22"
PATHS = st.sampled_from([f"{folder}R1_{name}.jpg" for folder in ("", "a/", "a/b/") for name in "xyz"])
# Two begin like a photo that gives no reading; other settings mend the last one.
CONTENTS = st.sampled_from([b"1", b"22", b"333", b"7777777", b"88888888", BAD + b"1", MENDABLE])


def analyse(data, record, *, settings, **named):
    """The made-up map step, by which settings mend one of the photos."""
    if data == MENDABLE and settings.photo.max_megapixels == 50:
        return reading(named["name"], record.tray, area=float(len(data)))
    return made_up_analyse(data, record, **named)


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
        self.mended = False  # the settings are
        self.may_be_mended = False  # a pass may have met the photo since
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

    @precondition(lambda self: not self.mended)
    @rule()
    def mend_the_settings(self):
        (self.share.folder / "canopy.toml").write_text("[photo]\nmax_megapixels = 50\n")
        self.mended = True

    @rule()
    def one_pass(self):
        self._pass()
        lie = {file.path: (file.size, file.sha256 is not None) for file in self.share.files()}
        rest = {path: self.young.get(path, True) for path in self.files}
        assert lie == {path: (len(self.files[path]), rest[path]) for path in self.files}
        if self.mended and MENDABLE in {self.files[path] for path in self.files if rest[path]}:
            assert {photo.state for photo in self.share.photos() if photo.size == len(MENDABLE)} == {"read"}
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
        self.may_be_mended = self.mended
        with mock.patch("canopy.nightly.work.analyse", analyse):
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
        aside = {size for size, state in states.items() if state == "set_aside"}
        bad = {len(content) for content in self.ever if content.startswith(BAD)} & set(states)
        assert aside == bad or (self.may_be_mended and aside == bad - {len(MENDABLE)})
        read = [int(area) for area in self.share.read("cells")["area_mm2"].dropna()]
        assert sorted(read) == sorted(set(states) - aside)
        assert not Path(self.share.store + ".lock").exists()


Farm.TestCase.settings = settings(
    max_examples=14, stateful_step_count=14, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
TestFarm = Farm.TestCase
