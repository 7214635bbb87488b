"""A farm: where its settings, tray list, photos and store are, found from any folder inside it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from canopy.batch.farm import beside_or_above
from canopy.batch.plan import configuration_for, tray_list_for
from canopy.batch.settings_toml import SETTINGS_FILE, Configuration
from canopy.batch.starter import write_starter
from canopy.batch.trays_csv import TRAYS_FILE, TrayList
from canopy.errors import UsageError
from canopy.nightly.place import Folder, Place
from canopy.settings import Settings
from canopy.store.database import opened

STORE_FILE = "canopy.db"


@dataclass(frozen=True)
class Farm:
    """What a command on a farm needs to know; nothing is opened yet.

    Attributes
    ----------
    root : pathlib.Path
        Folder of the settings and the tray list.
    photos : pathlib.Path
        Folder that the cameras fill: the root itself, unless the settings name another. Of photos on a server the root.
    configuration : Configuration
    store : str
        File or URL.
    beside : pathlib.Path
        Folder of the settings file, from which relative paths in it are meant.
    given_trays : pathlib.Path or None
        The tray list, where it is not the farm's own.
    """

    root: Path
    photos: Path
    configuration: Configuration
    store: str
    beside: Path
    given_trays: Path | None = None

    @property
    def settings(self) -> Settings:
        """The farm's settings."""
        return self.configuration.settings

    @property
    def is_remote(self) -> bool:
        """Whether the photos are on a server."""
        return "://" in self.settings.nightly.photos

    def place(self) -> Place:
        """Where the photos come from.

        Raises
        ------
        UsageError
            It is an address that cannot be opened.
        """
        if not self.is_remote:
            return Folder(self.photos)
        # Here, since photos of a folder need not load it.
        from canopy.nightly.remote import share

        return share(self.settings.nightly.photos, self.settings.nightly.remote)

    def file(self, name: str) -> Path | None:
        """The file that a setting names, relative to the settings file; None for an empty name."""
        return self.beside / name if name else None

    def trays(self) -> tuple[TrayList, Path]:
        """The tray list, read now, and the folder that it lies in.

        Raises
        ------
        UsageError
            There is none, or it cannot be used as a whole.
        """
        return tray_list_for(self.root, given=self.given_trays, configuration=self.configuration)


def find_farm(
    folder: Path | None = None, *, store: str | None = None, trays: Path | None = None, settings: Path | None = None
) -> Farm:
    """The farm that a folder belongs to.

    Its root is the nearest folder, at or above the given one, that holds `canopy.toml`, else `trays.csv`, else the
    given one itself. A given tray list or settings file makes the given folder the root.

    Parameters
    ----------
    folder : pathlib.Path, optional
        By default the one that the command is run in, which must then lie in a farm.
    store : str, optional
        File or URL of the store; by default as in the settings, else `canopy.db` in the root.
    trays, settings : pathlib.Path, optional
        By default those in the root.

    Raises
    ------
    UsageError
        No farm is found, or its settings cannot be used.
    """
    here = folder if folder is not None else Path()
    root = here if trays is not None or settings is not None else _root_of(here)
    if root is None and folder is None:
        raise UsageError(
            f"{here.absolute()}: no farm here or above; name its FOLDER, or make one with `canopy init FOLDER`"
        )
    root = root if root is not None else here
    configuration = configuration_for([root], given=settings)
    beside = settings.parent if settings is not None else root
    chosen = configuration.settings
    # An absolute path takes the place of what it is joined to.
    return Farm(
        root,
        root if not chosen.nightly.photos or "://" in chosen.nightly.photos else beside / chosen.nightly.photos,
        configuration,
        store or _place(root, beside, chosen.store.url),
        beside,
        trays,
    )


def make_farm(root: Path) -> list[Path]:
    """Make a farm folder: starter files, folders for recipes and views, and an empty store.

    Raises
    ------
    UsageError
        A starter file is there already, or the folder cannot be written.
    StoreError
        The store cannot be made.
    """
    made = write_starter(root)
    farm = find_farm(root)
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s, make=True):
        return [*made, root / STORE_FILE]


def _root_of(folder: Path) -> Path | None:
    found = beside_or_above(folder, SETTINGS_FILE) or beside_or_above(folder, TRAYS_FILE)
    return found.parent if found is not None else None


def _place(root: Path, beside: Path, url: str) -> str:
    if not url:
        return str(root / STORE_FILE)
    return url if "://" in url else str(beside / url)
