"""Photos in a store of files elsewhere (object stores, SFTP and the like), through fsspec."""

from __future__ import annotations

import hashlib
import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, TypeVar

from canopy.batch.folder import PHOTO_SUFFIXES, RESULT_FOLDERS, RUN_FILE
from canopy.errors import UsageError
from canopy.nightly.look import Entry, Listing
from canopy.nightly.read import Taken
from canopy.nightly.when import NS
from canopy.settings import RemoteSettings

_T = TypeVar("_T")
_TIMES = ("LastModified", "mtime", "last_modified", "modified", "created")
_MARKS = ("ETag", "etag", "md5", "version")


@dataclass
class Share:
    """A tree of photos on a server.

    Attributes
    ----------
    url : str
    files : fsspec.AbstractFileSystem
    root : str
        As the file system names it.
    settings : RemoteSettings
    troubles : list of str
        What could not be fetched for now: the next pass tries again.
    """

    url: str
    files: Any
    root: str
    settings: RemoteSettings
    troubles: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Its address."""
        return self.url

    def listings(self) -> Iterator[Listing]:
        """Every folder from the root down, in the same order each time; see `canopy.nightly.look.listings`.

        Raises
        ------
        UsageError
            The root cannot be listed.
        """
        waiting = [""]
        while waiting:
            folder = waiting.pop()
            try:
                listing, below = self._list(folder)
            except FileNotFoundError:
                if folder:
                    continue  # gone since its name was read
                # Object stores know no empty folders: below a bucket, what is not there and what is empty look alike.
                self._require_bucket()
                listing, below = Listing("", ()), []
            except Exception as error:  # each kind of server raises kinds of its own
                if not folder:
                    raise UsageError(
                        f"{self.url}: cannot be listed ({_said(error)}); check address and rights"
                    ) from None
                listing, below = Listing(folder, (), f"{self.url}/{folder}: cannot be listed ({_said(error)})"), []
            yield listing
            waiting += sorted(below, reverse=True)

    def take(self, path: str, entry: Entry) -> Taken:
        """A photo's bytes, when it is from the first look to the last as it was listed."""
        whole = f"{self.root}/{path}"

        def fetch() -> Taken:
            if _entry(self.files.info(whole)) != entry:
                return Taken("changing")
            data = bytes(self.files.cat_file(whole))
            same = len(data) == entry.size and _entry(self.files.info(whole)) == entry
            return Taken("whole", data) if same else Taken("changing")

        try:
            return self._asked(fetch)
        except FileNotFoundError:
            return Taken("gone")
        except PermissionError as error:
            return Taken("unreadable", message=_said(error))
        except Exception as error:  # each kind of server raises kinds of its own
            self.troubles.append(f"{self.url}/{path}: not given ({_said(error)}); the next pass asks again")
            return Taken("changing")

    def holds(self, path: str) -> bool:
        """Whether a file is there, be it one that listings leave out."""
        return bool(self._asked(lambda: self.files.isfile(f"{self.root}/{path}")))

    def is_empty(self) -> bool:
        """Whether nothing at all is there."""
        try:
            return not self._asked(lambda: self.files.ls(self.root, detail=False))
        except FileNotFoundError:
            return True

    def _require_bucket(self) -> None:
        bucket = self.root.partition("/")[0]
        try:
            self._asked(lambda: self.files.ls(bucket, detail=False))
        except Exception as error:  # each kind of server raises kinds of its own
            raise UsageError(f"{self.url}: is not there ({_said(error)}); check `photos` under [nightly]") from None

    def _list(self, folder: str) -> tuple[Listing, list[str]]:
        entries, below, names = [], [], set()
        for info in self._asked(lambda: self.files.ls(f"{self.root}/{folder}".rstrip("/"), detail=True)):
            name = str(info["name"]).rstrip("/").rpartition("/")[2]
            names.add(name)
            if not name or name.startswith("."):
                continue
            if info["type"] == "directory":
                if name not in RESULT_FOLDERS:
                    below.append(f"{folder}/{name}" if folder else name)
            elif f".{name.rpartition('.')[2].lower()}" in PHOTO_SUFFIXES and "." in name:
                entries.append(_entry(info))
        if folder and RUN_FILE in names and "cells.csv" in names:
            return Listing(folder, ()), []
        return Listing(folder, tuple(sorted(entries, key=lambda entry: entry.name))), below

    def _asked(self, ask: Callable[[], _T]) -> _T:
        """An answer, asked for again when the server fails; what is not there or not allowed is answer enough."""
        for number in range(self.settings.tries):
            try:
                return _within(self.settings.timeout_s, ask)
            except (FileNotFoundError, PermissionError):
                raise
            except Exception:
                if number == self.settings.tries - 1:
                    raise
                time.sleep(self.settings.wait_s * 2**number)
        raise AssertionError


def share(url: str, settings: RemoteSettings) -> Share:
    """The tree of photos at an address.

    Raises
    ------
    UsageError
        fsspec, or what it needs for this kind of address, is not installed, or the address is of no kind it knows.
    """
    try:
        from fsspec.core import url_to_fs

        # What was listed once must not be taken for what is there now.
        options = {"use_listings_cache": False, "skip_instance_cache": True, **settings.options}
        files, root = url_to_fs(url.rstrip("/"), **options)
    except ImportError as error:
        said = " ".join(str(error).split())
        raise UsageError(f"{url}: cannot be opened ({said}); install canopy with its extra `remote`") from None
    except Exception as error:  # each kind of server raises kinds of its own
        raise UsageError(f"{url}: cannot be opened ({_said(error)}); check `photos` under [nightly]") from None
    return Share(url.rstrip("/"), files, str(root).rstrip("/"), settings)


def _entry(info: dict[str, Any]) -> Entry:
    name = str(info["name"]).rpartition("/")[2]
    return Entry(name, int(info.get("size") or 0), _changed_ns(info))


def _changed_ns(info: dict[str, Any]) -> int:
    """Time of change; below the second a checksum of the server's own mark of the content.

    Object stores tell whole seconds, within which an object can be written twice.
    """
    given = next((info[name] for name in _TIMES if info.get(name) is not None), 0)
    moment = given if isinstance(given, datetime) else datetime.fromtimestamp(float(given), tz=UTC)
    moment_s = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    mark = next((str(info[name]) for name in _MARKS if info.get(name)), "")
    if not mark:
        return round(moment_s * NS)
    return int(moment_s) * NS + int.from_bytes(hashlib.sha256(mark.encode()).digest()[:8]) % NS


def _within(seconds: float, work: Callable[[], _T]) -> _T:
    """What comes of some work, which is left to itself when it takes too long: a server may give a byte a minute."""
    ended: queue.SimpleQueue[tuple[_T | None, BaseException | None]] = queue.SimpleQueue()

    def run() -> None:
        try:
            ended.put((work(), None))
        except BaseException as error:  # handed on to whoever waits
            ended.put((None, error))

    threading.Thread(target=run, daemon=True).start()
    try:
        result, error = ended.get(timeout=seconds)
    except queue.Empty:
        raise TimeoutError(f"took longer than timeout_s = {seconds:g}") from None
    if error is not None:
        raise error
    return result  # type: ignore[return-value]


def _said(error: BaseException) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__
