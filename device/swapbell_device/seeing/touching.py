"""Bodies that touch: an outline that holds several comes apart where it is weak, or else by the usual body's size."""

from collections.abc import Iterable
from statistics import median
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.seeing.shape import Pieces, Shape, cores

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Our choice: what is as stout or as long as no single wasp may be several; smaller is not looked at.
STOUT_MM2, LONG_MM = 40.0, 20.0
# Our choice: bodies that touch come apart at one of these shares of their peak.
APART_SHARES = (0.35, 0.55)
# Our choice: a part this small beside the largest is no body of its own.
OWN_SHARE = 0.35
# Our choice: together they are at least this share of the whole; less is a moth's bright wing tips.
COVER_SHARE = 0.3
# Our choice: what is so many usual bodies long or wide holds several, if it is no more than this the other way.
SEVERAL, ONE = 1.6, 1.4
# Our choice: parts of one whole that are more unlike in contrast are a body and its shadow.
ALIKE_SHARE = 0.8
# Half of a part lies within a quarter of its middle.
QUARTER = 0.25
# Our choice: of bodies at least this share differs strongly; of one with its wings spread less.
SOLID_SHARE = 0.5
# More than this many in one outline are not told apart.
TOGETHER_MAX = 3


class Usual(msgspec.Struct, frozen=True):
    """The usual single body: area, length and width [px of the mask]; all 0 while none is known."""

    area: float = 0.0
    long: float = 0.0
    wide: float = 0.0


def usual(singles: Iterable[Shape]) -> Usual:
    """Return the middle of single bodies' sizes."""
    return Usual(*map(median, zip(*((one.area, one.long, one.wide) for one in singles), strict=True)))


class Patch(msgspec.Struct, frozen=True):
    """One outline's difference with 0 around it, its peak, and where it lies in the mask [px]."""

    difference: Luma
    peak: float
    corner: tuple[int, int]


def apart(pieces: Pieces, patch: Patch, least_px: float, mm_per_px: float) -> list[Pieces]:
    """Return the bodies in pieces that are joined by something weaker than they are.

    Parameters
    ----------
    pieces : Pieces
        What seems to be one body.
    patch : Patch
        Where it is.
    least_px : float
        Smaller pieces are not body [px of the mask].
    mm_per_px : float
        Scale of the mask.
    """
    shape = pieces.shape
    stout = shape.area * mm_per_px**2 >= STOUT_MM2 and shape.is_stout()
    if not stout and shape.long * mm_per_px < LONG_MM:
        return [pieces]
    for share in APART_SHARES:
        found = cores(patch.difference, share * patch.peak, least_px, mm_per_px, patch.corner)
        held = _worthy([one for one in found if pieces.holds(one)])
        if len(held) > 1 and sum(one.shape.area for one in held) > COVER_SHARE * shape.area:
            return [Pieces(one.outlines, one.shape, single=False) for one in held]
    return [pieces]


def _worthy(found: list[Pieces]) -> list[Pieces]:
    most = max((one.shape.area for one in found), default=0.0)
    return [one for one in found if one.shape.area > OWN_SHARE * most]


def in_step(shape: Shape, patch: Patch, usual: Usual, mm_per_px: float) -> list[Pieces]:
    """Return the equal parts of a body that is several usual ones long, or wide; none if it is not, or they differ.

    Parameters
    ----------
    shape, patch : Shape, Patch
        The body, and where it is.
    usual : Usual
        What a single body usually is.
    mm_per_px : float
        Scale of the mask.
    """
    if not usual.area:
        return []
    long, wide = shape.long / usual.long, shape.wide / usual.wide
    if wide >= SEVERAL and long <= ONE and shape.area * mm_per_px**2 >= STOUT_MM2:
        return _cut(shape, patch, min(round(wide), TOGETHER_MAX), across=True)
    if long >= SEVERAL and wide <= ONE and shape.long * mm_per_px >= LONG_MM:
        return _cut(shape, patch, min(round(long), TOGETHER_MAX), across=False)
    return []


def _cut(shape: Shape, patch: Patch, count: int, *, across: bool) -> list[Pieces]:
    """Return equal parts, none if they are unlike."""
    ys, xs = np.nonzero(patch.difference)
    strengths = patch.difference[ys, xs].astype(np.float32)
    xs, ys = xs + patch.corner[0], ys + patch.corner[1]
    c, s = np.cos(shape.angle), np.sin(shape.angle)
    way = c * (ys - shape.y) - s * (xs - shape.x) if across else c * (xs - shape.x) + s * (ys - shape.y)
    ways = (way / (shape.wide if across else shape.long) + 0.5) * count
    places = np.clip(ways, 0, count - 1).astype(int)
    each = [strengths[places == k].mean() if (places == k).any() else 0.0 for k in range(count)]
    if min(each) < ALIKE_SHARE * max(each) or (across and not _has_seam(ways, strengths, count)):
        return []
    long, wide = (shape.long, shape.wide / count) if across else (shape.long / count, shape.wide)
    return [_part(xs[places == k], ys[places == k], long, wide, shape.angle) for k in range(count)]


def _has_seam(ways: "NDArray[np.float64]", strengths: "NDArray[np.float32]", count: int) -> bool:
    """Tell whether parts are weaker where they touch than in their middles."""
    off = np.abs(ways - np.round(ways))
    seam = (off < QUARTER) & (ways > QUARTER) & (ways < count - QUARTER)
    middle = off > QUARTER
    return bool(seam.any() and middle.any() and strengths[seam].mean() < strengths[middle].mean())


def _part(xs: "NDArray[np.intp]", ys: "NDArray[np.intp]", long: float, wide: float, angle: float) -> Pieces:
    outline = np.stack((xs, ys), axis=1)[:, None].astype(np.int32)
    shape = Shape(float(xs.mean()), float(ys.mean()), long, wide, angle, float(len(xs)))
    return Pieces([outline], shape, single=False)
