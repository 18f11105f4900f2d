"""The station of the kill journey: the device's own run, with a spool that swears to every tally.

A line goes to the oath before a put begins and another after it returned: what was promised must reach the ledger,
and nothing may be there that was not intended. The crossings are invented, many more than in life, and come without
pictures: what is tried is everything behind the gate.

    python witness_station.py CONFIG OATH SEED [FRAMES_PER_S CROSSINGS_PER_S]
"""

import os
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from swapbell_device.camera import Frame
from swapbell_device.config import read_config
from swapbell_device.eye import Paced, now, say
from swapbell_device.linking.delivery import Patience
from swapbell_device.moment import Moment
from swapbell_device.orders import Orders
from swapbell_device.run import run
from swapbell_device.spooling.spool import Spool
from swapbell_models.fault import speak
from swapbell_models.message import encode
from swapbell_models.sizes import size_class
from swapbell_models.tally import Crossing, Direction, Tally

INTENT, DONE = b"intent ", b"done "
BRISK = Patience(retry_s=0.1, retry_max_s=0.4, resend_s=1.0, resend_max_s=2.0, health_s=1.0, stop_s=20.0, end_s=20.0)


class Sworn(Spool):
    """A spool that swears before and after every put."""

    oath: int

    def put(self, tally: Tally) -> None:
        """Keep the tally, as every spool does."""
        os.write(self.oath, INTENT + encode(tally) + b"\n")
        super().put(tally)
        os.write(self.oath, DONE + encode(tally) + b"\n")


@dataclass(frozen=True)
class Blank:
    """A camera that never ends and shows nothing."""

    per_s: float
    size: tuple[int, int] = (2, 2)

    def frames(self) -> Iterator[Frame]:
        """Yield the same picture for ever."""
        image, number = np.zeros((2, 2), np.uint8), 0
        while True:
            yield Frame(image, number / self.per_s)
            number += 1


def moments(frames: Iterator[Frame], share: float, chance: random.Random) -> Iterator[Moment]:
    """Yield invented crossings, each confirmed a little after it happened."""
    for frame in frames:
        some = chance.random() < share
        yield Moment(frame, [], [], [invented(frame.at_s, chance)] if some else [])


def invented(confirmed_s: float, chance: random.Random) -> Crossing:
    """Return a crossing of up to a second ago."""
    length_mm = chance.uniform(5.0, 25.0)
    return Crossing(
        at_s=max(0.0, confirmed_s - chance.random()),
        direction=chance.choice(list(Direction)),
        size=size_class(length_mm),
        length_mm=length_mm,
    )


def main(path: str, oath: str, seed: str, frames_per_s: str = "20", crossings_per_s: str = "2") -> None:
    """Run the station once."""
    config = read_config(Path(path))
    stop = Orders(lambda: config).stop
    frames = Paced(Blank(float(frames_per_s)), config.camera.pace, stop).frames()
    share = float(crossings_per_s) / float(frames_per_s)
    with Sworn(config.spool.path, opened_at=now(), say=say) as spool:
        spool.oath = os.open(oath, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        run(config, moments(frames, share, random.Random(seed)), stop, spool, BRISK)


if __name__ == "__main__":
    speak(lambda: main(*sys.argv[1:]))
