"""The order of a round: every station once, never longer than the order given, the shortest of all for few."""

import math
import random
from itertools import pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swapbell_host import walk as walking
from swapbell_host.jobs.plan import located
from swapbell_host.walk import EXACT_MAX_STOPS, WALK_MAX_STOPS, nearest, walk
from swapbell_models.calendar.course import course
from swapbell_models.calendar.place import Place

Key = tuple[str, str]

# A site of a few kilometres, as an orchard or a park is.
PLACES = st.builds(located, st.floats(-42.90, -42.86), st.floats(147.30, 147.36))


def stations(most: int, least: int = 0) -> st.SearchStrategy[dict[Key, Place | None]]:
    sites = st.lists(st.one_of(st.none(), PLACES, PLACES, PLACES), min_size=least, max_size=most)
    return sites.map(lambda found: {("orchard", f"s{n}"): place for n, place in enumerate(found)})


def length_m(stops: list[Place]) -> float:
    return math.fsum(course(*pair).distance_m for pair in pairwise(stops))


def east(*metres: float) -> dict[Key, Place | None]:
    """Return stations in a row on the equator, each so far east."""
    degrees = [each / 111_195.08 for each in metres]
    return {("orchard", f"s{n}"): located(0.0, each) for n, each in enumerate(degrees)}


@given(stations(24), PLACES)
@settings(max_examples=60, deadline=None)
def test_every_station_is_there_once(places: dict[Key, Place | None], here: Place) -> None:
    found = walk(places, here)
    assert sorted([leg.station for leg in found.legs] + [*found.unplaced]) == sorted(places)
    assert {places[key] for key in found.unplaced} <= {None}


@given(stations(24), PLACES)
@settings(max_examples=60, deadline=None)
def test_no_walk_is_longer_than_the_order_given(places: dict[Key, Place | None], here: Place) -> None:
    given_m = length_m([here, *(place for place in places.values() if place)])
    assert walk(places, here).distance_m <= given_m + 1e-3


@given(stations(24, least=1))
@settings(max_examples=60, deadline=None)
def test_a_walk_from_anywhere_is_not_longer_than_the_order_given(places: dict[Key, Place | None]) -> None:
    assert walk(places).distance_m <= length_m([place for place in places.values() if place]) + 1e-3


@given(st.lists(PLACES, min_size=1, max_size=5), PLACES)
@settings(max_examples=60, deadline=None)
def test_few_stops_are_walked_by_the_shortest_way_of_all(stops: list[Place], here: Place) -> None:
    places: dict[Key, Place | None] = {("orchard", f"s{n}"): place for n, place in enumerate(stops)}
    best = min(length_m([here, *order]) for order in permutations(stops))
    assert walk(places, here).distance_m == pytest.approx(best, abs=1e-3)


@given(st.permutations(range(EXACT_MAX_STOPS + 6)))
@settings(max_examples=30, deadline=None)
def test_many_stops_along_a_path_are_walked_along_it(order: list[int]) -> None:
    found = walk(east(*(100.0 * each for each in order)), located(0.0, -0.001))
    assert [order[int(leg.station[1][1:])] for leg in found.legs] == sorted(order)


def test_a_walk_begins_at_the_station_where_it_is_to_begin() -> None:
    found = walk(east(0.0, 300.0, 100.0), ("orchard", "s2"))
    assert [leg.station[1] for leg in found.legs] == ["s2", "s0", "s1"]
    assert found.legs[0].way is None


def test_many_stops_begin_at_the_station_too() -> None:
    found = walk(east(*(100.0 * n for n in range(EXACT_MAX_STOPS + 5))), ("orchard", "s7"))
    assert found.legs[0].station == ("orchard", "s7")
    assert math.isfinite(found.distance_m)


