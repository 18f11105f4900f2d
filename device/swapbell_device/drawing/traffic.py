"""Who comes to a drawn station and when: visits whose rate builds up, and the others that are about."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from swapbell_device.drawing.behaviour import Place, Rng, come, cross, fly, go
from swapbell_device.drawing.crowd import Crowd, Errand
from swapbell_device.drawing.insect import Kind
from swapbell_device.drawing.lingering import feint

# The trade's rule counts visits in five minutes.
WINDOW_S = 300.0
# How long a forager cuts at the bait, 1-2.5 min: from memory; it agrees with 3-5 feeding at once at 10 in 5 min.
STAY_S = (60.0, 150.0)
# Our choice: a thing that happens beside a visit does so within this time after it.
BESIDE_S = 30.0
# Pace of ants 8-20 mm/s: from memory.
ANT_MM_PER_S = (8.0, 20.0)
# Our choice: at 20 frames a second a flyer this slow is still seen in several frames of a small view.
SLOW_FLIGHT_MM_PER_S = (200.0, 400.0)


@dataclass(frozen=True, slots=True)
class BuildUp:
    """Traffic that grows as foragers bring others to a lure: Poisson visits at a rate that rises in between.

    Attributes
    ----------
    seconds
        How long the station is watched [s].
    calm_per_window, busy_per_window
        Mean visits in five minutes, before and after the rise.
    rise_from_s, rise_to_s
        When the rise begins and ends [s]; in between the rate grows evenly.
    """

    seconds: float = 900.0
    calm_per_window: float = 1.0
    busy_per_window: float = 24.0
    rise_from_s: float = 120.0
    rise_to_s: float = 420.0

    def rate_per_s(self, at_s: float) -> float:
        """Return the mean visits in a second at a moment [1/s]."""
        part = min(1.0, max(0.0, (at_s - self.rise_from_s) / (self.rise_to_s - self.rise_from_s)))
        return (self.calm_per_window + part * (self.busy_per_window - self.calm_per_window)) / WINDOW_S

    def visits_s(self, rng: Rng) -> list[float]:
        """Return the moments of visits [s]: a Poisson process thinned to the rate (Lewis and Shedler 1979)."""
        most = max(self.calm_per_window, self.busy_per_window) / WINDOW_S
        candidates = np.sort(rng.uniform(0.0, self.seconds, rng.poisson(most * self.seconds)))
        return [at_s for at_s in candidates.tolist() if rng.uniform(0.0, most) < self.rate_per_s(at_s)]


def build_up(seconds: float = 900.0) -> BuildUp:
    """Return traffic that rises from about 1 to 24 visits in five minutes, in the same shape for any length [s]."""
    return BuildUp(seconds, rise_from_s=seconds * 2 / 15, rise_to_s=seconds * 7 / 15)


def visit(crowd: Crowd, place: Place, at_s: float, rng: Rng) -> None:
    """Send a wasp in and, after its stay, out again; and now and then somebody who passes by."""
    if crowd.send(Kind.WASP, partial(come, place), at_s):
        crowd.send(Kind.WASP, partial(go, place), at_s + float(rng.uniform(*STAY_S)))
    for kind, chance, errand in _others(place):
        if rng.random() < chance:
            crowd.send(kind, errand, at_s + float(rng.uniform(0.0, BESIDE_S)))


def _others(place: Place) -> tuple[tuple[Kind, float, Errand], ...]:
    """Return who else is about: kind, chance for each visit (our choice), and what it does."""
    return (
        (Kind.FLY, 0.12, lambda length_mm, rng: cross(place, length_mm, bool(rng.integers(2)), rng)),
        (Kind.ANT, 0.15, lambda length_mm, rng: cross(place, length_mm, bool(rng.integers(2)), rng, ANT_MM_PER_S)),
        (Kind.WASP, 0.1, lambda length_mm, rng: feint(place, length_mm, bool(rng.integers(2)), rng)),
        (
            Kind.WASP,
            0.08,
            lambda length_mm, rng: fly(place, length_mm, bool(rng.integers(2)), rng, SLOW_FLIGHT_MM_PER_S),
        ),
    )
