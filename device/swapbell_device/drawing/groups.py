"""Bodies that go through the opening together: side by side, nose to tail, or past each other."""

from collections.abc import Callable

from swapbell_device.drawing.behaviour import Rng, cross
from swapbell_device.drawing.crowd import ATTEMPTS, GAP_MM, meet
from swapbell_device.drawing.insect import Insect, Kind, length_of
from swapbell_device.drawing.stage import Stage
from swapbell_device.drawing.way import Way

# Our choice: from middle to middle of two bodies, each 3.5 mm wide without legs, which may touch.
ABREAST_MM = (5.0, 7.5)
PASSING_MM = (5.5, 10.0)
# Our choice: two abreast are not exactly level.
UNEVEN_S = 0.12
# Our choice: how much longer the next in a queue waits, each time it would touch the one before it.
WAIT_S = 0.02

Group = Callable[[Stage, float], list[Insect]]


def abreast(stage: Stage, at_s: float) -> list[Insect]:
    """Return two bodies that walk the same way side by side."""
    one = _walker(stage, at_s, bool(stage.rng.integers(2)), 0.5 * stage.place.aside(stage.rng))
    origin, aside = stage.place.opening.point(0.0, 0.0), stage.place.opening.point(0.0, _gap(stage.rng, ABREAST_MM))
    way = one.way.moved((aside[0] - origin[0], aside[1] - origin[1]))
    return [one, _like(stage, way.later(float(stage.rng.uniform(-UNEVEN_S, UNEVEN_S))))]


def queue(stage: Stage, at_s: float) -> list[Insect]:
    """Return two or three bodies that walk the same way, each close behind the one before."""
    bodies = [_walker(stage, at_s, bool(stage.rng.integers(2)), stage.place.aside(stage.rng))]
    for _ in range(int(stage.rng.integers(1, 3))):
        bodies.append(_behind(stage, bodies[-1]))
    return bodies


def passing(stage: Stage, at_s: float) -> list[Insect]:
    """Return one body that goes in and one that goes out; both are on the line at the same moment."""
    aside = 0.7 * stage.place.aside(stage.rng)
    inward = _walker(stage, at_s, True, aside)
    outward = _walker(stage, at_s, False, aside + _gap(stage.rng, PASSING_MM))
    apart_s = _passage_s(stage, inward) - _passage_s(stage, outward)
    return [inward, stage.crowd.body(outward.kind, outward.length_mm, outward.way.later(apart_s))]


def send(stage: Stage, group: Group, at_s: float) -> None:
    """Send a group on its way; it is left out if it meets others in every attempt."""
    for _ in range(ATTEMPTS):
        if stage.crowd.add(*group(stage, at_s)):
            return


def _walker(stage: Stage, at_s: float, inward: bool, aside_mm: float) -> Insect:
    length = length_of(Kind.WASP, stage.rng)
    return stage.crowd.body(
        Kind.WASP, length, cross(stage.place, length, inward, stage.rng, aside_mm=aside_mm).later(at_s)
    )


def _like(stage: Stage, way: Way) -> Insect:
    return stage.crowd.body(Kind.WASP, length_of(Kind.WASP, stage.rng), way)


def _behind(stage: Stage, ahead: Insect) -> Insect:
    follower = _like(stage, ahead.way)
    wait = WAIT_S
    while meet(ahead, stage.crowd.body(Kind.WASP, follower.length_mm, ahead.way.later(wait)), GAP_MM):
        wait += WAIT_S
    return stage.crowd.body(Kind.WASP, follower.length_mm, ahead.way.later(wait))


def _gap(rng: Rng, gap_mm: tuple[float, float]) -> float:
    return float(rng.uniform(*gap_mm)) * float(rng.choice((-1.0, 1.0)))


def _passage_s(stage: Stage, insect: Insect) -> float:
    return next(at_s for at_s, _ in stage.place.opening.passages(insect.way, insect.length_mm))
