"""The bodies that a drawn scene shows: their kinds, lengths and proportions, and the ways that they go."""

from dataclasses import dataclass
from enum import Enum

import numpy as np

from swapbell_device.drawing.way import Way


class Kind(Enum):
    """What kind of animal a drawn body is."""

    WASP = "wasp"
    BLOWFLY = "blowfly"
    FLY = "fly"
    ANT = "ant"
    MOTH = "moth"


@dataclass(frozen=True, slots=True)
class Build:
    """The proportions of a kind, all in body lengths, and the lengths that its individuals have.

    Attributes
    ----------
    shortest_mm, longest_mm
        Lengths without legs and antennae [mm].
    head, thorax, abdomen
        Centre along the body (head end +0.5, tail end -0.5), half length and half width of each part.
    wing, wing_width
        Length and half width of a forewing.
    folded_rad, spread_rad
        Angle of a resting wing from the body's axis, and of a beating one from straight aside.
    bands
        Number of bright bands on the abdomen.
    legs, antennae
        Reach of the legs aside and of the antennae ahead.
    """

    shortest_mm: float
    longest_mm: float
    head: tuple[float, float, float]
    thorax: tuple[float, float, float]
    abdomen: tuple[float, float, float]
    wing: float
    wing_width: float
    folded_rad: float
    bands: int
    legs: float
    antennae: float


# Lengths: worker wasps 10-15 (Vespula germanica, Museums Victoria) and 11-14 (V. vulgaris); blowflies 5-15; house fly
# 5-8 (general web pages); ants at bait 2-4 and 6-12, moths over 20: from memory. Kept clear of the bounds of the size
# classes (9 and 20 mm): our choice, so that a wrong class is a wrong length. Proportions are demo data, drawn by eye
# after a wasp's head and thorax of 3.2-3.8 mm and forewing of 9.5-11.5 mm (from memory).
BUILDS = {
    Kind.WASP: Build(
        10.5, 16.0, (0.42, 0.08, 0.115), (0.2, 0.15, 0.125), (-0.22, 0.28, 0.135), 0.74, 0.085, 0.2, 5, 0.34, 0.24
    ),
    Kind.BLOWFLY: Build(
        10.5, 13.0, (0.4, 0.1, 0.17), (0.15, 0.2, 0.18), (-0.24, 0.26, 0.2), 0.74, 0.14, 0.42, 0, 0.32, 0.05
    ),
    Kind.FLY: Build(
        5.0, 7.8, (0.4, 0.1, 0.15), (0.15, 0.19, 0.15), (-0.24, 0.26, 0.16), 0.75, 0.13, 0.35, 2, 0.4, 0.05
    ),
    Kind.ANT: Build(3.0, 6.5, (0.38, 0.12, 0.11), (0.08, 0.2, 0.07), (-0.3, 0.2, 0.13), 0.0, 0.0, 0.0, 0, 0.4, 0.28),
    Kind.MOTH: Build(
        22.5, 28.0, (0.42, 0.08, 0.1), (0.22, 0.16, 0.13), (-0.22, 0.28, 0.1), 0.72, 0.2, 0.38, 0, 0.24, 0.24
    ),
}


@dataclass(frozen=True, slots=True)
class Look:
    """Brightness of a body's parts (reflectance, 0 black to 1 white) and how far its wings cover what is below."""

    dark: float = 0.09
    bright: float = 0.62
    wing: float = 0.5
    wing_cover: float = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class Insect:
    """One animal of a scene: what it is, how long, how it looks and which way it goes."""

    kind: Kind
    length_mm: float
    look: Look
    way: Way


def length_of(kind: Kind, rng: np.random.Generator) -> float:
    """Return a body length of that kind without legs and antennae [mm]."""
    build = BUILDS[kind]
    return float(rng.uniform(build.shortest_mm, build.longest_mm))
