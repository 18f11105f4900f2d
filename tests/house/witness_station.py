"""The station of the kill journey: the device's own run, with a spool that swears to every tally.

A line goes to the oath before a put begins and another after it returned: what was promised must reach the ledger,
and nothing may be there that was not intended. Another line tells of each crossing that was counted. The pictures are
blank: the crossings are invented, many more than in life, or are those that a counter found in a drawn station, over
and over again; what is tried is everything behind the gate. The clock of its board is set now and then.

    python witness_station.py CONFIG OATH SEED [FRAMES_PER_S CROSSINGS_PER_S [COUNTED [CLOCK_SET_EACH_S]]]
"""

import math
import os
import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import numpy as np

from swapbell_device.camera import Frame
from swapbell_device.config import Config, DrawnCamera, read_config
from swapbell_device.eye import Paced, now, say
from swapbell_device.linking.delivery import Patience
from swapbell_device.moment import Moment
from swapbell_device.orders import Orders
from swapbell_device.run import memory, run
from swapbell_device.spooling.spool import Spool
from swapbell_device.timekeeper import Timekeeper
from swapbell_models.fault import speak
from swapbell_models.message import encode
from swapbell_models.sizes import size_class
from swapbell_models.tally import Crossing, Direction, Tally

INTENT, DONE, SEEN, BEGUN = b"intent ", b"done ", b"seen ", b"begun"
BRISK = Patience(retry_s=0.1, retry_max_s=0.4, resend_s=1.0, resend_max_s=2.0, health_s=1.0, stop_s=20.0, end_s=20.0)
# Our choice: nobody's clock is further off than by a zone or two.
SET_BY_MAX_S = 7200.0


class Seen(msgspec.Struct, frozen=True):
    """A crossing, counted like a frame's time, and when it was confirmed [s]."""

    confirmed_s: float
    crossing: Crossing


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


def invented(per_s: float, chance: random.Random) -> Iterator[Seen]:
    """Yield invented crossings, each confirmed a little after it happened."""
    confirmed_s = 0.0
    while True:
        confirmed_s += chance.expovariate(per_s)
        length_mm = chance.uniform(5.0, 25.0)
        yield Seen(
            confirmed_s,
            Crossing(
                at_s=max(0.0, confirmed_s - chance.random()),
                direction=chance.choice(list(Direction)),
                size=size_class(length_mm),
                length_mm=length_mm,
            ),
        )


def counted(path: Path) -> Iterator[Seen]:
    """Yield the crossings of a file over and over again."""
    found = msgspec.json.decode(path.read_bytes(), type=list[Seen])
    length_s, begin_s = math.ceil(found[-1].confirmed_s), 0.0
    while True:
        for seen in found:
            at_s = begin_s + seen.crossing.at_s
            yield Seen(begin_s + seen.confirmed_s, msgspec.structs.replace(seen.crossing, at_s=at_s))
        begin_s += length_s


def moments(frames: Iterator[Frame], seen: Iterator[Seen], orders: Orders, oath: int) -> Iterator[Moment]:
    """Yield the frames with the crossings that are confirmed by then, and swear to those."""
    following = next(seen)
    for frame in frames:
        orders.obey()
        found: list[Crossing] = []
        while following.confirmed_s <= frame.at_s:
            os.write(oath, SEEN + msgspec.json.encode(Seen(frame.at_s, following.crossing)) + b"\n")
            found.append(following.crossing)
            following = next(seen)
        yield Moment(frame, [], [], found)


@dataclass
class Wall:
    """A wall clock that is right but for a while, set now and then by up to two hours forward or back."""

    starts_at: datetime
    each_s: float
    chance: random.Random
    at_s: float = 0.0
    off_s: float = 0.0
    set_s: float = 0.0

    def told(self, frames: Iterator[Frame]) -> Iterator[Frame]:
        """Yield frames, and let the clock go on with them."""
        begin_s = self.at_s
        for frame in frames:
            self.at_s = begin_s + frame.at_s
            yield frame

    def start_of(self, begin_s: float) -> Callable[[], datetime]:
        """Return what tells when a start was that began so long after the first [s]."""

        def started_at() -> datetime:
            if self.at_s - self.set_s >= self.each_s:
                self.set_s, self.off_s = self.at_s, self.chance.uniform(-SET_BY_MAX_S, SET_BY_MAX_S)
            return self.starts_at + timedelta(seconds=begin_s + self.off_s)

        return started_at


@dataclass(frozen=True)
class Witness:
    """Everything of one process."""

    config: Config
    orders: Orders
    spool: Sworn
    wall: Wall
    per_s: float
    seen: Callable[[], Iterator[Seen]]

    def run(self) -> None:
        """Run the station until it is told to end, each time its clock is set from anew."""
        config: Config | None = self.config
        while config is not None:
            os.write(self.spool.oath, BEGUN + b"\n")
            timekeeper = Timekeeper(self.wall.start_of(self.wall.at_s), self.orders.renew)
            shown, stop = self._moments(config), self.orders.stop
            run(config, shown, stop, self.spool, BRISK, timekeeper, self.orders.goes_on)
            config = self.orders.next()

    def _moments(self, config: Config) -> Iterator[Moment]:
        assert isinstance(config.camera, DrawnCamera)
        frames = Paced(Blank(self.per_s), config.camera.pace, self.orders.stop).frames()
        return moments(self.wall.told(frames), self.seen(), self.orders, self.spool.oath)


def main(path: str, oath: str, seed: str, *rest: str) -> None:
    """Run the station once."""
    frames_per_s, crossings_per_s, found, each_s = (*rest, *("20", "2", "", "inf")[len(rest) :])
    config, chance = read_config(Path(path)), random.Random(seed)
    orders = Orders(lambda: config)
    wall = Wall((config.starts_at or now()).astimezone(UTC), float(each_s), chance)
    with Sworn(config.spool.path, opened_at=now(), say=say, memory=memory()) as spool:
        spool.oath = os.open(oath, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

        def seen() -> Iterator[Seen]:
            return counted(Path(found)) if found else invented(float(crossings_per_s), chance)

        Witness(config, orders, spool, wall, float(frames_per_s), seen).run()


if __name__ == "__main__":
    speak(lambda: main(*sys.argv[1:]))
