"""The hood over the lane: it holds the camera at its distance, lets even light in and keeps rain out."""

from swapbell_enclosure import places
from swapbell_enclosure.holes import holes
from swapbell_enclosure.layout import (
    CAMERA_PLATE_MM,
    FRAME_MM,
    PLAY_MM,
    POST_MM,
    VISOR_MM,
    Layout,
)
from swapbell_enclosure.part import Part
from swapbell_enclosure.screws import DOWN, UP, Name
from swapbell_enclosure.solid import Plane, Solid, Span, block, cut, joined, prism, profile_y, rod

BOSS_MM, BOSS_DEEP_MM = 8.0, 6.0
# The diffuser's rebate in its frame: its depth, and how far it reaches beyond the openings.
REBATE_MM, REBATE_RIM_MM = 0.8, 3.0
DIFFUSER_MM = 0.6
PILLAR_MM = 5.2


def hood(layout: Layout) -> Part:
    """Return the hood: a dark box without a floor, printed on its ceiling."""
    (along, across), (inner_x, inner_y) = layout.hood_outer, layout.hood_inner
    low, ceiling, top = layout.plate_top, layout.ceiling, layout.hood_top
    shell = cut(
        block((-along, along), (-across, across), (low, top)),
        [block((-inner_x, inner_x), (-inner_y, inner_y), (low - 1.0, ceiling))],
    )
    posts = [_column(x, y, POST_MM, (low, top)) for x, y in layout.hood_posts]
    bosses = [_column(x, y, BOSS_MM, (ceiling - BOSS_DEEP_MM, top)) for x, y in places.camera_plate_holes(layout)]
    notch = layout.channel + PLAY_MM
    tools = [
        block((-along - 1.0, along + 1.0), (-notch, notch), (low - 1.0, layout.window_top + PLAY_MM / 2)),
        eye(layout),
        *(_pane(layout, pane) for pane in places.panes(layout)),
        *holes(layout, Name.HOOD, DOWN),
    ]
    return Part(Name.HOOD, (cut(joined(shell, *posts, *bosses), tools),), DOWN)


def _column(x: float, y: float, side: float, z: Span) -> Solid:
    half = side / 2
    return block((x - half, x + half), (y - half, y + half), z)


def eye(layout: Layout) -> Solid:
    """Return the opening through which the camera looks: a rod along its axis, as wide as its housing's corners."""
    wide = layout.module.barrel_mm * 2**0.5 + 3.0
    start = places.on_camera(layout, 0.0, 0.0, 0.0)
    gx, _, gz = places.gaze(layout)
    reach = 40.0
    return rod((start[0] - gx * reach, 0.0, start[2] - gz * reach), (gx, 0.0, gz), 2 * reach, wide)


def _pane(layout: Layout, along: Span) -> Solid:
    """Return an opening for light in both walls, pointed downwards: no roof to bridge on the printer."""
    (x0, x1), (low, high) = along, places.light(layout)
    middle, rise = (x0 + x1) / 2, (x1 - x0) / 2
    wide = layout.hood_outer[1] + 1.0
    outline = [(x0, high), (x0, low + rise), (middle, low), (x1, low + rise), (x1, high)]
    return profile_y(outline, (-wide, wide))


def _panes_span(layout: Layout, rim: float) -> tuple[Span, Span]:
    """Return the bounds of all openings and a rim, along and up."""
    panes, (low, high) = places.panes(layout), places.light(layout)
    return (panes[0][0] - rim, panes[-1][1] + rim), (low - rim, high + rim)


def _face(layout: Layout, side: int, near: float, far: float) -> Span:
    """Return the bounds across the lane of what stands off the hood's outer wall on one side."""
    wall = layout.hood_outer[1]
    return (wall + near, wall + far) if side > 0 else (-wall - far, -wall - near)


def diffuser_frame(layout: Layout) -> Part:
    """Return the frame that clamps a diffuser on each side of the hood, printed on its outer face."""
    return Part(Name.FRAME, (_frame(layout, 1), _frame(layout, -1)), (0.0, -1.0, 0.0))


def _frame(layout: Layout, side: int) -> Solid:
    along, (low, high) = layout.hood_outer[0], places.light(layout)
    (x0, x1), z = _panes_span(layout, 0.0)
    rim_x, rim_z = _panes_span(layout, REBATE_RIM_MM)
    plate = block((-along, along), _face(layout, side, 0.0, FRAME_MM), (low - 7.0, high + 7.0))
    opening = block((x0, x1), _face(layout, side, -1.0, FRAME_MM + 1.0), z)
    rebate = block(rim_x, _face(layout, side, -1.0, REBATE_MM), rim_z)
    up = (0.0, -float(side), 0.0)
    tools = [each for each in holes(layout, Name.FRAME, up) if each.center().Y * side > 0]
    return cut(plate, [opening, rebate, *tools])


def diffuser(layout: Layout) -> Part:
    """Return the sheet that evens the light, one on each side."""
    x, z = _panes_span(layout, REBATE_RIM_MM - PLAY_MM / 2)
    bodies = tuple(block(x, _face(layout, side, 0.0, DIFFUSER_MM), z) for side in (1, -1))
    return Part(
        Name.DIFFUSER,
        bodies,
        (0.0, -1.0, 0.0),
        DIFFUSER_MM,
        "white translucent plastic, or two layers of baking paper",
    )


def visor(layout: Layout) -> Part:
    """Return the roof over the mouth, printed on its back."""
    wall, top, reach = -layout.hood_outer[0], places.visor_top(layout), places.visor_reach(layout)
    wide, fall = layout.hood_outer[1], reach * places.VISOR_SLOPE
    back = block((wall - VISOR_MM, wall), (-wide, wide), (top - 22.0, top))
    roof = profile_y(
        [(wall, top), (wall, top - 3.5), (wall - reach, top - 3.5 - fall), (wall - reach, top - fall)], (-wide, wide)
    )
    up = (-1.0, 0.0, 0.0)
    return Part(Name.VISOR, (cut(joined(back, roof), holes(layout, Name.VISOR, up)),), up)


def camera_plate(layout: Layout) -> Part:
    """Return the plate that carries the camera module on four pillars, tilted where the parameters say so."""
    x, y = places.camera_plate(layout)
    low = layout.hood_top
    pillars = [rod(at, places.gaze(layout), 60.0, PILLAR_MM) for at in places.camera_holes(layout)]
    whole = joined(block(x, y, (low, low + CAMERA_PLATE_MM)), *pillars)
    below = block((x[0] - 90.0, x[1] + 90.0), (y[0] - 9.0, y[1] + 9.0), (low - 90.0, low))
    tools = [below, _barrel(layout), *holes(layout, Name.CAMERA_PLATE, UP)]
    return Part(Name.CAMERA_PLATE, (cut(whole, tools),), UP)


def _barrel(layout: Layout) -> Solid:
    """Return the square opening for the lens's housing."""
    half = layout.module.barrel_mm / 2 + PLAY_MM
    plane = Plane(origin=places.on_camera(layout, 0.0, 0.0, 40.0), x_dir=(0.0, 1.0, 0.0), z_dir=places.gaze(layout))
    return prism(plane, [(-half, -half), (half, -half), (half, half), (-half, half)], 80.0)
