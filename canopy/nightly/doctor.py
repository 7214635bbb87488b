"""What may keep a farm's passes from going well, looked at one by one: rights, disk, clock, fonts, store, cameras."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Literal

from sqlalchemy import Connection

from canopy.errors import CanopyError
from canopy.nightly.farm import Farm
from canopy.nightly.rules import read_rules
from canopy.nightly.silence import silent_cameras
from canopy.nightly.tell import checksum, read_addresses
from canopy.nightly.when import NS, local_text
from canopy.store import ledger, outbox
from canopy.store.database import opened, sqlite_file

Level = Literal["good", "look", "bad"]
_MB = 1_000_000
_DAY_NS = 86_400 * NS
_HABIT_DAYS = 14
_CLOCKS_APART_S = 60
_LETTERS_PX = 12.0
# Kinds of mounts (Linux, /proc/mounts) over which SQLite's locks cannot be relied on (sqlite.org, "Over a Network").
_NETWORK = frozenset({"nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p", "afs", "ceph", "fuse.glusterfs"})


@dataclass(frozen=True)
class Finding:
    """What was found in one place.

    Attributes
    ----------
    level : str
        `good`, `look` (goes on, but look at it) or `bad` (passes fail).
    what : str
        What was looked at.
    said : str
        One line; of what is not good, how to mend it.
    """

    level: Level
    what: str
    said: str


def examine(farm: Farm, *, now_ns: int) -> list[Finding]:
    """Look at everything; one thing that is broken keeps nothing else from being looked at."""
    looks: tuple[tuple[str, Callable[[Farm, int], Iterator[Finding]]], ...] = (
        ("tray list", _tray_list),
        ("photos", _photos),
        ("store", _store),
        ("disk", _disk),
        ("clock", _clock),
        ("fonts", _fonts),
        ("messages", _messages),
        ("files", _files),
        ("cameras", _cameras),
    )
    found = []
    for what, look in looks:
        try:
            found += list(look(farm, now_ns))
        except CanopyError as error:
            found.append(Finding("bad", what, str(error).splitlines()[0]))
        except OSError as error:
            found.append(Finding("bad", what, f"{error.filename or ''}: {error.strerror}; check it"))
    return found


def _tray_list(farm: Farm, _: int) -> Iterator[Finding]:
    trays, _below = farm.trays()
    for problem in trays.problems:
        yield Finding("look", "tray list", problem)
    if not trays.lines:
        yield Finding("look", "tray list", f"{trays.name}: has no line yet; write one for each tray")
    elif not trays.problems:
        yield Finding("good", "tray list", f"{len(trays.lines)} lines")


def _photos(farm: Farm, _: int) -> Iterator[Finding]:
    problems, photos, folders = [], 0, 0
    place = farm.place()
    for listing in place.listings():
        problems += [listing.problem] if listing.problem else []
        problems += [f"{listing.folder}/{entry.name}: {entry.wrong}" for entry in listing.entries if entry.wrong]
        folder = farm.photos / listing.folder
        names = [] if farm.is_remote else [entry.name for entry in listing.entries if not entry.wrong]
        shut = [name for name in names if not os.access(folder / name, os.R_OK)]
        problems += [f"{folder / shut[0]}: may not be read, of {len(shut)} here; change the rights"] if shut else []
        photos, folders = photos + len(listing.entries), folders + 1
    yield from (Finding("look", "photos", problem) for problem in problems)
    if not problems:
        yield Finding("good", "photos", f"{photos} in {folders} folders under {place.name}, all may be read")


def _store(farm: Farm, _: int) -> Iterator[Finding]:
    file = sqlite_file(farm.store)
    if file is not None and not file.exists():
        if not os.access(file.parent, os.W_OK):
            yield Finding("bad", "store", f"{file.parent}: cannot be written; change its rights or name another store")
        else:
            yield Finding("look", "store", f"{file}: not made yet; the first `canopy nightly` does so")
        return
    kind = _mount_kind(file) if file is not None else ""
    if kind in _NETWORK:
        yield Finding("bad", "store", f"{file}: lies on a network share ({kind}); move it to a disk of this machine")
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store:
        with store.reading() as connection:
            damage = _damage(connection)
            newest = ledger.newest_reading(connection)
        with store.writing():
            pass  # refused where it may not be written
    if damage:
        yield Finding("bad", "store", f"{store.name}: {damage}; put back a backup made by `canopy backup`")
        return
    last = f"newest reading made {newest}" if newest else "no reading yet"
    yield Finding("good", "store", f"{store.name}: whole, can be written, {last}")


def _damage(connection: Connection) -> str:
    if connection.dialect.name != "sqlite":
        return ""
    said = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar())
    return "" if said == "ok" else said


def _mount_kind(file: Path) -> str:
    """Kind of the file system that a file lies on; empty where that cannot be told."""
    try:
        lines = [line.split() for line in Path("/proc/mounts").read_text(encoding="utf-8").splitlines()]
    except OSError:
        return ""
    at = file.resolve()
    above = [(len(place), kind) for _, place, kind, *_ in lines if at.is_relative_to(place.replace("\\040", " "))]
    return max(above)[1] if above else ""


def _disk(farm: Farm, _: int) -> Iterator[Finding]:
    file = sqlite_file(farm.store)
    folder = file.parent if file is not None else farm.root
    free_mb = shutil.disk_usage(folder).free / _MB
    if free_mb < farm.settings.nightly.disk_free_mb:
        yield Finding("look", "disk", f"{folder}: {free_mb:.0f} MB free; make room, or a pass ends when it is full")
    else:
        yield Finding("good", "disk", f"{free_mb / 1000:.0f} GB free beside the store")


def _clock(farm: Farm, now_ns: int) -> Iterator[Finding]:
    apart = []
    file = sqlite_file(farm.store)
    folder = file.parent if file is not None else farm.root
    if os.access(folder, os.W_OK):
        with tempfile.TemporaryFile(dir=folder) as made:
            apart_s = os.fstat(made.fileno()).st_mtime - now_ns / NS
        if abs(apart_s) > _CLOCKS_APART_S:
            apart.append(f"{folder}: its clock is {apart_s:+.0f} s off this machine's; set both by the network")
    if file is None or file.exists():
        with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store, store.reading() as of:
            newest_ns = max((changed for _, _, changed in ledger.changed_after(of, now_ns)), default=0)
        if newest_ns > now_ns + _CLOCKS_APART_S * NS:
            when = local_text(newest_ns, now_ns=now_ns)
            apart.append(f"a photo is of {when}, later than now; check this clock and the cameras'")
    yield from (Finding("look", "clock", said) for said in apart)
    if not apart:
        yield Finding("good", "clock", f"{local_text(now_ns, now_ns=0)}, as the disk has it")


def _fonts(_farm: Farm, _: int) -> Iterator[Finding]:
    from canopy.outputs.marks import font

    try:
        font(_LETTERS_PX)
    except (ImportError, OSError) as error:
        yield Finding("look", "fonts", f"pictures cannot be lettered ({error}); install Pillow as its wheel")
    else:
        yield Finding("good", "fonts", "pictures can be lettered")


def _messages(farm: Farm, _: int) -> Iterator[Finding]:
    if not farm.settings.nightly.messages.to:
        yield Finding("good", "messages", "none asked for")
        return
    addresses = read_addresses(farm)
    if find_spec("apprise") is None:
        yield Finding("bad", "messages", "Apprise is not installed; install canopy with its extra `messages`")
        return
    path = farm.file(farm.settings.nightly.messages.to)
    if path is not None and path.stat().st_mode & 0o077:
        yield Finding("look", "messages", f"{path}: others may read it; `chmod 600` it, addresses hold passwords")
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store, store.reading() as connection:
        ways = outbox.deliveries(connection, outbox.GIVEN_UP, outbox.UNSURE, outbox.WAITING)
    known = {checksum(address) for address in addresses}
    lost = [one for one in ways if one.address in known and one.state != outbox.WAITING]
    if lost:
        yield Finding("look", "messages", f"{len(lost)} not sent or not surely, the last of {lost[-1].made_at}")
    else:
        yield Finding("good", "messages", f"{len(addresses)} addresses, {len(ways)} waiting to be sent")


def _files(farm: Farm, _: int) -> Iterator[Finding]:
    for name in (farm.settings.nightly.metrics, farm.settings.nightly.log):
        path = farm.file(name)
        if path is None:
            continue
        if os.access(path.parent, os.W_OK) and (not path.exists() or os.access(path, os.W_OK)):
            yield Finding("good", "files", f"{path}: can be written")
        else:
            yield Finding("look", "files", f"{path}: cannot be written; make its folder or change its rights")


def _cameras(farm: Farm, now_ns: int) -> Iterator[Finding]:
    file = sqlite_file(farm.store)
    if file is not None and not file.exists():
        return
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store, store.reading() as connection:
        files = ledger.changed_after(connection, now_ns - _HABIT_DAYS * _DAY_NS)
    silent = silent_cameras(files, rules=read_rules(farm), now_ns=now_ns, settings=farm.settings.nightly)
    for one in silent:
        since = local_text(one.last_ns, now_ns=now_ns)
        yield Finding("look", "cameras", f"no photo from {one.camera} since {since}, usually every {_gap(one.usual_s)}")
    if not silent:
        yield Finding("good", "cameras", "none has fallen silent" if files else "no photo in the last 14 days")


def _gap(seconds: float) -> str:
    for unit, size in (("d", 86400), ("h", 3600), ("min", 60)):
        if seconds >= size:
            return f"{seconds / size:.2g} {unit}"
    return f"{seconds:.0f} s"
