"""What looking after the view costs, averaged over all frames, against copying each of them."""

import sys
from collections.abc import Sequence

import pytest
from bench import cost
from pytest_benchmark.fixture import BenchmarkFixture

from swapbell_device.camera import Luma
from swapbell_device.sight import Lookout

# What the counter may spend on it: a sixteenth of what five insects may cost.
MOST = 0.6


def lookout(_: Sequence[Luma]) -> cost.Step:
    looking = Lookout(lambda image: image, 0.17)
    return lambda frame: looking.look(frame, ())


def nothing(_: Sequence[Luma]) -> cost.Step:
    """Return a step that does nothing: what measuring itself costs."""
    return lambda frame: frame


@pytest.mark.parametrize("bodies", [0, 5])
def test_looking_after_the_view_costs_a_small_part_of_a_copy(bodies: int, benchmark: BenchmarkFixture) -> None:
    pictures = cost.scene(bodies)
    found: cost.Cost = benchmark.pedantic(cost.cost, args=[lookout, pictures, cost.PASSES], rounds=1)
    ratio = found.ratio - cost.cost(nothing, pictures, cost.PASSES).ratio
    sys.stdout.write(f"\n{bodies} bodies: {ratio:.2f} times np.copyto in the mean of all frames; at most {MOST}\n")
    assert ratio <= MOST
