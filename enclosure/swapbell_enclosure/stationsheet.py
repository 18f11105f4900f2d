"""The station file that calibration should find: scale or plane and the gate, as the optics foresee them."""

from swapbell_enclosure.layout import Layout, Point3
from swapbell_enclosure.places import gaze
from swapbell_models.optics import Point


def to_px(layout: Layout, point: Point3) -> Point:
    """Return where the camera sees a point of the assembly [px]; x leads inwards, y towards the board's side."""
    sight, (width, height) = layout.sight, layout.parameters.camera.image_px
    (px, py, pz), (gx, _, gz) = layout.pupil, gaze(layout)
    dx, dy, dz = point[0] - px, point[1] - py, point[2] - pz
    depth = dx * gx + dz * gz
    x, y = (dx * -gz + dz * gx) / depth, dy / depth
    return width / 2 + sight.focal_px * x, height / 2 - sight.focal_px * y


def station_toml(layout: Layout) -> str:
    """Return the expected station file: what calibration finds should agree within a few per cent."""
    half = layout.half_lane
    ends = [to_px(layout, (0.0, side * half, 0.0)) for side in (-1, 1)]
    inside = to_px(layout, (layout.parameters.lane.zone_mm / 2, 0.0, 0.0))
    return "\n".join(
        [
            "# Expected from the design, for the image size in camera.image_px. Calibrate: the camera that you have,",
            "# its focus and your printer decide what is true.",
            "[view]",
            *_view(layout),
            "[gate]",
            f"line_px = [{', '.join(_pair(end) for end in ends)}]",
            f"inside_px = {_pair(inside)}",
            "",
        ]
    )


def _view(layout: Layout) -> list[str]:
    if layout.sight.tilt_deg == 0.0:
        return [f"mm_per_px = {layout.sight.mm_per_px:.5f}"]
    along, across = layout.parameters.lane.zone_mm / 2, layout.half_lane
    corners = [(sx * along, sy * across) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    seen = [to_px(layout, (x, y, 0.0)) for x, y in corners]
    return [
        f"plane_px = [{', '.join(map(_pair, seen))}]",
        f"plane_mm = [{', '.join(_pair((x, -y)) for x, y in corners)}]",
    ]


def _pair(point: Point) -> str:
    x, y = (round(each, 2) + 0.0 for each in point)
    return f"[{x}, {y}]"
