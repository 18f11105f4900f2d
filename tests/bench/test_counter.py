"""The counter's cost against its goals, and against a stock counter; `bench.cost` prints the same as one table."""

import sys
from functools import cache

import pytest
from bench import cost
from pytest_benchmark.fixture import BenchmarkFixture

from swapbell_device.camera import Luma

scene = cache(cost.scene)


def measured(benchmark: BenchmarkFixture, counter: cost.Counter, pictures: list[Luma], passes: int) -> cost.Cost:
    found: cost.Cost = benchmark.pedantic(cost.cost, args=[counter, pictures, passes], rounds=1)
    benchmark.extra_info.update(ratio_mean=found.ratio, ratio_median=found.middle)
    return found


@pytest.mark.parametrize("bodies", cost.GOALS)
def test_a_frame_costs_few_copies(bodies: int, benchmark: BenchmarkFixture) -> None:
    ratio = measured(benchmark, cost.ours, scene(bodies), cost.PASSES).ratio
    sys.stdout.write(f"\n{bodies} bodies: {ratio:.1f} times np.copyto; goal {cost.GOALS[bodies]:.0f}\n")
    assert ratio <= cost.GOALS[bodies]


def test_a_stock_counter_costs_many_times_more(benchmark: BenchmarkFixture) -> None:
    pictures = scene(cost.STOCK_BODIES)
    mine = cost.cost(cost.ours, pictures, cost.PASSES)
    theirs = measured(benchmark, cost.stock, pictures, cost.PASSES_STOCK)
    times = theirs.mean_s / mine.mean_s
    sys.stdout.write(f"\nstock {theirs.ratio:.0f}, ours {mine.ratio:.1f} times np.copyto\n")
    sys.stdout.write(f"a stock counter costs {times:.1f} times ours; goal {cost.STOCK_GOAL:.0f}\n")
    assert times >= cost.STOCK_GOAL
