"""The unit with which systemd runs a counter: from boot on, watched, started again, and let at little else.

Every directive is explained in systemd.service(5), systemd.exec(5) and systemd.resource-control(5).
"""

import os
import pwd
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from swapbell_device.config import Config
from swapbell_device.count import whole
from swapbell_models.fault import Mistake

FOLDER = Path("/etc/systemd/system")
# A counter that shows no moment for so long hangs. Our choice: opening a camera takes seconds.
WATCHDOG_S = 60
# Our choice: a broker or a camera that is away does not end the counter; what does is seldom over within a second.
RESTART_S = 5
# What systemd would read as more than one word, or as something to fill in.
PLAIN = re.compile(r"[A-Za-z0-9/._+@:,=-]+")
TEXT = """\
# Written by `swapbell-device install`; write it again rather than change it.
[Unit]
Description=swapbell counter of {site}/{station}
After=network.target time-sync.target modprobe@videodev.service
# DeviceAllow= knows a kind of device only once its driver's core is there: for a USB camera that is plugged in later.
Wants=modprobe@videodev.service
StartLimitIntervalSec=0

[Service]
Type=notify
# What it finds is in the journal; a counter starts all the same, and says in its health what is amiss.
ExecStartPre=-{command} check --config {config}
ExecStart={command} run --config {config}
ExecReload=/bin/kill -HUP $MAINPID
TimeoutStartSec=300
WatchdogSec={watchdog_s}
Restart=always
RestartSec={restart_s}
# A mistake in the configuration is not mended by starting again.
RestartPreventExitStatus=2
User={user}
SupplementaryGroups=video
UMask=0077
# The newest tallies wait in memory, from where a counter that is started again takes them.
RuntimeDirectory=swapbell-{site}-{station}
RuntimeDirectoryMode=0700
RuntimeDirectoryPreserve=yes
Environment=PYTHONUNBUFFERED=1

NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
ProtectSystem=strict
ReadWritePaths={writes}
ProtectHome=read-only
PrivateTmp=yes
PrivateIPC=yes
PrivateMounts=yes
# Whoever is not root, its user or its group is nobody to it; what the group video may open, it may still.
PrivateUsers=yes
DevicePolicy=closed
DeviceAllow=char-video4linux rw
DeviceAllow=char-media rw
DeviceAllow=char-dma_heap rw
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectProc=invisible
ProcSubset=pid
# libcamera asks udev for the cameras, over a netlink socket.
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
RemoveIPC=yes
KeyringMode=private
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
# The counter asks the kernel whether the clock is set; ProtectClock would refuse that too, and it may set nothing.
SystemCallFilter=adjtimex clock_adjtime
SystemCallErrorNumber=EPERM

[Install]
WantedBy=multi-user.target
"""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit and where it belongs."""

    path: Path
    text: str


def unit(config_path: Path, config: Config, user: str, folder: Path = FOLDER) -> Unit:
    """Return the unit of a counter.

    Parameters
    ----------
    config_path : Path
        Its configuration file.
    config : Config
        The same, read.
    user : str
        Who runs it, and owns its files.
    folder : Path
        Where units are kept.

    Raises
    ------
    Mistake
        If a path in it holds what a unit cannot, or the evidence's folder is elsewhere and not there yet.
    """
    path, command = config_path.resolve(), Path(sys.argv[0]).resolve()
    text = TEXT.format(
        site=config.site,
        station=config.station,
        command=_plain("the command's path", command),
        config=_plain("the configuration's path", path),
        writes=" ".join(map(str, _writes(config))),
        user=user,
        watchdog_s=WATCHDOG_S,
        restart_s=RESTART_S,
    )
    return Unit(folder / f"swapbell-{config.site}-{config.station}.service", text)


def install(made: Unit) -> list[str]:
    """Write the unit and return what is left to be done, a line each.

    Raises
    ------
    Mistake, Breakdown
        If it has no place, or may not be written there.
    """
    if not os.access(made.path.parent, os.W_OK):
        raise Mistake(f"{made.path}: may not be written; run this with sudo, or choose another place with --folder")
    with whole(made.path) as part:
        part.write_text(made.text, encoding="utf-8")
        part.chmod(0o644)
    name = made.path.name
    return [f"written: {made.path}", f"next: sudo systemctl daemon-reload && sudo systemctl enable --now {name}"]


def _writes(config: Config) -> list[Path]:
    """Return where the counter writes: the spool's folder, and the evidence's where that lies elsewhere."""
    spool = _plain("the spool's folder", config.spool.path.resolve().parent)
    named = config.evidence.path if config.evidence else None
    if named is None or named.resolve().is_relative_to(spool):
        return [spool]
    if not named.is_dir():
        raise Mistake(
            f"evidence.path {named}: there is no such folder; create it, so that the service may write there"
        )
    return [spool, _plain("the evidence's folder", named.resolve())]


def _plain(what: str, path: Path) -> Path:
    if not PLAIN.fullmatch(str(path)):
        raise Mistake(f"{what} {str(path)!r}: systemd would misread it; use a path of letters, digits, / . _ + and -")
    return path


def owner(path: Path) -> str:
    """Return who owns a configuration, and so is to run its counter."""
    return named(path.stat().st_uid, path)


def named(number: int, path: Path) -> str:
    """Return the user of that number, or refuse root and strangers; `path` is whose owner it is."""
    if number == 0:
        raise Mistake(f"configuration {path}: it belongs to root; give it to the user who is to run the counter")
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        raise Mistake(f"configuration {path}: its owner {number} has no name here; give it to a user") from None
