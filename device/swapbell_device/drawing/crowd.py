"""Puts bodies into a scene, one after the other, so that no two are in one place at one time."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from swapbell_device.drawing.insect import BUILDS, Insect, Kind, Look, length_of
from swapbell_device.drawing.way import Array, Way

# Our choice: bodies are compared this often; a walker moves 3 mm meanwhile.
LOOK_EVERY_S = 0.05
# A body is taken for three discs in a row: places and radius in body lengths (our choice, after the proportions).
DISCS_BODIES = (-0.33, 0.0, 0.33)
RADIUS_BODIES = 0.17
# Our choice: how often another way is tried before the body is left out.
ATTEMPTS = 12
# Our choice: how much room bodies leave each other; legs may touch.
GAP_MM = 1.0

Errand = Callable[[float, np.random.Generator], Way]


class Crowd:
    """The bodies of a scene in the making.

    Parameters
    ----------
    looks : mapping of Kind to Look
        How each kind looks.
    rng : Generator
        Source of lengths and ways.
    closed_s : (float, float)
        From when to when nobody is about [s]; never, by default.
    """

    def __init__(
        self, looks: dict[Kind, Look], rng: np.random.Generator, closed_s: tuple[float, float] = (0.0, 0.0)
    ) -> None:
        self.insects: list[Insect] = []
        self._looks = looks
        self._rng = rng
        self._closed_s = closed_s

    def send(self, kind: Kind, errand: Errand, at_s: float) -> Insect | None:
        """Send a body of that kind on a way that starts at a moment; None where all attempts met others."""
        for _ in range(ATTEMPTS):
            length_mm = length_of(kind, self._rng)
            insect = self.body(kind, length_mm, errand(length_mm, self._rng).later(at_s))
            if self.add(insect):
                return insect
        return None

    def body(self, kind: Kind, length_mm: float, way: Way) -> Insect:
        """Return a body that looks like its kind here."""
        return Insect(kind, length_mm, self._looks[kind], way)

    def add(self, *together: Insect) -> bool:
        """Put bodies in that belong together, unless one of them meets another or comes while nobody is about."""
        bodies = [*self.insects, *together]
        clear = all(self._is_open(one) for one in together) and not any(
            meet(one, other, GAP_MM)
            for place, one in enumerate(together)
            for other in bodies[: len(self.insects) + place]
        )
        if clear:
            self.insects.extend(together)
        return clear

    def _is_open(self, insect: Insect) -> bool:
        return insect.way.end_s <= self._closed_s[0] or insect.way.start_s >= self._closed_s[1]


def meet(one: Insect, other: Insect, gap_mm: float) -> bool:
    """Tell whether two bodies ever come closer than a gap [mm]."""
    start = max(one.way.start_s, other.way.start_s)
    end = min(one.way.end_s, other.way.end_s)
    if start >= end:
        return False
    times = np.arange(start, end, LOOK_EVERY_S)
    apart = _discs(one, times)[:, :, None] - _discs(other, times)[:, None, :]
    return bool(np.abs(apart).min() < RADIUS_BODIES * (one.length_mm + other.length_mm) + gap_mm)


def _discs(insect: Insect, times: Array) -> NDArray[np.complex128]:
    """Return the centres (moments, 3) of a body's discs as complex numbers x + iy [mm]."""
    rows = insect.way.rows
    x, y, heading = (np.interp(times, insect.way.times_s, rows[:, column]) for column in range(3))
    ahead = np.exp(1j * heading)[:, None] * np.array(DISCS_BODIES) * insect.length_mm
    return np.asarray((x + 1j * y)[:, None] + ahead, np.complex128)


def looks(rng: np.random.Generator, bright_bodies: bool) -> dict[Kind, Look]:
    """Return one look for each kind: dark bodies with bright marks, or bright bodies for a dark board."""
    return {kind: _look(kind, rng, bright_bodies) for kind in BUILDS}


def _look(kind: Kind, rng: np.random.Generator, bright: bool) -> Look:
    dark = float(rng.uniform(0.55, 0.8) if bright else rng.uniform(0.05, 0.16))
    mark = float(rng.uniform(0.75, 0.95) if bright else rng.uniform(0.45, 0.75))
    wing, cover = float(rng.uniform(0.4, 0.8)), float(rng.uniform(0.2, 0.45))
    if kind is Kind.MOTH:  # scales make a moth's wings opaque
        wing, cover = 1.4 * dark, 0.92
    return Look(dark, mark, min(wing, 1.0), cover)
