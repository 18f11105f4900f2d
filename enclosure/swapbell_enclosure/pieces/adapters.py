"""What joins the lane to the three stations that people build: a pot, a tub, a pair of tins."""

from build123d import Axis, Plane, Polyline, make_face, revolve

from swapbell_enclosure import places
from swapbell_enclosure.holes import holes
from swapbell_enclosure.layout import COLLAR_MM, GRIP_MM, LEDGE_MM, PLAY_MM, SADDLE_MM, Layout
from swapbell_enclosure.part import Part
from swapbell_enclosure.screws import UP, Name
from swapbell_enclosure.solid import Solid, block, cut, joined, profile_x, rod, solid

# A fencing wire or a cord passes through.
WIRE_MM = 4.0


def saddles(layout: Layout) -> tuple[Part, Part]:
    """Return the adapters for a pot and for a tub, each bolted through a hole in its wall."""
    station = layout.parameters.station
    return _saddle(layout, Name.POT_ADAPTER, station.pot_mm), _saddle(layout, Name.TUB_ADAPTER, station.tub_mm)


def _saddle(layout: Layout, name: Name, diameter: float | None) -> Part:
    face, wide = layout.half_length, layout.ear_y
    deep = SADDLE_MM + places.sagitta(diameter, wide)
    body = block((face, face + deep), (-wide, wide), (layout.bottom, layout.ear_top))
    tunnel = block((face - 1.0, face + deep + 1.0), (-layout.half_lane, layout.half_lane), (0.0, layout.lane_height))
    up = (1.0, 0.0, 0.0)
    tools = [tunnel, *holes(layout, name, up)]
    if diameter is not None:
        axis = face + SADDLE_MM + diameter / 2
        tools.append(rod((axis, 0.0, layout.bottom - 1.0), UP, layout.ear_top - layout.bottom + 2.0, diameter))
    return Part(name, (cut(body, tools),), up)


def collar(layout: Layout) -> Part:
    """Return the ring that joins the open base tin and its roof tin, with the lane as the only way in."""
    bore = layout.parameters.station.tins_mm / 2 + PLAY_MM
    outer = bore + layout.wall
    axis = layout.half_length + COLLAR_MM + outer
    low, high = layout.bottom - GRIP_MM, layout.ear_top + GRIP_MM
    boss = block((layout.half_length, axis), (-layout.ear_y, layout.ear_y), (low, high))
    lugs = [rod((axis, side * (outer + 3.0), low), UP, high - low, 10.0) for side in (-1, 1)]
    round_body = rod((axis, 0.0, low), UP, high - low, 2 * outer)
    whole = joined(round_body, boss, *lugs)
    wires = [rod((axis, side * (outer + 3.0), low - 1.0), UP, high - low + 2.0, WIRE_MM) for side in (-1, 1)]
    tools = [_bore(layout, axis, bore), _gate(layout, axis), *wires, *holes(layout, Name.TINS_ADAPTER, UP)]
    return Part(Name.TINS_ADAPTER, (cut(whole, tools),), UP)


def _bore(layout: Layout, axis: float, bore: float) -> Solid:
    """Return the inside: wide where the tins enter, narrow between them, with a slope that prints under the ledge."""
    low, high, narrow = layout.bottom, layout.ear_top, bore - LEDGE_MM
    outline = [
        (0.0, low - GRIP_MM - 1.0),
        (bore, low - GRIP_MM - 1.0),
        (bore, low),
        (narrow, low + LEDGE_MM),
        (narrow, high),
        (bore, high),
        (bore, high + GRIP_MM + 1.0),
        (0.0, high + GRIP_MM + 1.0),
    ]
    plane = Plane(origin=(axis, 0.0, 0.0), x_dir=(1.0, 0.0, 0.0), z_dir=(0.0, -1.0, 0.0))
    face = plane * make_face(Polyline(*outline, close=True))
    return solid(revolve(face.face(), Axis((axis, 0.0, 0.0), UP)))


def _gate(layout: Layout, axis: float) -> Solid:
    """Return the way in: as wide and high as the lane, under a roof of 45 degrees."""
    half, high = layout.half_lane, layout.lane_height
    outline = [(-half, 0.0), (half, 0.0), (half, high), (0.0, high + half), (-half, high)]
    return profile_x(outline, (layout.half_length - 1.0, axis))
