"""The box for the board on top of the hood, its lid, and what hangs it up."""

from swapbell_enclosure import places
from swapbell_enclosure.holes import holes
from swapbell_enclosure.layout import (
    CEILING_MM,
    GASKET_MM,
    HANGER_FOOT_MM,
    MESH_FRAME_MM,
    PLAY_MM,
    POST_MM,
    STANDOFF_MM,
    Layout,
)
from swapbell_enclosure.part import Part
from swapbell_enclosure.places import SLOT_LENGTH_MM, SLOT_MM, Vent
from swapbell_enclosure.screws import DOWN, UP, Name
from swapbell_enclosure.solid import Solid, Span, block, cut, joined, profile_x, profile_y, rod

STANDOFF_WIDE_MM = 6.4
EYE_MM = 7.0
MESH_MM = 0.4


def box(layout: Layout) -> Part:
    """Return the box: it reaches over the hood's lit walls like a roof, and its vents look down."""
    x, y, wall = layout.box_x, layout.box_y, layout.wall
    low, floor, top = layout.hood_top, layout.hood_top + CEILING_MM, layout.box_top
    shell = cut(
        block((-x, x), y, (low, top)),
        [block((-x + wall, x - wall), (y[0] + wall, y[1] - wall), (floor, top + 1.0))],
    )
    posts = [_post(px, py, (low, top)) for px, py in places.box_posts(layout)]
    standoffs = [
        rod((bx, by, low), UP, CEILING_MM + STANDOFF_MM, STANDOFF_WIDE_MM) for bx, by in places.board_holes(layout)
    ]
    gx, gy = places.gland(layout)
    tools = [
        _hatch(layout),
        rod((gx, gy, low - 1.0), UP, CEILING_MM + 2.0, layout.parameters.housing.gland_mm),
        *(slot for vent in places.vents(layout) for slot in _slots(vent)),
        *holes(layout, Name.BOX, UP),
    ]
    return Part(Name.BOX, (cut(joined(shell, *posts, *standoffs), tools),), UP)


def _post(x: float, y: float, z: Span) -> Solid:
    half = POST_MM / 2
    return block((x - half, x + half), (y - half, y + half), z)


def _hatch(layout: Layout) -> Solid:
    """Return the hole in the floor around the camera plate."""
    (x0, x1), (y0, y1) = places.camera_plate(layout)
    return block(
        (x0 - PLAY_MM, x1 + PLAY_MM), (y0 - PLAY_MM, y1 + PLAY_MM), (layout.hood_top - 1.0, layout.hood_top + 50.0)
    )


def _slots(vent: Vent) -> list[Solid]:
    """Return a vent's slots; where they stand upright they end in a point, which needs no bridge."""
    (_, y, z), half = vent.middle, SLOT_LENGTH_MM / 2
    if vent.outwards == DOWN:
        return [block(along, (y - half, y + half), (z - vent.wall - 1.0, z + 1.0)) for along in vent.slots]
    reach = (y - 1.0, y + vent.wall + 1.0)
    return [profile_y(_pointed(along, (z - half, z + half)), reach) for along in vent.slots]


def _pointed(along: Span, up: Span) -> list[tuple[float, float]]:
    (x0, x1), (z0, z1) = along, up
    return [(x0, z0), (x1, z0), (x1, z1 - SLOT_MM / 2), ((x0 + x1) / 2, z1), (x0, z1 - SLOT_MM / 2)]


def mesh_frame(layout: Layout) -> Part:
    """Return the frame that clamps an insect mesh behind each vent."""
    first, second = places.vents(layout)
    return Part(Name.MESH_FRAME, (_mesh_frame(layout, first), _mesh_frame(layout, second)), first.outwards)


