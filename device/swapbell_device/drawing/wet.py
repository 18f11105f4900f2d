"""Rain: streaks in the air, dark spots on the board, drops on the lens."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.drawing.sprite import Picture

# Our choice: a wet spot darkens at once and dries within this time [s].
DRYING_S = 25.0
# Wet wood or paint reflects about a sixth less than dry: from memory.
WETNESS = 0.16
# Our choice: moments closer than this show the same streaks; far below the time between two frames.
TICK_S = 0.0001
# Our choice: so many of the drops on a lens are heavy enough to run.
RUNNING_PART = 0.25


@dataclass(frozen=True, slots=True)
class Streaks:
    """Falling drops, blurred into streaks while the shutter is open.

    Attributes
    ----------
    per_frame
        Mean number in a frame.
    lean_rad
        Angle from straight down the image.
    length_px, strength
        Largest length, and how much of full light the brightest one adds.
    seed
        Source of their places.
    """

    per_frame: float
    lean_rad: float
    length_px: float
    strength: float
    seed: int

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light with the streaks of that moment."""
        rng = np.random.default_rng((self.seed, round(at_s / TICK_S)))
        sheet = np.zeros(light.shape, np.uint8)
        for _ in range(int(rng.poisson(self.per_frame))):
            self._fall(sheet, rng)
        light += np.asarray(cv2.GaussianBlur(sheet, (3, 3), 0), np.float32) * (self.strength / 255.0)
        return light

    def _fall(self, sheet: NDArray[np.uint8], rng: np.random.Generator) -> None:
        x, y = rng.uniform(0.0, 1.0) * sheet.shape[1], rng.uniform(-0.2, 1.0) * sheet.shape[0]
        length = self.length_px * rng.uniform(0.3, 1.0)
        end = (round(x + length * math.sin(self.lean_rad)), round(y + length * math.cos(self.lean_rad)))
        cv2.line(sheet, (round(x), round(y)), end, int(rng.integers(60, 256)), int(rng.integers(1, 4)), cv2.LINE_AA)


@dataclass(frozen=True, slots=True)
class Spots:
    """Where drops hit the board: each a moment [s], a place [px] and a radius [px]; lies under the bodies."""

    spots: tuple[tuple[float, int, int, int], ...]

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the board with the spots that are wet now."""
        for hit_s, x, y, radius in self.spots:
            if 0.0 <= (age_s := at_s - hit_s) < DRYING_S:
                self._darken(light, x, y, radius, WETNESS * (1.0 - age_s / DRYING_S))
        return light

    def _darken(self, light: Picture, x: int, y: int, radius: int, by: float) -> None:
        left, top = max(0, x - radius), max(0, y - radius)
        patch = light[top : y + radius + 1, left : x + radius + 1]
        away = _from_middle(patch, x - left, y - top)
        patch *= 1.0 - by * np.clip(radius + 0.5 - away, 0.0, 1.0)


def spots(
    size_px: tuple[int, int], seconds: float, per_s: float, mm_per_px: float, rng: np.random.Generator
) -> Spots:
    """Return spots of 1-3 mm radius at random moments, some from before the first frame."""
    moments = rng.uniform(-DRYING_S, seconds, rng.poisson(per_s * (seconds + DRYING_S)))
    radius = rng.uniform(1.0, 3.0, len(moments)) / mm_per_px
    x, y = rng.integers(size_px[0], size=len(moments)), rng.integers(size_px[1], size=len(moments))
    return Spots(
        tuple(zip(moments.tolist(), x.tolist(), y.tolist(), radius.round().astype(int).tolist(), strict=True))
    )


@dataclass(frozen=True, slots=True)
class Drop:
    """A drop on the lens: when [s] and where [px] it lands, its radius [px], how fast it runs down [px/s]."""

    from_s: float
    x: float
    y: float
    radius: int
    speed_px_per_s: float


@dataclass(frozen=True, slots=True)
class Drops:
    """Drops on the lens: each shows what is behind it blurred and upside down, with a dark rim."""

    drops: tuple[Drop, ...]

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return what is seen through the wet lens."""
        for drop in self.drops:
            if at_s >= drop.from_s:
                self._look_through(light, drop, round(drop.y + (at_s - drop.from_s) * drop.speed_px_per_s))
        return light

    def _look_through(self, light: Picture, drop: Drop, y: int) -> None:
        left, top = max(0, round(drop.x) - drop.radius), max(0, y - drop.radius)
        patch = light[top : y + drop.radius, left : round(drop.x) + drop.radius]
        if not patch.size:
            return
        from_middle = _from_middle(patch, drop.x - left, y - top) / drop.radius
        cover = np.clip((1.0 - from_middle) * 4.0, 0.0, 1.0)
        turned = np.asarray(cv2.GaussianBlur(patch[::-1, ::-1], (0, 0), 0.25 * drop.radius), np.float32)
        patch += 0.9 * cover * (turned * (1.08 - 0.45 * from_middle**4) - patch)


def _from_middle(patch: Picture, x: float, y: float) -> Picture:
    """Return each pixel's distance from a point of the patch [px]."""
    rows = np.arange(len(patch), dtype=np.float32)[:, None] - y
    columns = np.arange(len(patch[0]), dtype=np.float32)[None, :] - x
    return np.asarray(np.hypot(rows, columns), np.float32)


def drops(size_px: tuple[int, int], seconds: float, count: int, rng: np.random.Generator) -> Drops:
    """Return drops of which half are there from the start; one in four runs down slowly."""
    return Drops(tuple(_drop(size_px, seconds, rng) for _ in range(count)))


def _drop(size_px: tuple[int, int], seconds: float, rng: np.random.Generator) -> Drop:
    return Drop(
        from_s=max(0.0, float(rng.uniform(-seconds, seconds))),
        x=float(rng.uniform(0, size_px[0])),
        y=float(rng.uniform(0, size_px[1])),
        radius=int(size_px[1] * rng.uniform(0.04, 0.11)),
        speed_px_per_s=float(rng.uniform(2.0, 12.0)) if rng.random() < RUNNING_PART else 0.0,
    )
