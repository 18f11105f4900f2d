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

Errand = Callable[[float, np.random.Generator], Way]


class Crowd:
    """The bodies of a scene in the making.

    Parameters
    ----------
    looks : mapping of Kind to Look
        How each kind looks.
    rng : Generator
        Source of lengths and ways.
    gap_mm : float
        How much room bodies leave each other [mm].
    """

    def __init__(self, looks: dict[Kind, Look], rng: np.random.Generator, gap_mm: float = 1.0) -> None:
        self.insects: list[Insect] = []
        self._looks = looks
        self._rng = rng
        self._gap_mm = gap_mm

    def send(self, kind: Kind, errand: Errand, at_s: float) -> Insect | None:
        """Send a body of that kind on a way that starts at a moment; None where all attempts met others."""
        for _ in range(ATTEMPTS):
            length_mm = length_of(kind, self._rng)
            insect = Insect(kind, length_mm, self._looks[kind], errand(length_mm, self._rng).later(at_s))
            if self._is_clear(insect):
                return self.add(insect)
        return None

    def add(self, insect: Insect) -> Insect:
        """Put a body in as it is, whether or not it meets others."""
        self.insects.append(insect)
        return insect

    def _is_clear(self, insect: Insect) -> bool:
        return not any(meet(insect, other, self._gap_mm) for other in self.insects)


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
    return {kind: _look(rng, bright_bodies) for kind in BUILDS}


def _look(rng: np.random.Generator, bright: bool) -> Look:
    dark = rng.uniform(0.55, 0.8) if bright else rng.uniform(0.05, 0.16)
    mark = rng.uniform(0.75, 0.95) if bright else rng.uniform(0.45, 0.75)
    return Look(float(dark), float(mark), float(rng.uniform(0.4, 0.8)), float(rng.uniform(0.2, 0.45)))
