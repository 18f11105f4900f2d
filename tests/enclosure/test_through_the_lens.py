"""What the camera would see of the default assembly, against what the optics foresee."""

import math
from itertools import combinations
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from swapbell_device.stationfile import parse_station
from swapbell_enclosure.marks import marks
from swapbell_enclosure.parameters import Camera, Parameters
from swapbell_enclosure.stationsheet import station_toml, to_px

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from swapbell_enclosure.assembly import Assembly

pytestmark = pytest.mark.part("build123d")


@pytest.fixture(scope="module")
def picture(default_assembly: "Assembly") -> "NDArray[np.uint8]":
    from swapbell_enclosure.gallery import through_the_lens

    return np.asarray(cv2.cvtColor(through_the_lens(default_assembly), cv2.COLOR_RGB2GRAY), np.uint8)


def mark_at(picture: "NDArray[np.uint8]", near: tuple[float, float]) -> tuple[float, float]:
    """Return the middle of the dark spot on the light floor nearest to a point [px]."""
    dark = (picture < 100).astype(np.uint8)
    _, _, stats, middles = cv2.connectedComponentsWithStats(dark)
    spots = [middle for middle, stat in zip(middles, stats, strict=True) if 20 < stat[cv2.CC_STAT_AREA] < 2000]
    x, y = min(spots, key=lambda middle: float(np.hypot(*(middle - near))))
    return float(x), float(y)


def test_every_mark_is_seen_where_the_optics_foresee_it(
    default_assembly: "Assembly", picture: "NDArray[np.uint8]"
) -> None:
    for x, y, _ in marks(default_assembly.layout):
        foreseen = to_px(default_assembly.layout, (x, y, 0.0))
        assert mark_at(picture, foreseen) == pytest.approx(foreseen, abs=1.5)


def test_the_scale_measured_by_the_marks_is_the_foreseen_one(
    default_assembly: "Assembly", picture: "NDArray[np.uint8]"
) -> None:
    layout = default_assembly.layout
    (x0, y0, _), _, (x1, y1, _), _ = marks(layout)[:4]
    seen = [mark_at(picture, to_px(layout, (x, y, 0.0))) for x, y in ((x0, y0), (x1, y1))]
    measured = float(np.hypot(x1 - x0, y1 - y0)) / float(np.hypot(*np.subtract(*seen)))
    assert measured == pytest.approx(layout.sight.mm_per_px, rel=0.02)


def test_the_camera_sees_the_whole_gate_on_the_light_floor(
    default_assembly: "Assembly", picture: "NDArray[np.uint8]"
) -> None:
    layout = default_assembly.layout
    along = [to_px(layout, (3.0, y, 0.0)) for y in np.linspace(-layout.half_lane + 1.0, layout.half_lane - 1.0, 15)]
    assert min(int(picture[round(y), round(x)]) for x, y in along) > 150


def test_a_leaning_camera_measures_the_marks_apart_as_they_are() -> None:
    from swapbell_enclosure.assembly import assemble
    from swapbell_enclosure.gallery import through_the_lens

    tilted = assemble(Parameters(camera=Camera(tilt_deg=15.0)))
    seen = np.asarray(cv2.cvtColor(through_the_lens(tilted), cv2.COLOR_RGB2GRAY), np.uint8)
    view = parse_station(station_toml(tilted.layout), "expected").view
    points = [
        (x, y, view.to_mm(*mark_at(seen, to_px(tilted.layout, (x, y, 0.0))))) for x, y, _ in marks(tilted.layout)
    ]
    for (x0, y0, first), (x1, y1, second) in combinations(points, 2):
        assert math.dist(first, second) == pytest.approx(math.dist((x0, y0), (x1, y1)), rel=0.02, abs=0.2)
