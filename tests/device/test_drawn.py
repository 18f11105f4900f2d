from itertools import islice

import numpy as np

from swapbell_device.drawing.traffic import build_up
from swapbell_device.drawn import DrawnStation
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

SHORT = build_up(120.0)


def _visits_in(station: DrawnStation, from_s: float, to_s: float) -> int:
    return sum(crossing.is_visit() and from_s <= crossing.at_s < to_s for crossing in station.truth)


def test_the_same_seed_gives_the_same_frames() -> None:
    one, other = (list(islice(DrawnStation(seed=5, traffic=SHORT).frames(), 200)) for _ in range(2))
    assert all(np.array_equal(a.image, b.image) and a.at_s == b.at_s for a, b in zip(one, other, strict=True))


def test_another_seed_gives_another_station() -> None:
    assert DrawnStation(seed=5, traffic=SHORT).truth != DrawnStation(seed=6, traffic=SHORT).truth


def test_frames_have_the_size_and_the_times_that_were_asked_for() -> None:
    station = DrawnStation(size=(160, 120), fps=10.0, traffic=SHORT)
    frames = list(islice(station.frames(), 11))
    assert frames[0].image.shape == (120, 160)
    assert frames[0].at_s == 0.0
    assert frames[10].at_s == 1.0


def test_traffic_builds_up_until_two_windows_hold_ten_visits() -> None:
    for seed in range(1, 9):
        station = DrawnStation(seed=seed)
        assert _visits_in(station, 0.0, 120.0) < 6
        assert _visits_in(station, 300.0, 600.0) >= 10
        assert _visits_in(station, 600.0, 900.0) >= 10


def test_truth_is_in_time_order_and_knows_both_ways_and_the_small_ones() -> None:
    truth = DrawnStation(seed=2).truth
    assert [c.at_s for c in truth] == sorted(c.at_s for c in truth)
    assert {c.direction for c in truth} == {Direction.IN, Direction.OUT}
    assert {c.size for c in truth} >= {SizeClass.WASP, SizeClass.SMALL}


def test_the_gate_of_its_station_file_lies_in_the_image() -> None:
    station = DrawnStation(size=(200, 150))
    station.station.check_size(station.size)
