import math

import numpy as np
import pytest

from swapbell_device.drawing.insect import BUILDS, Insect, Kind, Look
from swapbell_device.drawing.painter import Painter, Sun
from swapbell_device.drawing.sight import Sight, tilted
from swapbell_device.drawing.sprite import FIRST_BEAT, sprite
from swapbell_device.drawing.way import Leg, Way, follow
from swapbell_models.optics import Square

SIZE = (200, 150)
SIGHT = Sight(SIZE, Square(0.2))
LENGTH_MM = 14.0


def _still(x_mm: float, y_mm: float, heading_rad: float = 0.0, height_mm: float = 0.0) -> Way:
    return Way(-1.0, np.tile((x_mm, y_mm, heading_rad, height_mm, 0.0), (400, 1)))


def _painted(way: Way, exposure_s: float = 0.005, sun: Sun | None = None, sight: Sight = SIGHT) -> np.ndarray:
    canvas = np.ones(SIZE[::-1], np.float32)
    Painter(sight, exposure_s, sun).paint(canvas, [Insect(Kind.WASP, LENGTH_MM, Look(), way)], 0.5, 0)
    return 1.0 - canvas


def _middle(ink: np.ndarray) -> tuple[float, float]:
    y, x = np.nonzero(ink > 0.05)
    return float(np.mean(x)), float(np.mean(y))


@pytest.mark.parametrize("kind", [kind for kind in Kind if kind is not Kind.MOTH])
def test_a_body_is_as_long_as_it_says(kind: Kind) -> None:
    cover = sprite(kind, Look(), FIRST_BEAT if BUILDS[kind].wing else 0, 120)[..., 1]
    middle = cover[cover.shape[0] // 2 - 1 : cover.shape[0] // 2 + 1].mean(axis=0)
    assert (middle > 0.5).sum() / 120 == pytest.approx(1.0, abs=0.03)


def test_a_picture_is_smaller_for_a_camera_further_away() -> None:
    assert sprite(Kind.ANT, Look(), 0, 20).shape[0] < sprite(Kind.ANT, Look(), 0, 40).shape[0]
    assert sprite(Kind.ANT, Look(), 0, 1).max() > 0.0


def test_beating_wings_are_wider_than_folded_ones() -> None:
    folded, spread = (np.ptp(np.nonzero(sprite(Kind.WASP, Look(), p, 120)[..., 1])[0]) for p in (0, FIRST_BEAT))
    assert spread > 1.5 * folded


@pytest.mark.parametrize("heading", [0.0, 1.0, math.pi / 2, -2.0])
def test_a_body_lies_where_its_way_says_and_along_its_heading(heading: float) -> None:
    ink = _painted(_still(20.0, 15.0, heading))
    assert _middle(ink) == pytest.approx((100.0, 75.0), abs=12.0)
    y, x = np.nonzero(ink > 0.6)
    along = np.linalg.eigh(np.cov(x, y))[1][:, 1]
    assert abs(along @ (math.cos(heading), math.sin(heading))) > 0.97


def test_nobody_is_painted_out_of_view() -> None:
    assert not _painted(_still(-30.0, 15.0)).any()


def test_a_body_at_the_edge_is_cut_off() -> None:
    assert (
        0
        < np.count_nonzero(_painted(_still(0.0, 15.0)) > 0.05)
        < np.count_nonzero(_painted(_still(20.0, 15.0)) > 0.05)
    )


def test_a_long_exposure_smears_what_moves() -> None:
    way = follow((0.0, 15.0), [Leg((40.0, 15.0), 40.0)], np.random.default_rng(1)).later(0.0)
    sharp, smeared = _painted(way, 0.001), _painted(way, 0.1)
    assert smeared.max() < sharp.max()
    assert np.count_nonzero(smeared > 0.05) > 1.1 * np.count_nonzero(sharp > 0.05)
    assert smeared.sum() == pytest.approx(sharp.sum(), rel=0.15)


def test_a_shadow_falls_away_from_the_sun_and_further_from_a_flyer() -> None:
    towards = Sun(math.pi / 2, 1.5, 0.6)
    plain = _middle(_painted(_still(20.0, 10.0)))
    walking = _middle(_painted(_still(20.0, 10.0), sun=towards))
    flying = _painted(_still(20.0, 10.0, height_mm=8.0), sun=towards)
    assert walking[1] > plain[1] + 1.0
    assert walking[0] == pytest.approx(plain[0], abs=2.0)
    assert np.nonzero(flying.sum(axis=1))[0].max() > 50 + 8.0 * 1.5 / 0.2


def test_an_angled_view_shortens_bodies_across_the_tilt() -> None:
    sight = tilted(SIZE, 0.2, 0.8, 0.0)
    level, upright = (_painted(_still(20.0, 15.0, heading), sight=sight) > 0.6 for heading in (0.0, math.pi / 2))
    assert np.ptp(np.nonzero(upright)[0]) < 0.85 * np.ptp(np.nonzero(level)[1])
