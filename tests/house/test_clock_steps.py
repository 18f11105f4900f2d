"""A counter's clock is set while it counts: the host takes no hour for two, and calls nobody in vain."""

from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from pathlib import Path
from threading import Event

import numpy as np
import pytest
from device.test_timekeeper import AT, BOARD, BRISK, Wall, since
from spooled import opened

from swapbell_device.camera import Frame
from swapbell_device.config import parse_config
from swapbell_device.moment import Moment
from swapbell_device.run import run
from swapbell_device.timekeeper import COMPARE_S, Timekeeper
from swapbell_host.recent import Recent
from swapbell_models.message import decode
from swapbell_models.readiness import Reason, Rule, Step, assess
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction, Tally

# Six visits in five minutes: the rule asks for ten.
VISIT_EACH_S = 50.0
SET_AT_S, END_S, FRAMES_PER_S = 1200.0, 2700.0, 5.0
PICTURE = np.zeros((2, 2), np.uint8)


def walk(wall: Wall, stop: Event) -> Iterator[Moment]:
    origin_s = wall.now_s
    while not stop.is_set() and wall.now_s < END_S:
        at_s = wall.now_s - origin_s
        visit = Crossing(at_s=at_s, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0)
        yield Moment(Frame(PICTURE, at_s), [], [], [visit] if wall.now_s % VISIT_EACH_S == 0.0 else [])
        wall.now_s += 1.0 / FRAMES_PER_S
        wall.now_s = round(wall.now_s, 1)
    stop.set()


def counted(folder: Path, wall: Wall) -> list[Tally]:
    config = parse_config(BOARD, folder / "device.toml")
    with opened(folder / "spool.sqlite", []) as spool:
        while wall.now_s < END_S:
            stop = Event()
            timekeeper = Timekeeper(partial(since, wall, wall.now_s), stop.set)
            run(config, walk(wall, stop), stop, spool, BRISK, timekeeper)
        return [decode(entry.payload, Tally) for entry in spool.pending(100_000)]


@pytest.mark.parametrize("by_s", [-600.0, 600.0, -45.0])
def test_a_clock_that_is_set_while_it_counts_calls_nobody(tmp_path: Path, by_s: float) -> None:
    recent, found = Recent(), list[tuple[Step, Reason | None]]()
    told = counted(tmp_path, Wall((0.0, -by_s), (SET_AT_S, by_s)))
    for tally in told:
        recent.add(tally)
        # By the host's clock, which is right, it comes a moment after its end.
        began_at = AT + timedelta(seconds=tally.up_s) if tally.boot == told[0].boot else tally.from_at
        now = began_at + timedelta(seconds=tally.seconds + 2.0)
        verdict = assess(recent.since(now - timedelta(hours=1), now), now, Rule())
        found.append((verdict.step, verdict.reason))
    assert {step for step, _ in found} <= {Step.UNJUDGED, Step.QUIET, Step.BUILDING}
    assert (Reason.TWOFOLD in {reason for _, reason in found}) == (-by_s > COMPARE_S)
    assert len({tally.boot for tally in told}) == 2
