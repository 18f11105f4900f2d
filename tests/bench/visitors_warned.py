"""How often wasp-sized visitors warn as "all day long", over invented stations on the evening of their third day.

Run with the tests on the path, as ``PYTHONPATH=tests python tests/bench/visitors_warned.py [STATIONS]``. Traffic that
grows should seldom warn, traffic that comes all the time should; lumpy windows (small k) hide either.
"""

import math
import sys
from dataclasses import replace
from datetime import timedelta

import numpy as np
from evidence import Stretch, lured
from growing import PLACE, Truth, grown

from swapbell_host.judging import visitors
from swapbell_models.forecasting.growth import Growth

DAYS, AHEAD_H, STATIONS = 3, 14.0, 200
SIZES = (math.inf, 10.0, 3.0)
# The doubling time [foraging h], and the share of the rule that comes all the time.
SPEEDS = {Growth.EXPONENTIAL: (12.0, 20.0, 30.0, 60.0), Growth.NONE: (0.1, 0.3, 0.6)}


def is_warned(truth: Truth, seed: int) -> bool:
    """Tell whether one station's last two days warn."""
    station = grown(truth, np.random.default_rng(seed))
    begin_at = station.now - timedelta(days=2)
    counts = [
        Stretch(window.from_at, window.counted, watched_s=window.watched_s)
        for window in station.windows
        if window.watched_s and window.from_at >= begin_at
    ]
    seen = lured(counts=counts, place=PLACE)
    return visitors.steady(replace(seen, look=replace(seen.look, now=station.now))) is not None


def main(stations: int) -> None:
    """Print a line for each kind of traffic: the share of stations that warn, by k."""
    sys.stdout.write(f"{'traffic':<20}{''.join(f'k = {size:g}'.rjust(10) for size in SIZES)}\n")
    for growth, speeds in SPEEDS.items():
        for speed in speeds:
            truths = [Truth(growth, DAYS, AHEAD_H, speed, size=size) for size in SIZES]
            shares = [sum(is_warned(truth, seed) for seed in range(stations)) / stations for truth in truths]
            sys.stdout.write(
                f"{growth.value} {speed:g}".ljust(20) + "".join(f"{each:10.0%}" for each in shares) + "\n"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else STATIONS)
