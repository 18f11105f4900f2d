"""What lies below the bodies: the board, its texture, and what is fixed to it."""

from enum import Enum

import cv2
import numpy as np

from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.sprite import Picture
from swapbell_device.drawing.way import Point


class Surface(Enum):
    """What the board is made of: how coarse its pattern is along and across [mm], and how strong."""

    PAINT = (1.2, 1.2, 0.5)
    WOOD = (30.0, 1.0, 1.0)
    CARD = (0.6, 0.6, 0.7)
    SOIL = (2.5, 2.5, 1.6)


def seen_board(
    sight: Sight,
    mm_per_px: float,
    surface: Surface,
    tone_contrast: tuple[float, float],
    grains: int,
    rng: np.random.Generator,
) -> Picture:
    """Return a board's reflectance (height, width) as a view shows it, 0 to 1.

    Parameters
    ----------
    sight : Sight
        The view.
    mm_per_px : float
        How finely the board is drawn [mm/px].
    surface : Surface
        What it is made of.
    tone_contrast : (float, float)
        Mean reflectance, and the standard deviation that a pattern of strength 1 has.
    grains : int
        Number of grains, stains and screws.
    rng : Generator
        Source of the pattern.
    """
    corners_mm = np.array([sight.optics.to_mm(*corner) for corner in sight.corners_px()])
    places = np.asarray((corners_mm - np.min(corners_mm, axis=0)) / mm_per_px, np.float32)
    size = (round(float(np.max(places[:, 0]))) + 1, round(float(np.max(places[:, 1]))) + 1)
    picture = _board(size, mm_per_px, surface, tone_contrast, rng)
    speckle(picture, grains, 1.0 / mm_per_px, rng)
    matrix = cv2.getPerspectiveTransform(places, np.array(sight.corners_px(), np.float32))
    return np.asarray(cv2.warpPerspective(picture, matrix, sight.size, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _board(
    size: tuple[int, int],
    mm_per_px: float,
    surface: Surface,
    tone_contrast: tuple[float, float],
    rng: np.random.Generator,
) -> Picture:
    (along, across, strength), (tone, contrast) = surface.value, tone_contrast
    fine = _bent(pattern(size, along / mm_per_px, across / mm_per_px, rng), along / mm_per_px, rng)
    coarse = pattern(size, 25.0 / mm_per_px, 18.0 / mm_per_px, rng)
    return np.clip(tone + contrast * strength * (0.8 * fine + 0.6 * coarse), 0.01, 1.0).astype(np.float32)


def pattern(size_px: tuple[int, int], along_px: float, across_px: float, rng: np.random.Generator) -> Picture:
    """Return noise with that grain, mean 0 and standard deviation 1: small noise enlarged, cheap at any grain."""
    width, height = size_px
    small = (max(2, round(width / max(along_px, 1.0)) + 1), max(2, round(height / max(across_px, 1.0)) + 1))
    seeds = rng.standard_normal((small[1], small[0]), np.float32)
    grown = np.asarray(cv2.resize(seeds, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)
    return np.asarray((grown - np.mean(grown)) / max(float(np.std(grown)), 1e-6), np.float32)


def _bent(picture: Picture, along_px: float, rng: np.random.Generator) -> Picture:
    """Return a pattern whose grain is a little wavy, as no grain is straight."""
    height, width = len(picture), len(picture[0])
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    turns = 2.0 * np.pi * (x / (4.0 * max(along_px, 10.0)) + y / (2.0 * height)) + rng.uniform(0.0, 6.0)
    wavy = np.asarray(y + 0.1 * along_px * np.sin(turns), np.float32)
    return np.asarray(cv2.remap(picture, x, wavy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT), np.float32)


def lay_wall(picture: Picture, ends_px: tuple[Point, Point], width_px: float, times: float) -> None:
    """Lay a straight wall on the board: a bar lighter or darker than what is around it."""
    mask = np.zeros(picture.shape, np.uint8)
    one, other = ((round(x * 16), round(y * 16)) for x, y in ends_px)
    cv2.line(mask, one, other, 255, max(1, round(width_px)), cv2.LINE_AA, 4)
    picture *= 1.0 + (times - 1.0) * (mask.astype(np.float32) / 255.0)


def speckle(picture: Picture, count: int, largest_px: float, rng: np.random.Generator) -> None:
    """Put grains, stains and screws on the board: round spots lighter or darker than what is around them."""
    size: tuple[int, int] = picture.shape[1], picture.shape[0]
    for _ in range(count):
        centre = (int(rng.integers(size[0])), int(rng.integers(size[1])))
        spot(picture, centre, float(rng.uniform(0.3, 1.0)) * largest_px, float(rng.uniform(0.6, 1.3)))


def spot(picture: Picture, centre: tuple[int, int], radius_px: float, times: float) -> None:
    """Multiply the reflectance inside a disc."""
    mask = np.zeros(picture.shape, np.uint8)
    cv2.circle(mask, (centre[0] * 16, centre[1] * 16), max(1, round(radius_px * 16)), 255, -1, cv2.LINE_AA, 4)
    picture *= 1.0 + (times - 1.0) * (mask.astype(np.float32) / 255.0)
