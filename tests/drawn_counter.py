"""A counter that runs on a drawn station, as its command is run."""

import sysconfig
from pathlib import Path

COMMAND = str(Path(sysconfig.get_path("scripts"), "swapbell-device"))
CONFIG = """
site = "orchard"
station = "north"
starts_at = 2026-02-03T12:00:00Z
tally_s = 0.5
[camera]
kind = "drawn"
pace = {pace}
[broker]
host = "127.0.0.1"
port = {port}
[spool]
path = "spool.sqlite"
"""


def configured(folder: Path, port: int, pace: float = 0.0) -> Path:
    path = folder / "station.toml"
    path.write_text(CONFIG.format(port=port, pace=pace))
    return path
