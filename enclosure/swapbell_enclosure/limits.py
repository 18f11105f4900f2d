"""What parameters must hold before anything is made: each limit, whether it is kept, and what would keep it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from swapbell_enclosure import places
from swapbell_enclosure.layout import Layout
from swapbell_enclosure.parameters import Parameters
from swapbell_models.viewing.lane import Limit, Margin

# Common practice, no source: smaller holes are passed by.
HOLE_MIN_MM = 12.0
WALL_MIN_MM = 1.6
# Our choice: two walking wasps, one upside down under the window, need about so much (from memory, 6.5 mm each).
LAYERS_MIN_MM = 13.0
# Our choice: two sheets that are sold, thinner ones sag and thicker ones do not bend to the saw.
SHEET_MM = (0.5, 5.0)
# Our choice: what a screw's head needs of a board around it, and a pillar from its neighbour.
RIM_MM, APART_MM = 1.5, 8.0
# Our choice: thicker walls are beyond the reach of the screws.
WALL_MAX_MM = 5.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit: what it is about, what was found, and what would keep it where it is not kept."""

    subject: str
    found: str
    way_out: str | None = None

    @property
    def kept(self) -> bool:
        """Return whether the limit is kept."""
        return self.way_out is None


def check(parameters: Parameters) -> list[Finding]:
    """Return every limit with its finding."""
    layout = Layout(parameters)
    lens = list(_lens(layout))
    first = [*_opening(layout), *_walls(layout), *lens]
    if not all(finding.kept for finding in lens):
        return first  # nothing else can be worked out
    return [*first, *_view(layout), *_housing(layout), *_station(layout), *_bed(layout)]


def _lens(layout: Layout) -> Iterator[Finding]:
    """Yield whether the lens can draw a picture at all where it stands: smaller than life, beyond 2 f."""
    twice, given = 2.0 * layout.module.focal_mm, layout.parameters.camera.distance_mm
    why = "nearer than twice its focal length a lens draws larger than life"
    yield _at_least("lens", "camera.nearest_mm", layout.module.nearest_mm, twice, why)
    if given is not None:
        yield _at_least("lens", "camera.distance_mm", given, twice, why)


def _at_least(subject: str, key: str, given: float, needed: float, why: str) -> Finding:
    kept = given >= needed - 1e-9
    return Finding(subject, f"{key} is {given:g} mm", None if kept else f"{why}; make it at least {_up(needed):g} mm")


def _up(length_mm: float) -> float:
    return math.ceil(length_mm * 10.0 - 1e-6) / 10.0


def _down(length_mm: float) -> float:
    return math.floor(length_mm * 10.0 + 1e-6) / 10.0


def _opening(layout: Layout) -> Iterator[Finding]:
    lane, hole = layout.parameters.lane, layout.parameters.opening.hole_mm
    yield _at_least("hole", "opening.hole_mm", hole, HOLE_MIN_MM, "no hole is ever below 12 mm: wasps pass it by")
    yield _at_least("hole", "lane.width_mm", lane.width_mm, max(hole, HOLE_MIN_MM), "the lane would narrow the hole")
    clear = max(hole, HOLE_MIN_MM) if not lane.single_layer else HOLE_MIN_MM
    yield _at_least("hole", "lane.height_mm", lane.height_mm, clear, "the lane would narrow the hole")
    if lane.single_layer:
        low = lane.height_mm <= LAYERS_MIN_MM
        way = f"one wasp could walk above another; make it at most {LAYERS_MIN_MM:g} mm, or lane.single_layer = false"
        yield Finding("single layer", f"lane.height_mm is {lane.height_mm:g} mm", None if low else way)


def _walls(layout: Layout) -> Iterator[Finding]:
    housing, lane = layout.parameters.housing, layout.parameters.lane
    yield _at_least("wall", "housing.wall_mm", housing.wall_mm, WALL_MIN_MM, "thinner walls are not printed whole")
    yield _at_most(
        "wall", "housing.wall_mm", housing.wall_mm, WALL_MAX_MM, "screws no longer reach through thicker walls"
    )
    for key, given in (("lane.insert_mm", lane.insert_mm), ("lane.window_mm", lane.window_mm)):
        yield _at_least("sheet", key, given, SHEET_MM[0], "thinner sheets sag")
        yield _at_most("sheet", key, given, SHEET_MM[1], "the screws are made for less")


def _at_most(subject: str, key: str, given: float, most: float, why: str) -> Finding:
    kept = given <= most + 1e-9
    return Finding(subject, f"{key} is {given:g} mm", None if kept else f"{why}; make it at most {_down(most):g} mm")