def test_each_leg_says_how_far_and_in_which_direction() -> None:
    found = walk(east(100.0, 300.0), located(0.0, 0.0))
    assert [leg.way.words for leg in found.legs if leg.way] == ["100 m E (090 degrees)", "200 m E (090 degrees)"]
    assert found.distance_m == pytest.approx(300.0, abs=0.01)
    assert found.back is not None
    assert found.back.words == "300 m W (270 degrees)"


def test_a_station_without_a_position_is_named_and_not_put_in_order() -> None:
    found = walk({("orchard", "far"): None, **east(100.0)})
    assert found.unplaced == (("orchard", "far"),)
    assert [leg.station for leg in found.legs] == [("orchard", "s0")]


def test_without_any_position_there_is_no_order() -> None:
    found = walk({("orchard", "far"): None}, located(0.0, 0.0))
    assert (found.legs, found.back, found.distance_m) == ((), None, 0.0)


def test_a_walk_cannot_begin_where_nobody_knows() -> None:
    with pytest.raises(ValueError, match="orchard/far cannot begin the walk: nobody has said where it hangs"):
        walk({("orchard", "far"): None, **east(100.0)}, ("orchard", "far"))


def test_more_stations_than_a_trip_can_serve_are_refused() -> None:
    with pytest.raises(ValueError, match=f"up to {WALK_MAX_STOPS}, not {WALK_MAX_STOPS + 1}"):
        walk(east(*(float(n) for n in range(WALK_MAX_STOPS + 1))))


@given(stations(8, least=1))
@settings(max_examples=40, deadline=None)
def test_the_nearest_station_is_the_one_with_the_shortest_way(places: dict[Key, Place | None]) -> None:
    key, here = next(iter(places.items()))
    ways = [course(here, there).distance_m for other, there in places.items() if here and there and other != key]
    found = nearest(key, places)
    assert (found is None) == (not ways)
    assert found is None or found[1].distance_m == pytest.approx(min(ways), rel=0.01)


def test_the_nearest_station_lies_across_the_date_line() -> None:
    places = {("isle", "a"): located(-16.8, 179.999), ("isle", "b"): located(-16.8, -179.999)}
    places |= {("isle", "c"): located(-16.8, 179.9), ("reef", "d"): located(-16.8, 179.999)}
    found = nearest(("isle", "a"), places)
    assert found is not None
    assert (found[0], found[1].words) == (("isle", "b"), "213 m E (090 degrees)")


@given(st.lists(PLACES, min_size=EXACT_MAX_STOPS + 1, max_size=EXACT_MAX_STOPS + 8), PLACES)
@settings(max_examples=25, deadline=None)
def test_turning_round_a_stretch_of_a_long_walk_does_not_shorten_it(stops: list[Place], here: Place) -> None:
    places = {("orchard", f"s{n}"): place for n, place in enumerate(stops)}
    found = walk(places, here)
    order = [here, *(places[leg.station] for leg in found.legs)]
    turned = [
        length_m([*order[:i], *reversed(order[i:j]), *order[j:]])
        for i in range(1, len(order))
        for j in range(i + 2, len(order) + 1)
    ]
    assert found.distance_m <= min(turned) + 1e-3


def test_a_best_order_that_is_given_is_not_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    # Seeded so that the nearest next stop leads to a walk which no turn shortens, but which is not the shortest.
    drawn = random.Random(0)
    stops = [
        located(-42.9 + 0.04 * drawn.random(), 147.3 + 0.06 * drawn.random()) for _ in range(EXACT_MAX_STOPS + 1)
    ]
    places: dict[Key, Place | None] = {("orchard", f"s{n}"): place for n, place in enumerate(stops)}
    here = located(-42.88, 147.33)
    with monkeypatch.context() as patched:
        patched.setattr(walking, "EXACT_MAX_STOPS", EXACT_MAX_STOPS + 1)
        best = walk(places, here)
    again = walk({leg.station: places[leg.station] for leg in best.legs}, here)
    assert again.distance_m == pytest.approx(best.distance_m)
