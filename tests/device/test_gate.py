import itertools
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.following.track import Blob, Track
from swapbell_device.gate import Gate
from swapbell_device.stationfile import parse_station
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction

# One millimetre per pixel; the gate runs along y from 0 to 40 at x = 50; inside is to the right. Bodies are 12 mm.
STATION = parse_station(
    "[view]\nmm_per_px = 1.0\n[gate]\nline_px = [[50, 0], [50, 40]]\ninside_px = [90, 20]\n", "drawn"
)


def crossings(depths_mm: Iterable[float], along_mm: float = 20.0, length_mm: float = 12.0) -> list[Crossing]:
    """Let one body stand at these depths, ten frames a second."""
    gate, found = Gate(STATION), list[Crossing]()
    track: Track | None = None
    for i, depth in enumerate(depths_mm):
        blob = Blob(50.0 + depth, along_mm, length_mm, 40.0, width_mm=4.0)
        if track is None:
            track = Track.of(1, blob, 0.0)
        else:
            track.meet(blob, 0.1 * i)
        found += gate.cross([track], 0.1 * i)
    return found


def way(*turns_mm: float) -> list[float]:
    """Return depths that go straight from turn to turn in steps of 1 mm."""
    depths = [turns_mm[0]]
    for target in turns_mm[1:]:
        step = 1.0 if target > depths[-1] else -1.0
        while depths[-1] != target:
            depths.append(depths[-1] + step)
    return depths


def test_a_body_that_walks_in_counts_once() -> None:
    (crossing,) = crossings(way(-20.0, 20.0))
    assert (crossing.direction, crossing.size) == (Direction.IN, SizeClass.WASP)


def test_a_body_that_walks_out_counts_once() -> None:
    assert [c.direction for c in crossings(way(20.0, -20.0))] == [Direction.OUT]


def test_the_time_is_when_the_centre_passed_the_line_between_two_frames() -> None:
    (crossing,) = crossings(depth + 0.5 for depth in way(-20.0, 20.0))
    assert crossing.at_s == pytest.approx(1.95)


def test_turning_back_with_the_body_over_the_line_is_none() -> None:
    assert crossings(way(-20.0, 5.0, -20.0)) == []


def test_half_a_body_length_beyond_makes_it_one() -> None:
    assert len(crossings(way(-20.0, 6.0))) == 1


def test_in_and_out_again_are_two() -> None:
    assert [c.direction for c in crossings(way(-20.0, 15.0, -15.0))] == [Direction.IN, Direction.OUT]


def test_of_several_passages_the_last_gives_the_time() -> None:
    (crossing,) = crossings(way(-20.0, 3.0, -3.0, 20.0))
    assert crossing.at_s == pytest.approx(3.2)


@pytest.mark.parametrize("along_mm", [-10.0, 50.0])
def test_passing_beside_the_gate_is_none(along_mm: float) -> None:
    assert crossings(way(-20.0, 20.0), along_mm) == []


def test_a_body_first_seen_just_before_the_line_counts() -> None:
    assert len(crossings(way(-4.0, 20.0))) == 1


def test_a_flash_is_no_body() -> None:
    assert crossings([-20.0, 20.0]) == []


def test_a_longer_body_must_go_further() -> None:
    assert crossings(way(-20.0, 12.0), length_mm=26.0) == []


@given(st.lists(st.floats(-30.0, 30.0), min_size=2, max_size=60))
def test_in_and_out_alternate_whatever_a_body_does(depths_mm: list[float]) -> None:
    found = [crossing.direction for crossing in crossings(depths_mm)]
    assert all(earlier is not later for earlier, later in itertools.pairwise(found))


def test_a_streak_of_rain_is_no_body() -> None:
    gate, found = Gate(STATION), list[Crossing]()
    track = Track.of(1, Blob(30.0, 20.0, 20.0, 30.0, width_mm=1.5), 0.0)
    for i, depth in enumerate(way(-20.0, 20.0)[1:], start=1):
        track.meet(Blob(50.0 + depth, 20.0, 20.0, 30.0, width_mm=1.5), 0.1 * i)
        found += gate.cross([track], 0.1 * i)
    assert found == []


def test_what_swerves_as_much_as_it_moves_is_no_body() -> None:
    depths = [depth + 6.0 * (-1) ** i for i, depth in enumerate(way(-20.0, 20.0))]
    assert crossings(depths) == []


def believed(swerve_mm: float = 0.0, margin: float = 10.0, missed: int = 0) -> list[Crossing]:
    """Let a body walk in that swerved so far, differs by so many times what clutter does, and was missed so often."""
    gate, found = Gate(STATION), list[Crossing]()
    track = Track.of(1, Blob(30.0, 20.0, 12.0, 40.0, width_mm=4.0), 0.0)
    for i, depth in enumerate(way(-19.0, 20.0), start=1):
        track.meet(Blob(50.0 + depth, 20.0, 12.0, 40.0, width_mm=4.0), 0.1 * i)
        track.swerve_mm, track.margin, track.missed = swerve_mm, margin, missed
        found += gate.cross([track], 0.1 * i)
    return found


def test_a_body_that_walks_straight_in_is_sure() -> None:
    (crossing,) = believed()
    assert crossing.confidence == 1.0


def test_a_crossing_is_as_sure_as_its_weakest_evidence() -> None:
    (crossing,) = believed(margin=1.4, swerve_mm=1.0)
    assert crossing.confidence == pytest.approx(0.4)


def test_what_differs_hardly_more_than_clutter_is_no_crossing() -> None:
    assert believed(margin=1.1) == []


def test_a_body_missed_now_and_then_is_less_sure() -> None:
    (crossing,) = believed(missed=6)
    assert crossing.confidence is not None
    assert 0.6 < crossing.confidence < 0.9
