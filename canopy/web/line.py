"""Photos from phones in a line: each measured as soon as a process is free; whatever waits outlives a restart."""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from queue import SimpleQueue

from canopy.errors import PhotoError, StoreError
from canopy.store import snaps
from canopy.store.snaps import READ, SET_ASIDE, WAITING, WHICH_TRAY, Snap
from canopy.tray.label import tray_named
from canopy.web import darkroom
from canopy.web.farm import snap_path
from canopy.web.measuring import Source, measure_photo
from canopy.web.site import Site

_AGAIN_S = 1.0


class Line:
    """Threads that take photos from the line; a resource that must be closed."""

    def __init__(self, site: Site) -> None:
        """Start them, and put what an earlier run left waiting into the line."""
        self._site = site
        self._keys: SimpleQueue[str | None] = SimpleQueue()
        self._ended: dict[str, threading.Event] = {}
        self._lock = threading.Lock()
        with site.store.reading() as connection:
            left = snaps.waiting(connection)
        for key in left:
            self.put(key)
        self._threads = [threading.Thread(target=self._work, daemon=True) for _ in range(site.settings.workers)]
        for thread in self._threads:
            thread.start()

    def put(self, key: str) -> None:
        """Put a photo that the store has noted into the line."""
        with self._lock:
            if key in self._ended:
                return
            self._ended[key] = threading.Event()
        self._keys.put(key)

    def wait(self, key: str, *, seconds: float) -> None:
        """Wait until a photo has been measured, but no longer than so many seconds."""
        with self._lock:
            ended = self._ended.get(key)
        if ended is not None:
            ended.wait(seconds)

    @property
    def length(self) -> int:
        """Photos in the line or at work."""
        return len(self._ended)

    def close(self) -> None:
        """Let photos at work be ended, and no other begun."""
        for _ in self._threads:
            self._keys.put(None)
        for thread in self._threads:
            thread.join(timeout=self._site.settings.worker_time_s)

    def _work(self) -> None:
        while (key := self._keys.get()) is not None:
            try:
                _measure(self._site, key)
            except StoreError:  # busy or away: the photo still counts as waiting, and has its turn again
                time.sleep(_AGAIN_S)
                self._keys.put(key)
                continue
            except Exception as error:  # whatever it was, the next photo goes on
                _give_up(self._site, key, error)
            with self._lock:
                self._ended.pop(key).set()


def _give_up(site: Site, key: str, error: Exception) -> None:
    """Note that a photo came to nothing for a reason that nobody thought of."""
    said = f"unexpected failure ({type(error).__name__}); report this message with the photo"
    with suppress(StoreError), site.store.writing() as connection:
        snap = snaps.snap_of(connection, key)
        if snap is not None:
            snaps.change_snap(connection, replace(snap, state=SET_ASIDE, reason="failed", message=said))


def _measure(site: Site, key: str) -> None:
    with site.store.reading() as connection:
        snap = snaps.snap_of(connection, key)
    if snap is None or snap.state != WAITING:
        return
    try:
        ended = _result(site, snap)
    except PhotoError as error:
        ended = replace(snap, state=SET_ASIDE, tray=snap.tray or snap.chosen, reason=error.code, message=str(error))
    with site.store.writing() as connection:
        snaps.change_snap(connection, ended)


def _result(site: Site, snap: Snap) -> Snap:
    path = snap_path(snap.sha256, snap.kind)
    data = site.farm.photo(path, snap.sha256)
    trays, settings = site.farm.rules.trays, site.farm.rules.configuration.settings
    tray = snap.chosen or None
    if tray is None:
        labels = site.workshop.call(darkroom.labels_in, data, name=path, settings=settings)
        tray = tray_named(labels, trays)
        if tray is None:
            read = f"the label says {', '.join(labels)}, which the tray list does not know" if labels else ""
            return replace(snap, state=WHICH_TRAY, message=read or "no label was read in the photo")
    known = trays.get(tray)
    if known is None:
        return replace(snap, state=WHICH_TRAY, message=f"tray {tray} is not in the tray list")
    taken = datetime.fromisoformat(snap.taken_by_file or snap.sent_at).astimezone().replace(tzinfo=None)
    measure_photo(site, Source(snap.sha256, path, data, taken), known)
    return replace(snap, state=READ, tray=tray)
