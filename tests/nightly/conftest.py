"""A folder that cameras fill: photos are a few bytes, and what they say is made up, so that a pass takes no time."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from store.made_up import reading
from store.postgres import own_schema, server

from canopy.errors import PhotoUnreadable
from canopy.nightly.night import Night, one_pass
from canopy.store.database import opened
from canopy.store.ledger import File, Photo, all_files, photos
from canopy.store.readings import table

NOW_S = 1_774_000_000
HEADER = "photo,tray,layout,pitch_mm,outline_mm\n"
LINE = "{photo},{tray},3x5,50,270x170\n"
BAD = b"BAD"


def made_up_analyse(data, record, *, name, **_):
    """Stands for the map step: a reading that follows from the bytes alone; bytes that start with BAD give none."""
    if data.startswith(BAD):
        raise PhotoUnreadable("truncated", f"{name}: cut short; copy it again")
    return reading(name, record.tray, area=float(len(data)))


@dataclass
class Share:
    """The folder, its store and its clock."""

    folder: Path
    store: str
    now_s: float = NOW_S
    options: dict[str, object] = field(default_factory=dict)

    def put(self, path: str, data: bytes = b"photo", *, age_s: float = 3600) -> Path:
        """A file last changed so long ago."""
        file = self.folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
        changed = self.now_s - age_s
        os.utime(file, (changed, changed))
        return file

    def list_trays(self, *lines: tuple[str, str]) -> None:
        text = HEADER + "".join(LINE.format(photo=photo, tray=tray) for photo, tray in lines)
        (self.folder / "trays.csv").write_text(text)

    def one_pass(self) -> Night:
        return one_pass(self.folder, store=self.store, clock=lambda: round(self.now_s * 1e9), **self.options)

    def read(self, name: str = "trays"):
        with opened(self.store, busy_timeout_s=5) as store, store.reading() as connection:
            return table(connection, name)

    def files(self) -> list[File]:
        with opened(self.store, busy_timeout_s=5) as store, store.reading() as connection:
            return all_files(connection)

    def photos(self) -> list[Photo]:
        with opened(self.store, busy_timeout_s=5) as store, store.reading() as connection:
            return photos(connection)


def counts(night: Night) -> tuple[int, int, int, int, int]:
    """Photos read; files known, waiting and gone; photos set aside."""
    return night.read, night.known, night.waiting, night.gone, len(night.set_aside)


@pytest.fixture
def share(tmp_path, monkeypatch) -> Share:
    monkeypatch.setattr("canopy.nightly.work.analyse", made_up_analyse)
    folder = tmp_path / "share"
    folder.mkdir()
    made = Share(folder, str(tmp_path / "kept" / "canopy.db"))
    Path(made.store).parent.mkdir()
    made.list_trays(("R1_*", "R1"), ("R2_*", "R2"))
    return made


@pytest.fixture(params=["sqlite", "postgresql"])
def any_share(request, share) -> Iterator[Share]:
    """The same, its store on either database."""
    if request.param == "sqlite":
        yield share
        return
    with own_schema(server()) as url:
        share.store = url
        yield share


@pytest.fixture
def any_share_on_server(share) -> Iterator[Share]:
    """The folder of `share`, with a store on a server."""
    with own_schema(server()) as url:
        yield Share(share.folder, url)
