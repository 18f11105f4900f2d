"""The lane, its landing board, and the sheets that lie in it and over it."""

from swapbell_enclosure.holes import holes
from swapbell_enclosure.layout import EAR_MM, LANDING_TONGUE_MM, PLAY_MM, Layout
from swapbell_enclosure.marks import marks
from swapbell_enclosure.part import Part
from swapbell_enclosure.screws import UP, Name
from swapbell_enclosure.solid import Solid, Span, block, cut, joined, profile_x, profile_y, rod

# Our choice: grooves for a foothold, too fine to hold a leg.
GROOVE_MM, GROOVE_DEEP_MM, GROOVE_EVERY_MM = 1.2, 0.6, 4.0


def lane(layout: Layout) -> Part:
    """Return the lane: base, two walls, ears that carry the unit, and the pegs that mark the gate."""
    half, top, bottom = layout.half_length, layout.plate_top, layout.bottom
    wide = max(layout.hood_outer[1], layout.ear_y)
    base = block((-half, half), (-wide, wide), (bottom, top))
    walls = [
        block((-half, half), _side(side, layout.half_lane, layout.channel), (bottom, layout.lane_height))
        for side in (-1, 1)
    ]
    pegs = [rod((x, y, bottom), UP, -bottom, diameter) for x, y, diameter in marks(layout)]
    whole = joined(base, *walls, *(_ear(layout, side) for side in (-1, 1)), *pegs)
    return Part(Name.LANE, (cut(whole, holes(layout, Name.LANE, UP)),), UP)


def _ear(layout: Layout, side: int) -> Solid:
    inner, slot, outer = layout.channel - 0.5, layout.channel + PLAY_MM, layout.ear_y
    low, step, high = layout.bottom, layout.lane_height, layout.ear_top
    outline = [(inner, low), (outer, low), (outer, high), (slot, high), (slot, step), (inner, step)]
    mirrored = [(side * y, z) for y, z in outline]
    return profile_x(mirrored, (layout.half_length - EAR_MM, layout.half_length))


def _side(side: int, inner: float, outer: float) -> Span:
    return (inner, outer) if side > 0 else (-outer, -inner)


def landing_board(layout: Layout) -> Part:
    """Return the landing board: level with the floor at the mouth, falling outwards so that rain runs off."""
    mouth, low = -layout.half_length, layout.bottom - LANDING_TONGUE_MM
    edge = mouth - layout.parameters.lane.landing_mm
    outline = [
        (edge, low),
        (mouth + 14.0, low),
        (mouth + 14.0, layout.bottom),
        (mouth, layout.bottom),
        (mouth, 0.0),
        (edge, -3.0),
    ]
    wide = layout.channel + 10.0
    board = profile_y(outline, (-wide, wide))
    return Part(Name.LANDING, (cut(board, [*_grooves(layout, wide), *holes(layout, Name.LANDING, UP)]),), UP)


def _grooves(layout: Layout, wide: float) -> list[Solid]:
    mouth, length = -layout.half_length, layout.parameters.lane.landing_mm
    number = int((length - 2 * GROOVE_EVERY_MM) / GROOVE_EVERY_MM)
    middles = [(each + 1) * GROOVE_EVERY_MM for each in range(number)]
    return [
        block(
            (mouth - out - GROOVE_MM / 2, mouth - out + GROOVE_MM / 2),
            (-wide + 2.0, wide - 2.0),
            (-3.0 * out / length - GROOVE_DEEP_MM, 1.0),
        )
        for out in middles
    ]


def insert(layout: Layout) -> Part:
    """Return the matte sheet on the floor, with holes for the marks."""
    half, wide, thick = layout.half_length, layout.half_lane - PLAY_MM / 2, layout.parameters.lane.insert_mm
    sheet = block((-half, half), (-wide, wide), (layout.plate_top, 0.0))
    pegs = [
        rod((x, y, layout.plate_top - 1.0), UP, thick + 2.0, diameter + PLAY_MM) for x, y, diameter in marks(layout)
    ]
    return Part(Name.INSERT, (cut(sheet, pegs),), UP, thick, "matte card or plastic, light grey or white")


def window(layout: Layout) -> Part:
    """Return the clear sheet over the lane; it slides out at the mouth to be cleaned."""
    half, wide = layout.half_length, layout.channel
    sheet = block((-half, half), (-wide, wide), (layout.lane_height, layout.window_top))
    return Part(
        Name.WINDOW, (sheet,), UP, layout.parameters.lane.window_mm, "clear acrylic, or the lid of a food tub"
    )
