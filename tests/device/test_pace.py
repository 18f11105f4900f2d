"""Frames that did not come are told by the times of those that did."""

import numpy as np
import pytest

from swapbell_device.pace import Pace


def told(*times_s: float) -> tuple[int, int]:
    pace = Pace()
    for at_s in times_s:
        pace.note(at_s)
    return pace.told()


def test_an_even_camera_loses_nothing() -> None:
    assert told(*np.arange(90) / 30.0) == (0, 89)


def test_each_missing_frame_is_counted() -> None:
    assert told(*(k / 30.0 for k in range(90) if k not in {20, 21, 22, 50})) == (4, 85)


def test_frames_that_come_unevenly_are_not_lost() -> None:
    jitter = np.random.default_rng(1).uniform(-0.2, 0.2, 90)
    assert told(*((np.arange(90) + jitter) / 30.0))[0] == 0


def test_what_was_told_once_is_not_told_again() -> None:
    pace = Pace()
    for at_s in (0.0, 0.1, 0.2, 0.3, 0.6, 0.7):
        pace.note(at_s)
    assert pace.told() == (2, 5)
    pace.note(0.8)
    assert pace.told() == (0, 1)


@pytest.mark.parametrize("times_s", [(), (3.0,), (3.0, 3.0), (3.0, 2.0)])
def test_without_a_step_forward_nothing_is_known_to_be_lost(times_s: tuple[float, ...]) -> None:
    assert told(*times_s) == (0, 0)
