"""What a station says of itself: how long it has been blind, and how many frames it lost."""

from dataclasses import replace
from pathlib import Path

import pytest
from spooled import STARTED_AT, opened

from swapbell_device.health import Pulse
from swapbell_device.look import Look
from swapbell_models.message import Health, StationState

FINE = Look(0.0, light=120.0, detail=4.0, noise=1.5, shake_mm=0.0, moving=0.0, dropped=1, came=30)
SHAKEN = replace(FINE, shake_mm=9.0)


def told(folder: Path, *looks: Look) -> Health:
    """Return the health at the last of some looks."""
    with opened(folder / "spool.sqlite", []) as spool:
        pulse = Pulse("north", STARTED_AT, spool)
        for look in looks:
            pulse.beat(look.at_s, look)
        return pulse.health()


def test_what_keeps_from_counting_is_told_at_once(tmp_path: Path) -> None:
    health = told(tmp_path, SHAKEN)
    assert (health.state, health.reason) == (StationState.BLIND, "cannot count: shake")


def test_a_view_that_has_become_good_is_watched(tmp_path: Path) -> None:
    assert told(tmp_path, SHAKEN, replace(FINE, at_s=30.0)).state is StationState.WATCHING


@pytest.mark.parametrize(("looks", "dropped"), [((), None), ((FINE,), 1), ((FINE, SHAKEN), 2)])
def test_lost_frames_are_counted_once_anybody_looks(
    tmp_path: Path, looks: tuple[Look, ...], dropped: int | None
) -> None:
    assert told(tmp_path, *looks).dropped_frames == dropped
