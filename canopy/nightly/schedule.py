"""How passes are started by the clock: systemd service and timer, cron line, log rotation; texts, nothing installed."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from pathlib import Path

from canopy.errors import UsageError
from canopy.nightly.farm import Farm
from canopy.store.database import sqlite_file

UNIT = "canopy-nightly"
# What the coordinator itself takes beside the processes that read photos, megabytes.
_COORDINATOR_MB = 1000
_USER = re.compile(r"[a-z_][a-z0-9_-]{0,31}$")  # useradd(8), "CAVEATS"


@dataclass(frozen=True)
class Part:
    """One text and where it goes.

    Attributes
    ----------
    name : str
        `service`, `timer`, `cron` or `rotation`.
    where : str
        One sentence.
    text : str
    """

    name: str
    where: str
    text: str


def schedule(farm: Farm, *, program: Path, user: str, every_min: int, workers: int) -> list[Part]:
    """Texts for a farm.

    Parameters
    ----------
    farm : Farm
    program : pathlib.Path
        The installed `canopy`.
    user : str
        Runs the passes; needs to read the photos and write the store, and nothing more.
    every_min : int
        Minutes from the end of a pass to the start of the next (systemd), or between starts (cron).
    workers : int

    Raises
    ------
    UsageError
        That is no user's name, or a path holds a line break.
    """
    if not _USER.match(user):
        raise UsageError(f"--user {user}: is no name of a user; small letters, digits, `-` and `_`")
    command = [str(program.absolute()), "nightly", str(farm.root.absolute()), "--workers", str(workers)]
    if any(len(word.splitlines()) > 1 for word in [*command, *map(str, _written(farm))]):
        raise UsageError("a path holds a line break; such a farm cannot be started by the clock")
    log = farm.file(farm.settings.nightly.log)
    parts = [
        Part("service", f"into {UNIT}.service", _service(farm, command, user, workers)),
        Part("timer", f"into {UNIT}.timer, then `systemctl enable --now {UNIT}.timer`", _timer(every_min)),
        Part("cron", "instead of both, into the crontab of that user", _cron(command, every_min)),
    ]
    if log is not None:
        parts.append(Part("rotation", "into a file of logrotate's folder", _rotation(log.absolute(), user)))
    return parts


def _written(farm: Farm) -> list[Path]:
    """Folders that passes write to."""
    store = sqlite_file(farm.store)
    named = (farm.settings.nightly.metrics, farm.settings.nightly.log)
    files = [store, *(farm.file(name) for name in named)]
    return list(dict.fromkeys(file.absolute().parent for file in files if file is not None))


def _service(farm: Farm, command: list[str], user: str, workers: int) -> str:
    memory_mb = _COORDINATOR_MB + max(workers, 1) * farm.settings.nightly.worker_memory_mb
    limit = f"MemoryMax={memory_mb}M" if workers else "# MemoryMax= as many times worker_memory_mb as there are cores"
    folders = [farm.root.absolute(), farm.photos.absolute(), *_written(farm)]
    return f"""\
[Unit]
Description=canopy takes in new photos
RequiresMountsFor={_paths(list(dict.fromkeys(folders)))}

[Service]
Type=oneshot
User={user}
ExecStart={" ".join(_quoted(word, dollars=True) for word in command)}
# 1 says that photos were set aside: no failure of the service.
SuccessExitStatus=1
TimeoutStopSec=30
Nice=10
{limit}
UMask=0027
ReadWritePaths={_paths(_written(farm))}
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
PrivateDevices=yes
NoNewPrivileges=yes
CapabilityBoundingSet=
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
LockPersonality=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
"""


def _timer(every_min: int) -> str:
    return f"""\
[Unit]
Description=canopy takes in new photos every {every_min} minutes

[Timer]
OnBootSec=1min
OnUnitInactiveSec={every_min}min

[Install]
WantedBy=timers.target
"""


def _cron(command: list[str], every_min: int) -> str:
    hours, minutes = divmod(every_min, 60)
    when = f"*/{every_min} * * * *" if not hours else f"{minutes} */{hours} * * *"
    # In a crontab a percent sign ends the command (crontab(5)).
    return f"{when}  {shlex.join(command)}\n".replace("%", "\\%")


def _rotation(log: Path, user: str) -> str:
    return f"""\
"{log}" {{
    su {user} {user}
    weekly
    rotate 12
    compress
    delaycompress
    missingok
    notifempty
}}
"""


def _quoted(word: str, *, dollars: bool = False) -> str:
    """As systemd reads it back (systemd.syntax(7), "Quoting"; systemd.service(5), "Command lines")."""
    text = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{text.replace("$", "$$") if dollars else text}"'


def _paths(folders: list[Path]) -> str:
    return " ".join(_quoted(str(folder)) for folder in folders)
