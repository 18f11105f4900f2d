"""Tallies and spools for the tests of the spool and the link."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from swapbell_device.spooling.spool import Spool
from swapbell_device.spooling.waiting import Entry
from swapbell_models.tally import Clock, Tally

STARTED_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
TALLY_S = 15.0


def tally(seq: int, boot: str = "b1", seconds: float = TALLY_S) -> Tally:
    """Return an invented tally without crossings."""
    from_at = STARTED_AT + timedelta(seconds=seconds * seq)
    return Tally(
        station="north",
        boot=boot,
        seq=seq,
        from_at=from_at,
        up_s=seconds * seq,
        clock=Clock.SYNCED,
        seconds=seconds,
        watched_s=seconds,
    )


def opened(
    path: Path,
    said: list[str] | None = None,
    keep_days: float = 30.0,
    keep_bytes: int = 2**30,
    memory: Path | None = None,
) -> Spool:
    """Open a spool whose lines go to `said`, or must not come."""

    def refuse(line: str) -> None:
        raise AssertionError(f"the spool said: {line}")

    say = refuse if said is None else said.append
    return Spool(path, keep_days, keep_bytes, opened_at=STARTED_AT, say=say, memory=memory)


def names(entries: list[Entry]) -> list[tuple[str, int]]:
    """Return boot and seq of each entry."""
    return [(entry.boot, entry.seq) for entry in entries]


def fill(disk: Path) -> Path:
    """Fill the disk to the last byte with a file that the test may remove."""
    ballast = disk / "ballast"
    with suppress(OSError), ballast.open("wb", buffering=0) as out:
        while True:
            out.write(bytes(512))
    return ballast