def _mesh_frame(layout: Layout, vent: Vent) -> Solid:
    plate = _behind(vent, vent.half_frame, (0.0, MESH_FRAME_MM))
    opening = _behind(vent, (vent.half_slots, SLOT_LENGTH_MM / 2), (-1.0, MESH_FRAME_MM + 1.0))
    rebate = _behind(vent, _mesh_half(vent, PLAY_MM), (-1.0, MESH_MM + 0.1))
    tools = [each for each in holes(layout, Name.MESH_FRAME, vent.outwards) if _near(each, vent)]
    return cut(plate, [opening, rebate, *tools])


def _mesh_half(vent: Vent, play: float) -> tuple[float, float]:
    return vent.half_slots + 2.0 + play, SLOT_LENGTH_MM / 2 + 2.0 + play


def _near(tool: Solid, vent: Vent) -> bool:
    return abs(tool.center().Y - vent.middle[1]) < SLOT_LENGTH_MM


def _behind(vent: Vent, half: tuple[float, float], depth: Span) -> Solid:
    """Return a block on the inner face of a vent's wall: half its length and height, from and to so far inside."""
    (x, y, z), (long, high), (near, far) = vent.middle, half, depth
    if vent.outwards == DOWN:
        return block((x - long, x + long), (y - high, y + high), (z + near, z + far))
    return block((x - long, x + long), (y - far, y - near), (z - high, z + high))


def mesh(layout: Layout) -> Part:
    """Return the insect mesh behind each vent."""
    first, second = (_behind(vent, _mesh_half(vent, 0.0), (0.0, MESH_MM)) for vent in places.vents(layout))
    return Part(Name.MESH, (first, second), UP, MESH_MM, "stainless or plastic mesh, openings of 1 mm or less")


def lid(layout: Layout) -> Part:
    """Return the lid: a roof whose lip hangs over the vents, printed upside down."""
    reach, wall = layout.parameters.housing.overhang_mm, layout.wall
    low, top = layout.lid_bottom, layout.lid_bottom + CEILING_MM
    lip = layout.lid_bottom - layout.parameters.housing.lip_mm
    x, (y0, y1) = layout.lid_x, layout.box_y
    whole = block((-x, x), (y0 - reach - wall, y1 + reach + wall), (lip, top))
    hollow = block((-x + wall, x - wall), (y0 - reach, y1 + reach), (lip - 1.0, low))
    return Part(Name.LID, (cut(whole, [hollow, *holes(layout, Name.LID, DOWN)]),), DOWN)


def gasket(layout: Layout) -> Part:
    """Return the foam between box and lid: a band as wide as wall and posts."""
    x, (y0, y1), inset = layout.box_x, layout.box_y, layout.wall + POST_MM
    low, top = layout.box_top, layout.lid_bottom
    band = block((-x, x), (y0, y1), (low, top))
    inner = block((-x + inset, x - inset), (y0 + inset, y1 - inset), (low - 1.0, top + 1.0))
    return Part(
        Name.GASKET, (cut(band, [inner, *holes(layout, Name.GASKET, UP)]),), UP, GASKET_MM, "closed-cell foam sheet"
    )


def hanger(layout: Layout) -> Part:
    """Return the strap on the lid, with three eyes: hang it by the one at which it hangs level."""
    middle, base, foot = sum(layout.box_y) / 2, layout.lid_bottom + CEILING_MM, HANGER_FOOT_MM
    right = [(29.0, 0.0), (45.0, 0.0), (45.0, foot), (33.0, foot), (22.0, 36.0)]
    inner = [(-19.0, 22.0), (19.0, 22.0)]
    left = [(-y, z) for y, z in reversed(right)]
    outline = [(middle + y, base + z) for y, z in [*right, *left, *inner]]
    strap = profile_x(outline, (-8.0, 8.0))
    up = (1.0, 0.0, 0.0)
    eyes = [rod((-9.0, middle + each, base + 29.0), up, 18.0, EYE_MM) for each in (-13.0, 0.0, 13.0)]
    return Part(Name.HANGER, (cut(strap, [*eyes, *holes(layout, Name.HANGER, up)]),), up)
