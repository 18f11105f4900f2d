"""What a station says of itself: how long it has been blind, and how many frames it lost."""

from dataclasses import replace
from importlib.metadata import version
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


def test_exposure_and_sharpness_are_those_of_the_newest_look(tmp_path: Path) -> None:
    looks = [replace(FINE, sharpness=4.26, exposure_s=0.004), replace(FINE, sharpness=5.04, exposure_s=0.003)]
    health = told(tmp_path, *looks)
    assert (health.sharpness, health.exposure_s) == (5.0, 0.003)


def test_what_the_newest_look_could_not_tell_is_unknown_and_not_what_was_before(tmp_path: Path) -> None:
    health = told(tmp_path, replace(FINE, sharpness=4.26, exposure_s=0.004), FINE)
    assert (health.sharpness, health.exposure_s) == (None, None)


def test_a_camera_that_is_gone_has_neither_exposure_nor_sharpness(tmp_path: Path) -> None:
    with opened(tmp_path / "spool.sqlite", []) as spool:
        pulse = Pulse("north", STARTED_AT, spool)
        pulse.beat(1.0, replace(FINE, sharpness=4.26, exposure_s=0.004))
        pulse.miss(2.0, "its plug is out")
        assert (pulse.health().sharpness, pulse.health().exposure_s) == (None, None)


def test_the_health_tells_which_version_of_the_counter_speaks(tmp_path: Path) -> None:
    assert told(tmp_path).version == version("swapbell")


@pytest.mark.parametrize(("looks", "dropped"), [((), None), ((FINE,), 1), ((FINE, SHAKEN), 2)])
def test_lost_frames_are_counted_once_anybody_looks(
    tmp_path: Path, looks: tuple[Look, ...], dropped: int | None
) -> None:
    assert told(tmp_path, *looks).dropped_frames == dropped
