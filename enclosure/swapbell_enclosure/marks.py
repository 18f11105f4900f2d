"""The marks by which calibration knows the lane: pegs of the base that show, flush, through the insert."""

from swapbell_enclosure.layout import Layout

# Our choice: a mark wide enough for a dozen pixels, and a smaller one for the gate, so that the two are told apart.
MARK_MM, GATE_MARK_MM = 4.0, 2.6
# Our choice: from the marks' middles to the lane's walls, so that no wall hides one from the camera.
INSET_MM = 3.5


def marks(layout: Layout) -> list[tuple[float, float, float]]:
    """Return each mark's x, y and diameter [mm]: four at the corners of a rectangle, then the gate's two."""
    along, across = layout.parameters.lane.zone_mm * 0.4, layout.half_lane - INSET_MM
    corners = [(sx * along, sy * across, MARK_MM) for sx in (-1, 1) for sy in (-1, 1)]
    return [*corners, (0.0, -across, GATE_MARK_MM), (0.0, across, GATE_MARK_MM)]
