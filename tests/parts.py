"""The real parts that some tests need, how to see whether one is here, and how to get it.

A test that needs a part says so with `@pytest.mark.part(NAME)`. Where the part is missing the test is skipped with
the reason; with ``CI=true`` it fails instead, because there a missing part is a missing line in ``.ci/run``. What
``SWAPBELL_PARTS_LATER`` names comes in a later step of it and may be missing before.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parent.parent
# Our choice: a package index that has not answered by then is as good as gone, and the suite must end in time.
PATIENCE_S = 30.0


@dataclass(frozen=True, slots=True)
class Part:
    """One real part: how to see that it is here, and the way to get it."""

    present: Callable[[], bool]
    how_to_get: str


def footage() -> Path:
    """Return the folder of real clips: SWAPBELL_FOOTAGE, or shared/footage beside the checkout."""
    return Path(os.environ.get("SWAPBELL_FOOTAGE") or CHECKOUT.parent / "shared" / "footage")


def mosquitto() -> str | None:
    """Return the broker's program; Debian keeps it in sbin, which is not on everyone's path."""
    return shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")


def chromium() -> str | None:
    """Return where Debian's browser lies, or None."""
    return shutil.which("chromium")


def postgresql() -> Path | None:
    """Return the folder of the newest PostgreSQL server's programs (initdb, pg_ctl, postgres)."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    on_path = shutil.which("initdb")
    found = [Path(on_path), *debian] if on_path else debian
    return found[-1].parent if found else None


def _succeeds(*command: str) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        try:
            done = subprocess.run(command, cwd=folder, capture_output=True, timeout=PATIENCE_S, check=False)
        except (OSError, subprocess.TimeoutExpired):
            return False
    return done.returncode == 0


def _can_mount() -> bool:
    with tempfile.TemporaryDirectory() as folder:
        mounted = _succeeds("mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", folder)
        return mounted and _succeeds("umount", folder)


PARTS = {
    "mosquitto": Part(lambda: mosquitto() is not None, "apt-get install mosquitto"),
    "postgresql": Part(lambda: postgresql() is not None, "apt-get install postgresql"),
    "footage": Part(
        lambda: footage().is_dir(), "point SWAPBELL_FOOTAGE at the folder of clips, or put it at ../shared/footage"
    ),
    "registry": Part(
        lambda: _succeeds(sys.executable, "-m", "pip", "index", "versions", "hatchling"),
        "let pip reach the Python package index",
    ),
    "debian-packages": Part(
        lambda: _succeeds("apt-get", "download", "hostname"), "on Debian, run apt-get update with the network up"
    ),
    "build123d": Part(
        lambda: all(find_spec(each) is not None for each in ("build123d", "trimesh")),
        "pip install -e '.[enclosure]' in .venv",
    ),
    "tmpfs": Part(_can_mount, "run as root with leave to mount"),
    "openssl": Part(lambda: shutil.which("openssl") is not None, "apt-get install openssl"),
    "chromium": Part(
        lambda: chromium() is not None and find_spec("playwright") is not None,
        "apt-get install chromium, and pip install -e '.[test]' in .venv",
    ),
    "systemd-analyze": Part(lambda: shutil.which("systemd-analyze") is not None, "apt-get install systemd"),
    "shellcheck": Part(lambda: shutil.which("shellcheck") is not None, "apt-get install shellcheck"),
}


@cache
def missing(name: str) -> str | None:
    """Return why the part cannot be used here and how to get it, or None where it is present."""
    part = PARTS[name]
    return None if part.present() else f"{name} is not here: {part.how_to_get}"


def need(name: str) -> None:
    """Skip the running test where the part is missing; fail it there when CI=true."""
    if why := missing(name):
        if os.environ.get("CI") == "true" and name not in os.environ.get("SWAPBELL_PARTS_LATER", "").split():
            pytest.fail(why, pytrace=False)
        pytest.skip(why)
