"""A view at which nobody can count is told of within ten seconds, and the counter recovers by itself."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from clips import PER_S, SIZE, STATION, board
from spooled import opened

from swapbell_device.camera import Frame, Luma
from swapbell_device.health import Pulse
from swapbell_device.main import watch
from swapbell_device.stationfile import parse_station
from swapbell_models.message import StationState

AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
# The longest that a person may be left believing that an empty count means no wasps.
WITHIN_S = 10.0
# A worker's body in the clips' scale is 24 px wide, and so is an edge blurred by this and more.
OUT_OF_FOCUS_PX = 10.0
SPOILED_FROM_S, SPOILED_TO_S, END_S = 21.0, 61.0, 100.0


def shaken(picture: Luma, chance: np.random.Generator) -> Luma:
    right, down = chance.integers(-15, 16, 2).tolist()
    return np.roll(picture, (down, right), (0, 1))


SPOILS: dict[str, Callable[[Luma, np.random.Generator], Luma]] = {
    "black": lambda picture, _: np.zeros_like(picture),
    "white": lambda picture, _: np.full_like(picture, 255),
    "covered": lambda picture, _: np.full_like(picture, 90),
    "shaking": shaken,
    "out of focus": lambda picture, _: np.asarray(cv2.GaussianBlur(picture, (0, 0), OUT_OF_FOCUS_PX), np.uint8),
}


def lane() -> Luma:
    """Return a bright board between two dark walls, one of them with a notch."""
    picture = board()
    picture[:35] = picture[-35:] = 50
    picture[35:60, 60:90] = 50
    return picture


class Spoiled:
    """A board that is well, then spoiled, then well again."""

    size = SIZE

    def __init__(self, spoil: Callable[[Luma, np.random.Generator], Luma]) -> None:
        self._spoil = spoil

    def frames(self) -> Iterator[Frame]:
        chance, still = np.random.default_rng(1), lane()
        for number in range(round(END_S * PER_S)):
            at_s = number / PER_S
            picture = self._spoil(still, chance) if SPOILED_FROM_S <= at_s < SPOILED_TO_S else still
            noise = chance.integers(-2, 3, picture.shape)
            yield Frame(np.clip(picture.astype(int) + noise, 0, 255).astype(np.uint8), at_s)


@pytest.mark.parametrize("how", SPOILS)
def test_a_spoiled_view_is_blind_within_ten_seconds_and_then_well_again(tmp_path: Path, how: str) -> None:
    with opened(tmp_path / "spool.sqlite", []) as spool:
        pulse, states = Pulse("north", AT, spool), list[tuple[float, StationState]]()
        for moment in watch(Spoiled(SPOILS[how]), parse_station(STATION, "station.toml")):
            pulse.beat(moment.at_s, moment.look)
            states.append((moment.at_s, pulse.state))
    blind_s = [at_s for at_s, state in states if state is StationState.BLIND]
    assert SPOILED_FROM_S <= blind_s[0] <= SPOILED_FROM_S + WITHIN_S
    assert blind_s[-1] <= SPOILED_TO_S + 2 * WITHIN_S
