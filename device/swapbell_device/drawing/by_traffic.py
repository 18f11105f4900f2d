"""Field conditions made by the bodies: how many come, of what kind, and what they do at the gate."""

import math
from functools import partial

from swapbell_device.drawing import groups
from swapbell_device.drawing.behaviour import Rng, come, cross, fly, go
from swapbell_device.drawing.crowd import Errand
from swapbell_device.drawing.insect import Kind, length_of
from swapbell_device.drawing.intruders import Bait, Hand
from swapbell_device.drawing.light import Clouds
from swapbell_device.drawing.lingering import along, feint, groom, rest, stray
from swapbell_device.drawing.scene import Scene
from swapbell_device.drawing.stage import Stage
from swapbell_device.drawing.traffic import ANT_MM_PER_S, BuildUp, visit
from swapbell_device.drawing.way import Point, Way

# The hand's width over the knuckles, 85 mm: from memory.
PALM_MM = 85.0
# The counter must count again within three seconds after a hand has left; nobody comes into view earlier than this.
BACK_S = 2.5
# A camera's automatic exposure follows a hand that fills the view, by about so much: from memory.
EXPOSURE_SWING = (0.8, 1.15)
# Our choice: a walker has come into view by this time after it was sent.
ABOUT_S = 6.0
# Our choice: the bait lies this far beyond the gate.
BAIT_MM = 30.0


def walk(stage: Stage, per_min: float) -> None:
    """Send wasps in and out at a steady rate, on foot or partly on the wing."""
    for at_s in stage.moments(per_min):
        stage.send(Kind.WASP, partial(come if stage.rng.integers(2) else go, stage.place), at_s)


def either_way(stage: Stage) -> Errand:
    """Return the errand of a body that walks in or out, as it likes."""
    return partial(_either_way, stage)


def _either_way(stage: Stage, length_mm: float, rng: Rng) -> Way:
    return cross(stage.place, length_mm, bool(rng.integers(2)), rng)


def calm(seed: int) -> Scene:
    """Draw a few walkers and landings, a fly and an ant."""
    stage = Stage(seed, 60.0, (0.1, 0.4))
    walk(stage, 10.0)
    stage.send(Kind.FLY, either_way(stage), stage.seconds * 0.3)
    stage.send(Kind.ANT, either_way(stage), stage.seconds * 0.6)
    return stage.scene(sun=stage.sun())


def busy(seed: int) -> Scene:
    """Draw sixty crossings a minute on foot."""
    stage = Stage(seed, 60.0, (0.15, 0.4))
    walk(stage, 60.0)
    return stage.scene(sun=stage.sun())


def flight(seed: int, fps: float) -> Scene:
    """Draw bodies that fly through the view at up to 1 m/s."""
    stage = Stage(seed, 40.0, (0.25, 0.4), fps=fps, exposures_s=(0.001, 0.004))
    for at_s in stage.moments(30.0):
        stage.send(Kind.WASP, lambda length, rng: fly(stage.place, length, bool(rng.integers(2)), rng), at_s)
    return stage.scene(sun=stage.sun())


def kinds(seed: int) -> Scene:
    """Draw wasps, blowflies, flies, ants and moths, told apart by length."""
    stage = Stage(seed, 60.0)
    for index, at_s in enumerate(stage.moments(30.0)):
        stage.send(list(Kind)[index % len(Kind)], either_way(stage), at_s)
    return stage.scene(sun=stage.sun())


def together(seed: int, group: groups.Group) -> Scene:
    """Draw bodies that go through the gate side by side, nose to tail, or past each other."""
    stage = Stage(seed, 60.0)
    for at_s in stage.moments(12.0):
        groups.send(stage, group, at_s)
    return stage.scene(sun=stage.sun())


def lingering(seed: int) -> Scene:
    """Draw bodies that stray before the opening and walk along the line; some go in."""
    stage = Stage(seed, 70.0)
    errands: tuple[Errand, ...] = (
        partial(along, stage.place),
        lambda length, rng: stray(stage.place, length, rng, goes_in=bool(rng.integers(2))),
        either_way(stage),
    )
    for index, at_s in enumerate(stage.moments(16.0)):
        stage.send(Kind.WASP, errands[index % len(errands)], at_s)
    return stage.scene(sun=stage.sun())


def feints(seed: int) -> Scene:
    """Draw bodies that turn back with part of the body over the line, among some that go through."""
    stage = Stage(seed, 60.0)
    errands: tuple[Errand, ...] = (
        lambda length, rng: feint(stage.place, length, True, rng),
        lambda length, rng: feint(stage.place, length, False, rng),
        either_way(stage),
    )
    for index, at_s in enumerate(stage.moments(24.0)):
        stage.send(Kind.WASP, errands[index % len(errands)], at_s)
    return stage.scene(sun=stage.sun())


