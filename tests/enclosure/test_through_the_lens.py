"""What the camera would see of the default assembly, against what the optics foresee."""

import math
from itertools import combinations
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from swapbell_device.calibrating.card import card
from swapbell_device.calibrating.finding import find
from swapbell_device.calibrating.fitting import Marked, calibrate
from swapbell_device.calibrating.paper import black
from swapbell_device.stationfile import parse_station
from swapbell_enclosure.marks import marks
from swapbell_enclosure.parameters import Camera, Parameters
from swapbell_enclosure.stationsheet import station_toml, to_px

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from swapbell_enclosure.assembly import Assembly
    from swapbell_enclosure.facets import Facets
    from swapbell_enclosure.render import Surface

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


def card_on_the_floor() -> "list[Surface]":
    """Return the lane's calibration card as it lies on the floor: paper, and what is printed on it."""
    from swapbell_enclosure.render import Surface

    small = card("lane")
    length, across = small.size_mm
    paper = quads([(-1.0, -1.0, length + 2.0, across + 2.0)], 0.1)
    return [
        Surface(moved(each, -length / 2, across / 2), colour)
        for each, colour in ((paper, (250, 250, 250)), (quads(black(small), 0.15), (20, 20, 20)))
    ]


def quads(rectangles: list[tuple[float, float, float, float]], z: float) -> "Facets":
    from swapbell_enclosure.facets import Facets

    corners = [((x, -y, z), (x, -y - h, z), (x + w, -y - h, z), (x + w, -y, z)) for x, y, w, h in rectangles]
    firsts = 4 * np.arange(len(corners))[:, None]
    return Facets(
        np.array(corners, np.float64).reshape(-1, 3),
        np.vstack([np.add(firsts, (0, 1, 2)), np.add(firsts, (0, 2, 3))]).astype(np.int64),
    )


def moved(flat: "Facets", x: float, y: float) -> "Facets":
    from swapbell_enclosure.facets import Facets

    return Facets(np.add(flat.points, (x, y, 0.0)), flat.triangles)


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_calibration_by_the_card_finds_the_scale_that_the_optics_foresee(tilt_deg: float) -> None:
    from swapbell_enclosure.assembly import assemble
    from swapbell_enclosure.gallery import before_the_lens, lens
    from swapbell_enclosure.render import draw

    assembly = assemble(Parameters(camera=Camera(tilt_deg=tilt_deg)))
    layout = assembly.layout
    shown = [*before_the_lens(assembly), *card_on_the_floor()]
    picture = draw(shown, lens(layout), layout.parameters.camera.image_px, outlines=False)
    seen = find(np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.uint8))
    length, across = seen.card.size_mm
    gate_mm = ((length / 2, across / 2 - layout.half_lane), (length / 2, across / 2 + layout.half_lane))
    size = layout.parameters.camera.image_px
    found = calibrate(Marked(seen.corners_px, seen.corners_mm, gate_mm, (length, across / 2)), size)
    foreseen = parse_station(station_toml(layout), "expected").view
    assert found.mm_per_px == pytest.approx(foreseen.mm_per_px(*found.middle_px), rel=0.02)
    for end, side in zip((found.gate.start_px, found.gate.end_px), (1.0, -1.0), strict=True):
        assert math.dist(end, to_px(layout, (0.0, side * layout.half_lane, 0.0))) * found.mm_per_px < 0.5


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
