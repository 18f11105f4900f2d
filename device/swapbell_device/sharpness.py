"""How sharply the camera sees, by the edges that its view happens to hold.

An edge that is blurred a little more loses much of its slope where it was sharp, and little where it was blurred
already: the ratio of both slopes tells the blur, whatever the edge's contrast (S. Zhuo and T. Sim 2011, Defocus map
estimation from a single image, Pattern Recognition 44, 1852-1858; from memory). Some of the view's rows and columns
are looked at.
"""

import math
from statistics import median

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.camera import Luma
from swapbell_models.focus import WORKER_WIDTH_MM

Slopes = NDArray[np.float32]

# From 10 to 90 % of its contrast an edge blurred by a normal distribution is so many standard deviations wide.
WIDE = 2.563
# Our choice: so many rows and columns are looked at, and so many edges tell.
LINES, EDGES_MIN = 20, 12
# Our choice: the view is shrunk until a worker is no wider than twice this [px].
WIDTH_MIN_PX = 10.0
# Our choice: slopes are taken of pictures blurred by these shares of a worker's width, the first by 1 px at least.
FINE, COARSE = 1.0 / 12.0, 1.0 / 4.0
# Our choice: an edge's slopes stand so far out of those of the noise.
SIGMAS_FINE, SIGMAS_COARSE = 5.0, 8.0
# Our choice: below this [levels/px] an edge is shade, whatever the noise.
SLOPE_MIN = 0.3
# Our choice: the fifth of the edges that are steepest; the rest are shadows and what lies out of the board's plane.
STEEPEST = 0.2
# No lens and no pixel draws an edge sharper than this [px].
BLUR_MIN_PX = 0.5


def sharpness(view: Luma, noise: float, mm_per_px: float) -> float | None:
    """Return how many of the view's steep edges lie side by side across a worker's body; the higher the sharper.

    From nearly 0 to 3 mm over the scale; 3 and more is sharp, below 1 the counter loses walkers
    (`swapbell_models.focus`). On drawn views right within a quarter for blurs of a tenth to half a worker's width.
    Nothing where nobody can tell: too few edges stand out of the noise, or a worker is less than 6 px wide, or wider
    than the view.

    Parameters
    ----------
    view : (rows, columns) of uint8
        Luma.
    noise : float
        Standard deviation of a pixel from frame to frame [levels].
    mm_per_px : float
        Its scale at the gate [mm/px].
    """
    seen_px = WORKER_WIDTH_MM / mm_per_px
    if not 1.0 / (COARSE - FINE) <= seen_px <= min(view.shape):
        return None
    by = max(1, int(seen_px / WIDTH_MIN_PX))
    small = np.asarray(cv2.resize(view, None, fx=1.0 / by, fy=1.0 / by, interpolation=cv2.INTER_AREA), np.uint8)
    width_px = seen_px / by
    fine_px, coarse_px = max(1.0, FINE * width_px), COARSE * width_px
    both_ways = (_some(small), _some(small.T))
    fine, coarse = np.hstack([_edges(lines, noise / by, fine_px, coarse_px) for lines in both_ways])
    if fine.size < EDGES_MIN:
        return None
    steepest = np.argsort(coarse)[-max(EDGES_MIN, round(STEEPEST * fine.size)) :]
    return width_px / (WIDE * _blur_px(fine[steepest] / coarse[steepest], fine_px, coarse_px))


def _some(view: Luma) -> Luma:
    """Return some of a view's rows."""
    every = max(1, view.shape[0] // LINES)
    return np.ascontiguousarray(view[every // 2 :: every])


def _edges(lines: Luma, noise: float, fine_px: float, coarse_px: float) -> Slopes:
    """Return the slopes of the edges that cross lines, of a little and of more blurred ones, (2, n) [levels/px]."""
    fine, coarse = _slopes(lines, fine_px), _slopes(lines, coarse_px)
    here, bar = coarse[:, 1:-1], max(SIGMAS_COARSE * _of_noise(noise, coarse_px), SLOPE_MIN)
    is_edge = (here > bar) & (here > coarse[:, :-2]) & (here >= coarse[:, 2:])
    found = np.stack([fine[:, 1:-1][is_edge], here[is_edge]])
    return found[:, found[0] > SIGMAS_FINE * _of_noise(noise, fine_px)]


def _slopes(lines: Luma, blur_px: float) -> Slopes:
    soft = cv2.GaussianBlur(lines.astype(np.float32), (2 * math.ceil(3.0 * blur_px) + 1, 1), blur_px)
    return np.asarray(np.abs(soft[:, 2:] - soft[:, :-2]) * 0.5, np.float32)


def _of_noise(noise: float, blur_px: float) -> float:
    """Return the standard deviation of the slope that white noise has along a line blurred by a normal distribution.

    The integral of the squared first derivative of the normal density is 1 / (4 sqrt(pi) sigma^3).
    """
    return noise / math.sqrt(4.0 * math.sqrt(math.pi) * blur_px**3)


def _blur_px(ratios: Slopes, fine_px: float, coarse_px: float) -> float:
    """Return the usual blur of edges whose slopes have these ratios: blurs add in squares, slopes as their root."""
    squared = np.maximum(ratios, 1.0 + 1e-3) ** 2
    blur2 = (coarse_px**2 - squared * fine_px**2) / (squared - 1.0)
    return math.sqrt(max(median(blur2.tolist()), BLUR_MIN_PX**2))
