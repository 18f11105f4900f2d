"""A plan of the stations as they lie: north up, with a bar for the scale; drawn from coordinates alone, not a map."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from math import cos, log10, radians

from reportlab.graphics.shapes import Circle, Drawing, Line, Polygon, String
from reportlab.lib.colors import Color, black, white
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from swapbell_host.sheets.lettering import BOLD, PLAIN, drawn
from swapbell_models.calendar.course import EARTH_RADIUS_M
from swapbell_models.calendar.place import Place

# Our choice: a quarter of a page at most, half of one for a crowd of stations; room for names at its sides, and a
# scale that is no finer than a few steps.
HEIGHT_MAX, CROWDED_MAX, SIDE, MARGIN = 62 * mm, 120 * mm, 22 * mm, 9 * mm
CROWD = 15
SPAN_MIN_M, M_PER_KM = 20.0, 1000.0
LABEL_PT, DOT = 7.0, 2.2
# Our choice: a name that is longer keeps its ends, which tell names apart.
NAME_MAX, NAME_KEPT = 22, 10
# The bar is the longest round length within a third of the plan.
BAR_SHARE = 3.0
UNDER = (
    "Plan of the stations by their coordinates: north is up; filled: had toxic bait; open: had none; square: "
    "control stations. A name that finds no room is left out."
)


@dataclass(frozen=True, slots=True)
class Spot:
    """A station on the plan.

    Attributes
    ----------
    is_meant, is_control
        Whether the sheet is about it; whether it is a control station.
    """

    name: str
    place: Place
    is_meant: bool = True
    is_control: bool = False


Point = tuple[float, float]
Box = tuple[float, float, float, float]


def plan(spots: Sequence[Spot], width: float) -> Drawing:
    """Return the plan of some stations, at least one.

    Parameters
    ----------
    spots : sequence of Spot
        Near each other: the earth is taken as flat between them.
    width : float
        Of the drawing [pt].
    """
    ground_m = _flat([spot.place for spot in spots])
    highest = HEIGHT_MAX if len(spots) < CROWD else CROWDED_MAX
    room = width - 2 * SIDE, highest - 2 * MARGIN
    wide_m, high_m = (max(SPAN_MIN_M, max(side) - min(side)) for side in zip(*ground_m, strict=True))
    per_m = min(room[0] / wide_m, room[1] / high_m)
    height = min(highest, high_m * per_m + 2 * MARGIN + 12 * mm)
    at = {spot.name: point for spot, point in zip(spots, _paper(ground_m, per_m, (width, height)), strict=True)}
    drawing = Drawing(width, height)
    drawing.add(_box(0.0, 0.0, width, height, white, 0.5))
    for part in chain(
        _dots(spots, at), _names(spots, at, width), _bar(room[0] / per_m, per_m), _north(width, height)
    ):
        drawing.add(part)
    return drawing


def _flat(places: Sequence[Place]) -> list[Point]:
    """Return the places in metres east and north of the first."""
    first = places[0]
    per_degree_m = radians(1.0) * EARTH_RADIUS_M
    narrow = cos(radians(first.latitude_deg))
    return [
        (
            ((each.longitude_deg - first.longitude_deg + 180.0) % 360.0 - 180.0) * per_degree_m * narrow,
            (each.latitude_deg - first.latitude_deg) * per_degree_m,
        )
        for each in places
    ]


def _paper(ground_m: Sequence[Point], per_m: float, size: Point) -> Iterator[Point]:
    """Yield where each lies on the paper, all of them in its middle."""
    middle = [(max(side) + min(side)) / 2.0 for side in zip(*ground_m, strict=True)]
    for east, north in ground_m:
        yield size[0] / 2.0 + (east - middle[0]) * per_m, size[1] / 2.0 + (north - middle[1]) * per_m + 2 * mm


def _dots(spots: Sequence[Spot], at: Mapping[str, Point]) -> Iterator[Circle | Polygon]:
    for spot in spots:
        x, y = at[spot.name]
        ink = black if spot.is_meant else white
        if spot.is_control:
            yield _box(x - DOT, y - DOT, x + DOT, y + DOT, ink, 0.9)
        else:
            yield Circle(x, y, DOT, fillColor=ink, strokeColor=black, strokeWidth=0.9)


def _box(left: float, low: float, right: float, high: float, ink: Color, line_pt: float) -> Polygon:
    corners = [left, low, right, low, right, high, left, high]
    return Polygon(corners, fillColor=ink, strokeColor=black, strokeWidth=line_pt)


def _names(spots: Sequence[Spot], at: Mapping[str, Point], width: float) -> Iterator[String]:
    """Yield each name beside its station, those that the sheet is about first; others only where there is room."""
    taken: list[Box] = [(x - DOT, y - DOT, x + DOT, y + DOT) for x, y in at.values()]
    for spot in sorted(spots, key=lambda spot: not spot.is_meant):
        text, face = _short(spot.name), BOLD if spot.is_meant else PLAIN
        boxes = list(_beside(at[spot.name], stringWidth(text, face, LABEL_PT), width))
        free = (each for each in boxes if not any(_meet(each, other) for other in taken))
        if (box := next(free, boxes[0] if spot.is_meant else None)) is not None:
            taken.append(box)
            yield String(box[0], box[1] + 1.5, text, fontName=face, fontSize=LABEL_PT, fillColor=black)


def _beside(point: Point, long: float, width: float) -> Iterator[Box]:
    """Yield where a name may stand: right of its station, left, above, below, then aslant."""
    (x, y), high, gap = point, LABEL_PT, DOT + 2.0
    lefts, lows = (x + gap, x - gap - long, x - long / 2), (y - high / 2, y + gap, y - gap - high)
    beside = [(left, lows[0]) for left in lefts[:2]] + [(left, low) for low in lows[1:] for left in reversed(lefts)]
    for wanted, low in beside:
        left = min(max(wanted, 1.0), width - long - 1.0)
        yield left, low, left + long, low + high


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _short(name: str) -> str:
    text = drawn(name)
    return text if len(text) <= NAME_MAX else f"{text[:NAME_KEPT]}...{text[-NAME_KEPT:]}"


def _bar(wide_m: float, per_m: float) -> Iterator[Line | String]:
    long_m = round_down(wide_m / BAR_SHARE)
    left, low, right = 4 * mm, 4 * mm, 4 * mm + long_m * per_m
    for ends in ((left, low, right, low), (left, low - 2, left, low + 2), (right, low - 2, right, low + 2)):
        yield Line(*ends, strokeColor=black, strokeWidth=1.0)
    words = f"{long_m:g} m" if long_m < M_PER_KM else f"{long_m / M_PER_KM:g} km"
    yield String(left, low + 4, words, fontName=PLAIN, fontSize=LABEL_PT)


def round_down(length_m: float) -> float:
    """Return the longest of 1, 2 or 5 times a power of ten that is not above a length [m]."""
    power = 10.0 ** int(log10(length_m) if length_m >= 1.0 else log10(length_m) - 1.0)
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= length_m or step == 1.0)


def _north(width: float, height: float) -> Iterator[Polygon | String]:
    x, tip = width - 7 * mm, height - 3 * mm
    yield Polygon([x, tip, x - 5, tip - 14, x, tip - 10, x + 5, tip - 14], fillColor=black, strokeColor=black)
    yield String(x, tip - 23, "N", fontName=BOLD, fontSize=8.0, textAnchor="middle")
