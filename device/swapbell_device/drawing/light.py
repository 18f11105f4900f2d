"""What the sky does to the light on the board: clouds, the sun's way, leaves that sway before it."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from swapbell_device.drawing.ground import pattern
from swapbell_device.drawing.sprite import Picture

# Our choice: shadows of leaves are soft, so they are computed on a coarse grid and enlarged.
GRID_PX = 8
# Our choice: the shadow's pattern reaches so many grid steps beyond the view, so that it can sway.
SWAY_STEPS = 24


@dataclass(frozen=True, slots=True)
class Clouds:
    """Clouds that pass before the sun: each a moment [s], how long the light takes to change [s], what is left of it.

    The light keeps its new strength until the next change.
    """

    changes: tuple[tuple[float, float, float], ...]

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light that is left."""
        light *= self.strength(at_s)
        return light

    def strength(self, at_s: float) -> float:
        """Return the light's strength at a moment as a part of full light."""
        strength = 1.0
        for start_s, takes_s, left in self.changes:
            part = min(1.0, max(0.0, (at_s - start_s) / takes_s))
            strength += (left - strength) * part * part * (3.0 - 2.0 * part)
        return strength


def clouds(seconds: float, depth: float, every_s: float, rng: np.random.Generator) -> Clouds:
    """Return clouds that change the light by up to `depth` within a second, again and again."""
    moments = np.arange(rng.uniform(1.0, every_s), seconds, every_s)
    return Clouds(
        tuple(
            (float(at_s + rng.uniform(0.0, 0.3 * every_s)), float(rng.uniform(0.3, 1.0)), _left(index, depth, rng))
            for index, at_s in enumerate(moments.tolist())
        )
    )


def _left(index: int, depth: float, rng: np.random.Generator) -> float:
    return 1.0 - depth * float(rng.uniform(0.8, 1.0)) if index % 2 == 0 else float(rng.uniform(0.95, 1.0))


@dataclass(frozen=True, slots=True)
class SunDrift:
    """The sun's slow way: over `period_s` the light's strength and its tilt over the view swing by `depth`."""

    period_s: float
    depth: float
    phase_rad: float

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light as it lies on the board then."""
        turn = 2.0 * math.pi * at_s / self.period_s + self.phase_rad
        tilt = np.linspace(-1.0, 1.0, light.shape[1], dtype=np.float32) * (0.5 * self.depth * math.sin(1.3 * turn))
        light *= 1.0 - 0.5 * self.depth * (1.0 - math.cos(turn)) + tilt
        return light


@dataclass(frozen=True, slots=True, eq=False)
class Leaves:
    """Soft shadows of leaves that sway in the wind.

    Attributes
    ----------
    layers
        Light that each layer of leaves lets through, on a coarse grid larger than the view.
    reach
        How far they sway [grid steps].
    rate_per_s
        How often they sway [1/s].
    """

    layers: tuple[Picture, ...]
    reach: float
    rate_per_s: float

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light that comes through the leaves."""
        height, width = light.shape
        through = self._layer(0, at_s)
        for index in range(1, len(self.layers)):
            through = through * self._layer(index, at_s)
        light *= np.asarray(cv2.resize(through, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
        return light

    def _layer(self, index: int, at_s: float) -> Picture:
        turn = 2.0 * math.pi * self.rate_per_s * at_s * (1.0 + 0.37 * index)
        x = SWAY_STEPS + self.reach * (math.sin(turn) + 0.4 * math.sin(2.7 * turn + index))
        y = SWAY_STEPS + self.reach * (0.6 * math.sin(1.3 * turn + 2.0 + index) + 0.3 * math.sin(3.1 * turn))
        layer = self.layers[index]
        size = (layer.shape[1] - 2 * SWAY_STEPS, layer.shape[0] - 2 * SWAY_STEPS)
        matrix = np.array(((1.0, 0.0, x), (0.0, 1.0, y)))
        moved = cv2.warpAffine(layer, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        return np.asarray(moved, np.float32)


def leaves(size_px: tuple[int, int], mm_per_px: float, depth: float, rng: np.random.Generator) -> Leaves:
    """Return two layers of leaves 10-25 mm across that take up to `depth` of the light and sway a few millimetres."""
    grid = (size_px[0] // GRID_PX + 2 * SWAY_STEPS, size_px[1] // GRID_PX + 2 * SWAY_STEPS)
    step_mm = GRID_PX * mm_per_px
    return Leaves(
        tuple(_foliage(grid, float(rng.uniform(10.0, 25.0)) / step_mm, depth, rng) for _ in range(2)),
        min(0.6 * SWAY_STEPS, float(rng.uniform(2.0, 7.0)) / step_mm),
        float(rng.uniform(0.2, 0.6)),
    )


def _foliage(grid: tuple[int, int], leaf_steps: float, depth: float, rng: np.random.Generator) -> Picture:
    shape = pattern(grid, max(leaf_steps, 1.5), max(leaf_steps, 1.5), rng)
    softness = float(rng.uniform(1.8, 3.5))
    return np.asarray(1.0 - depth / (1.0 + np.exp(-softness * (shape - 0.4))), np.float32)