def _view(layout: Layout) -> Iterator[Finding]:
    sight, lane = layout.sight, layout.parameters.lane
    at = f"from {sight.distance_mm:g} mm"
    along, _ = sight.field_mm
    way = None if lane.zone_mm <= along else _nearer_or_farther(sight.distance_mm * lane.zone_mm / along, "least")
    yield Finding("field along the lane", f"{at}: sees {along:.0f} mm, the zone has {lane.zone_mm:g} mm", way)
    for margin in sight.seen.margins:
        found = f"{at}: {margin.has:.3g} {margin.unit}, needs {margin.needs:.3g} {margin.unit}"
        yield Finding(margin.limit.value, found, None if margin.ratio >= 1.0 else _remedy(margin, sight.distance_mm))
    low, high = places.light(layout)
    short = 2 * places.PANE_UPRIGHT_MM - (high - low)
    yield Finding(
        "light",
        f"the hood's openings for light are {high - low:.0f} mm high",
        None
        if short <= 0
        else f"too little light; make camera.distance_mm at least {_up(sight.distance_mm + short):g} mm",
    )


def _remedy(margin: Margin, distance_mm: float) -> str:
    match margin.limit:
        case Limit.BODY:
            return _nearer_or_farther(distance_mm * margin.ratio, "most") + ", or camera.image_px larger"
        case Limit.FOCUS:
            return _nearer_or_farther(distance_mm + margin.needs - margin.has, "least")
        case Limit.DEPTH:
            return _nearer_or_farther(distance_mm / margin.ratio, "least") + ", or lane.height_mm smaller"
        case _:
            return _nearer_or_farther(distance_mm / margin.ratio, "least")


def _nearer_or_farther(distance_mm: float, bound: str) -> str:
    rounded = _up(distance_mm) if bound == "least" else _down(distance_mm)
    return f"make camera.distance_mm at {bound} {rounded:g} mm"


def _housing(layout: Layout) -> Iterator[Finding]:
    housing = layout.parameters.housing
    slots = layout.box_height - 2.0 - 4.0
    yield _at_least("rain", "housing.overhang_mm", housing.overhang_mm, 4.0, "drops would run into the vents")
    yield _at_least("rain", "housing.lip_mm", housing.lip_mm, 8.0, "rain would be blown under the lid")
    yield _at_most("rain", "housing.lip_mm", housing.lip_mm, slots, "the lip would hang below the box's floor")
    yield _at_least("cable gland", "housing.gland_mm", housing.gland_mm, 5.0, "no cable passes")
    yield _at_most("cable gland", "housing.gland_mm", housing.gland_mm, 20.0, "the floor has no room for it")
    yield _camera_holes(layout)
    yield _board_holes(layout)


def _camera_holes(layout: Layout) -> Finding:
    module = layout.module
    (width, height), (across, up) = module.board_mm, module.holes_mm
    inside = across + 2 * RIM_MM <= width and up + 2 * RIM_MM <= height
    fits = inside and up >= APART_MM and across >= module.barrel_mm + APART_MM
    way = (
        f"the pillars need {RIM_MM:g} mm of board around each hole, {APART_MM:g} mm between rows, and as much more "
        "than the barrel between columns; measure camera.board_mm, holes_mm and barrel_mm again"
    )
    found = f"holes {across:g} x {up:g} mm on a board of {width:g} x {height:g} mm"
    return Finding("camera", found, None if fits else way)


def _board_holes(layout: Layout) -> Finding:
    (long, wide), (along, across) = layout.board.size_mm, layout.board.holes_mm
    fits = along + 2 * RIM_MM <= long and across + 2 * RIM_MM <= wide and min(along, across) >= APART_MM
    way = f"holes lie {RIM_MM:g} mm inside the board and {APART_MM:g} mm apart; measure board.size_mm, holes_mm again"
    found = f"holes {along:g} x {across:g} mm on a board of {long:g} x {wide:g} mm"
    return Finding("board", found, None if fits else way)


def _station(layout: Layout) -> Iterator[Finding]:
    station, least = layout.parameters.station, 2 * layout.ear_y + 12.0
    yield _at_least("station", "station.pot_mm", station.pot_mm, least, "the lane's ears are wider than the pot")
    if station.tub_mm is not None:
        yield _at_least("station", "station.tub_mm", station.tub_mm, least, "the lane's ears are wider than the tub")
    yield _at_least(
        "station",
        "station.tins_mm",
        station.tins_mm,
        2 * layout.channel + 32.0,
        "the lane's screws are wider apart than the tins",
    )


def _bed(layout: Layout) -> Iterator[Finding]:
    length, width = 2 * layout.half_length, 2 * max(layout.hood_outer[1], layout.ear_y)
    low, high = layout.box_y
    reach = 2 * (layout.parameters.housing.overhang_mm + layout.wall)
    ring = layout.parameters.station.tins_mm + 2 * layout.wall + 22.0
    for part, across, deep, way in (
        ("lane", length, width, "lane.zone_mm, camera.tilt_deg or housing.overhang_mm smaller"),
        ("lid", 2 * layout.lid_x, high - low + reach, "board.kind or housing.overhang_mm smaller"),
        ("adapter-tins", ring, ring, "station.tins_mm smaller"),
    ):
        bed = sorted(layout.parameters.printer.bed_mm)
        fits = all(side <= most for side, most in zip(sorted((across, deep)), bed, strict=True))
        yield Finding(
            "printer bed",
            f"the {part} is {across:.0f} x {deep:.0f} mm",
            None if fits else f"the bed is {bed[0]:g} x {bed[1]:g} mm; make {way}",
        )