def grooming(seed: int) -> Scene:
    """Draw one that grooms in the gate for a minute and then goes in or back, while others pass."""
    stage = Stage(seed, 90.0)
    stage.send(Kind.WASP, lambda length, rng: groom(stage.place, length, rng, bool(rng.integers(2))), 3.0)
    walk(stage, 8.0)
    return stage.scene(sun=stage.sun())


def resting(seed: int) -> Scene:
    """Draw one that rests until any background would take it for board, and then goes in, while others pass."""
    stage = Stage(seed, 120.0)
    stage.send(Kind.WASP, lambda length, rng: rest(stage.place, length, rng, 85.0), 2.0)
    walk(stage, 6.0)
    return stage.scene(sun=stage.sun())


def ant_trail(seed: int) -> Scene:
    """Draw ants that come and go on one trail through the gate, and a few wasps."""
    stage = Stage(seed, 60.0, (0.12, 0.25))
    trail = stage.place.aside(stage.rng)
    for at_s in stage.moments(40.0, stage.seconds - 5.0):
        stage.send(Kind.ANT, lambda length, rng: _on_trail(stage, trail, length, rng), at_s - 5.0)
    walk(stage, 6.0)
    return stage.scene(sun=stage.sun())


def _on_trail(stage: Stage, trail_mm: float, length_mm: float, rng: Rng) -> Way:
    aside = trail_mm + float(rng.normal(0.0, 2.0))
    return cross(stage.place, length_mm, bool(rng.integers(2)), rng, ANT_MM_PER_S, aside)


def begun(seed: int) -> Scene:
    """Draw bodies that are already in view in the first frame."""
    stage = Stage(seed, 30.0)
    for at_s in stage.rng.uniform(-4.0, -0.5, 4).tolist():
        stage.send(Kind.WASP, either_way(stage), at_s)
    walk(stage, 14.0)
    return stage.scene(sun=stage.sun())


def hand(seed: int, visited: bool = True) -> Scene:
    """Draw a hand that changes the bait; the exposure follows its brightness, and nobody is about meanwhile."""
    came_s, left_s = 15.0, 24.0
    stage = Stage(seed, 50.0, (0.25, 0.4), closed_s=(came_s - 0.3, left_s + BACK_S))
    if visited:
        walk(stage, 20.0)
    bait = stage.place.sight.px(stage.place.opening.point(BAIT_MM, 0.0))
    reaches = Hand(
        came_s,
        left_s,
        bait,
        float(stage.rng.uniform(-math.pi, math.pi)),
        math.hypot(*stage.size) + PALM_MM / stage.mm_per_px,
        PALM_MM / stage.mm_per_px,
        float(stage.rng.uniform(0.3, 0.7)),
    )
    swing = Clouds(((came_s + 0.3, 1.0, float(stage.rng.uniform(*EXPOSURE_SWING))), (left_s, 1.5, 1.0)))
    return stage.scene([reaches, swing], [_bait(stage, bait, (came_s + left_s) / 2)], sun=stage.sun())


def _bait(stage: Stage, middle_px: Point, change_s: float) -> Bait:
    return Bait(change_s, _dish(stage, middle_px), _dish(stage, middle_px))


def _dish(stage: Stage, middle_px: Point) -> tuple[int, int, int, float]:
    moved_x, moved_y, radius = stage.rng.normal(0.0, 4.0), stage.rng.normal(0.0, 4.0), stage.rng.uniform(9.0, 14.0)
    return (
        round(middle_px[0] + moved_x / stage.mm_per_px),
        round(middle_px[1] + moved_y / stage.mm_per_px),
        round(radius / stage.mm_per_px),
        float(stage.rng.uniform(0.3, 0.8)),
    )


def rush(seed: int) -> Scene:
    """Draw seven minutes in which visits become frequent enough for the rule: ten within five minutes."""
    stage = Stage(seed, 420.0, (0.25, 0.4), fps=20.0)
    for at_s in BuildUp(stage.seconds, 3.0, 24.0, 30.0, 240.0).visits_s(stage.rng):
        visit(stage.crowd, stage.place, at_s, stage.rng)
    return stage.scene(sun=stage.sun())


def throng(seed: int, bodies: int, seconds: float = 20.0, size: tuple[int, int] = (640, 480)) -> Scene:
    """Draw so many wasps that stray before the opening all the time, over each other if need be: for benchmarks."""
    stage = Stage(seed, seconds, (0.3, 0.3), size, 30.0, bright=False)
    for _ in range(bodies):
        length = length_of(Kind.WASP, stage.rng)
        way = stray(stage.place, length, stage.rng, False, places=round(seconds))
        stage.crowd.insects.append(stage.crowd.body(Kind.WASP, length, way.later(-ABOUT_S)))
    return stage.scene(sun=stage.sun())
