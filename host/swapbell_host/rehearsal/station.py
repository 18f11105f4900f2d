"""The station's own process: the host knows it by its command and by what it says, never by its code."""

import json
import shutil
import subprocess
import sysconfig
from collections.abc import Generator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

from swapbell_models.fault import EXIT_MISTAKE, Breakdown, Mistake

STOP_LIMIT_S = 10.0


def command() -> str:
    """Return the path of the station's command.

    Raises
    ------
    Mistake
        If it, or what it needs, is not installed.
    """
    beside = Path(sysconfig.get_path("scripts"), "swapbell-device")
    found = str(beside) if beside.exists() else shutil.which("swapbell-device")
    if found is None or find_spec("cv2") is None:
        raise Mistake("the station's part is not installed; run: pip install 'swapbell[device]'")
    return found


@contextmanager
def running(config: Path) -> Generator[subprocess.Popen[bytes]]:
    """Run a station while the context lasts; what it says goes into a log beside its configuration."""
    with log_of(config).open("wb") as log:
        words = [command(), "run", "--config", str(config)]
        station = subprocess.Popen(words, stdout=log, stderr=log, start_new_session=True)  # noqa: S603 - our own words
        try:
            yield station
        finally:
            _stop(station)


def log_of(config: Path) -> Path:
    """Return where the station's words go."""
    return config.with_suffix(".log")


def check_end(station: subprocess.Popen[bytes], config: Path) -> None:
    """Raise what the station said if it did not end well."""
    if station.returncode == 0:
        return
    said = log_of(config).read_text(errors="replace").strip().splitlines()
    words = said[-1] if said else f"nothing, and ended with exit code {station.returncode}"
    kind = Mistake if station.returncode == EXIT_MISTAKE else Breakdown
    raise kind(f"the station said: {words}")


def true_visits_s(config: Path) -> list[float]:
    """Return the exact visits of a drawn station [s], counted from its first frame."""
    words = [command(), "truth", "--config", str(config)]
    told = subprocess.run(words, capture_output=True, text=True, check=False)  # noqa: S603 - our own words
    if told.returncode != 0:
        raise Breakdown(f"the station's truth is not to be had: {told.stderr.strip()}")
    crossings = [json.loads(line) for line in told.stdout.splitlines()]
    return [c["t_s"] for c in crossings if c["direction"] == "in" and c["size"] == "wasp"]


def _stop(station: subprocess.Popen[bytes]) -> None:
    station.terminate()
    try:
        station.wait(STOP_LIMIT_S)
    except subprocess.TimeoutExpired:
        station.kill()
        station.wait()
