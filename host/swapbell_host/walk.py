"""In which order to walk to the stations of a round, and how far it is from each to the next."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from swapbell_host.intake import Station as Key
from swapbell_models.calendar.course import EARTH_RADIUS_M, Course, course
from swapbell_models.calendar.place import Place
from swapbell_models.quantity import at_most

# Our choice: every order of ten stops is weighed within a tenth of a second; each stop more takes twice as long.
EXACT_MAX_STOPS = 10
# Our choice: beyond it, to shorten the order given too takes seconds, and what is nearest is the better beginning.
TWICE_MAX_STOPS = 200
# Our choice: all stations of a large estate, to know what they take; they are put in order within some three seconds.
WALK_MAX_STOPS = 1_000
# Our choice: a way that is shorter by less is no gain, but the rounding of floating point.
GAIN_MIN_M = 1e-6

# How far it is from each point to each other [m]; the walk begins at point 0.
Ways = Sequence[Sequence[float]]
Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Leg:
    """One stop of a walk.

    Attributes
    ----------
    station
        Where it leads.
    way
        From the stop before it, or from where the walk begins; nothing at the first stop of a walk that begins there.
    """

    station: Key
    way: Course | None


@dataclass(frozen=True, slots=True)
class Walk:
    """A round in the order in which to walk it.

    Attributes
    ----------
    legs
        The stops, in order.
    unplaced
        The stations that are in no order, because nobody has said where they hang.
    back
        From the last stop to where the walk began; nothing without a stop.
    """

    legs: tuple[Leg, ...]
    unplaced: tuple[Key, ...]
    back: Course | None

    @property
    def distance_m(self) -> float:
        """How long the walk is from its beginning to the last stop, as the crow flies [m]."""
        return math.fsum(leg.way.distance_m for leg in self.legs if leg.way)


def walk(places: Mapping[Key, Place | None], start: Key | Place | None = None) -> Walk:
    """Return the order in which to walk to stations: the shortest of all for few, a short one for many.

    Never longer than the order given, with a starting station put first.

    Parameters
    ----------
    places : mapping of (site, station) to Place
        Where each station hangs, as far as somebody has said; at most `WALK_MAX_STOPS`.
    start : (site, station) or Place, optional
        One of the stations, or where the person stands; where it suits best, if not said.

    Raises
    ------
    ValueError
        If there are too many, or the walk is to begin at a station whose position nobody has said.

    Notes
    -----
    Distances are those of `calendar.course`: paths, fences and hills are not known. For `EXACT_MAX_STOPS` or fewer
    the shortest is found by dynamic programming (Held and Karp 1962, J SIAM 10:196-210); for more, the order given
    (up to `TWICE_MAX_STOPS`) and that of the nearest next stop are shortened by turning stretches round (2-opt: Croes
    1958, Oper Res 6:791-812), and the shorter one is taken.
    """
    at_most("stations of a round", len(places), WALK_MAX_STOPS)
    placed = {key: place for key, place in places.items() if place}
    if isinstance(start, tuple):
        placed = _first(placed, start)
    unplaced = tuple(key for key in places if key not in placed)
    if not placed:
        return Walk((), unplaced, None)
    keys, here = [*placed], start if isinstance(start, Place) else None
    order = [keys[stop - 1] for stop in _order(_ways(here, [*placed.values()], isinstance(start, tuple)))[1:]]
    stops = [placed[key] for key in order]
    first = course(here, stops[0]) if here else None
    ways = [first, *(course(*pair) for pair in pairwise(stops))]
    legs = tuple(Leg(key, way) for key, way in zip(order, ways, strict=True))
    return Walk(legs, unplaced, course(stops[-1], here or stops[0]))


def nearest(key: Key, places: Mapping[Key, Place | None]) -> tuple[Key, Course] | None:
    """Return the nearest other station of the same site and the way there; nothing where a place is not known."""
    here = places[key]
    others = [(other, there) for other, there in places.items() if there and other != key and other[0] == key[0]]
    if here is None or not others:
        return None
    wide = math.cos(math.radians(here.latitude_deg))

    def apart(each: tuple[Key, Place]) -> float:
        """Return how far apart two places of one site look on a flat map: enough to tell which is nearest."""
        east_deg = (each[1].longitude_deg - here.longitude_deg + 180.0) % 360.0 - 180.0
        return math.hypot(each[1].latitude_deg - here.latitude_deg, east_deg * wide)

    found, there = min(others, key=apart)
    return found, course(here, there)


def _first(placed: Mapping[Key, Place], start: Key) -> dict[Key, Place]:
    if start not in placed:
        raise ValueError(f"station {'/'.join(start)} cannot begin the walk: nobody has said where it hangs")
    return {start: placed[start], **placed}


def _ways(here: Place | None, stops: Sequence[Place], first_is_first: bool) -> Ways:
    """Return the ways, from a beginning that costs nothing where the person may begin anywhere."""
    points = [_point(stop) for stop in stops]
    between = [[_apart_m(one, other) for other in points] for one in points]
    if here:
        begin = [_apart_m(_point(here), other) for other in points]
    else:
        begin = [math.inf if first_is_first and stop else 0.0 for stop in range(len(stops))]
    return [[0.0, *begin], *([0.0, *row] for row in between)]


def _point(place: Place) -> Point:
    """Return where a place lies in space, from the middle of the earth [its radius]."""
    north, east = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
    return math.cos(north) * math.cos(east), math.cos(north) * math.sin(east), math.sin(north)


def _apart_m(one: Point, other: Point) -> float:
    """Return how far apart two points are over the ground, by the chord between them [m]."""
    return 2.0 * EARTH_RADIUS_M * math.asin(min(math.dist(one, other) / 2.0, 1.0))


def _order(ways: Ways) -> Sequence[int]:
    if len(ways) - 1 <= EXACT_MAX_STOPS:
        return _shortest(ways)
    given, near = list(range(len(ways))), _turned(_nearest(ways), ways)
    if len(given) - 1 <= TWICE_MAX_STOPS:
        given = _turned(given, ways)
    return min(given, near, key=lambda path: _length(path, ways))


def _shortest(ways: Ways) -> Sequence[int]:
    """Return the shortest path: of those that have been at the same points and end alike, the best goes on."""
    best: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {(1, 0): (0.0, (0,))}
    for _ in ways[1:]:
        longer: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
        for key, found in _grown(best, ways):
            if key not in longer or found < longer[key]:
                longer[key] = found
        best = longer
    return min(best.values())[1]


def _grown(
    best: Mapping[tuple[int, int], tuple[float, tuple[int, ...]]], ways: Ways
) -> Iterator[tuple[tuple[int, int], tuple[float, tuple[int, ...]]]]:
    """Yield each path with each point more."""
    for (been, last), (length, path) in best.items():
        for stop in range(1, len(ways)):
            if not been >> stop & 1:
                yield (been | 1 << stop, stop), (length + ways[last][stop], (*path, stop))


def _nearest(ways: Ways) -> list[int]:
    path, left = [0], set(range(1, len(ways)))
    while left:
        path.append(min(left, key=lambda stop: (ways[path[-1]][stop], stop)))
        left.remove(path[-1])
    return path


def _turned(path: list[int], ways: Ways) -> list[int]:
    """Return a path in which no stretch can be turned round to shorten it."""
    improving = True
    while improving:
        improving = False
        for i in range(1, len(path) - 1):
            j = i
            while j := _turn(path, i, j + 1, ways):
                path[i : j + 1] = reversed(path[i : j + 1])
                improving = True
    return path


def _turn(path: Sequence[int], i: int, begin: int, ways: Ways) -> int:
    """Return the next end, from `begin` on, of a stretch from i that turned round shortens the path; else 0."""
    to_before, to_first, now_m = ways[path[i - 1]], ways[path[i]], ways[path[i - 1]][path[i]]
    for j in range(begin, len(path) - 1):
        last, after = path[j], path[j + 1]
        if now_m - to_before[last] + ways[last][after] - to_first[after] > GAIN_MIN_M:
            return j
    return len(path) - 1 if begin < len(path) and now_m - to_before[path[-1]] > GAIN_MIN_M else 0


def _length(path: Sequence[int], ways: Ways) -> float:
    return math.fsum(ways[one][other] for one, other in pairwise(path))
