"""Where a card lies in a picture, and what keeps it from being seen well enough."""

from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.calibrating.card import CARDS, Card
from swapbell_device.calibrating.markers import (
    MARKERS_MIN,
    Markers,
    Matrix,
    edge_width_px,
    likeness,
    project,
    read_markers,
    to_picture,
)

# Our choice: a plane has eight unknowns; twelve pairs of numbers more show whether they agree.
CORNERS_MIN = 10
# Our choice: what is seen must reach over so much of the card both ways, or the rest is only guessed.
REACH_MIN = 0.5
# Our choice, tried on drawn views: below this a marker's cells run together.
CELL_MIN_PX = 2.5
# Our choice, tried on drawn views: an edge of the card may be so wide, as a share of a square's side.
EDGE_MAX = 0.16
# Our choice: how far around its foreseen place a corner is looked for, as a share of a square: its white rim.
REFINE_SHARE, REFINE_MIN_PX = 0.14, 3
# Our choice, tried on drawn views: below this correlation with the card something else is there.
LIKENESS_MIN = 0.6


class Flaw(Enum):
    """What keeps a picture from being used, and what to do about it."""

    NO_CARD = "no card is seen: lay it flat in the view, all of it, in even light and in focus"
    MIRRORED = (
        "the card is seen mirrored: turn mirroring off in the camera; behind a mirror that must stay, use --rectangle"
    )
    COVERED = "too little of the card is seen: take away what covers it, or use a smaller card"
    SMALL = "the card is too small in the picture: use a larger card, or bring the camera nearer"
    BLUR = "the card is not sharp: focus the camera on the board, and let nothing move"
    TILT = "the camera looks too flat over the board: turn it to within 50 degrees of square"
    BENT = "the corners of the card do not lie in a plane: glue it to something flat, and hold the camera still"
    LENS = (
        "the lens bends straight lines too much here: lay the card in the middle of the view, or use a narrower lens"
    )
    SEVERAL = "two cards are seen: leave only one in the view"
    POOR = "the picture is too poor to be sure: steady the camera, light the card evenly, or use a larger card"


class Unusable(Exception):
    """A picture from which nothing can be measured, and why."""

    def __init__(self, flaw: Flaw) -> None:
        super().__init__(flaw.value)
        self.flaw = flaw


@dataclass(frozen=True, slots=True)
class Seen:
    """A card in a picture.

    Attributes
    ----------
    card
        Which.
    corners_px, corners_mm
        The same inner corners in the picture and on the card, (n, 2).
    edge_px
        How wide its edges are in the picture [px].
    """

    card: Card
    corners_px: NDArray[np.float64]
    corners_mm: NDArray[np.float64]
    edge_px: float


def find(picture: NDArray[np.uint8]) -> Seen:
    """Return the card in a picture (2-D luma).

    Raises
    ------
    Unusable
        If there is none, more than one, or too little of it; or if it is too small or not sharp enough.
    """
    read = {card: markers for card in CARDS if (markers := read_markers(picture, card))}
    try:
        return _found(picture, read)
    except Unusable as unusable:
        if _is_mirrored(picture, read):
            raise Unusable(Flaw.MIRRORED) from unusable
        raise


def _found(picture: NDArray[np.uint8], read: dict[Card, Markers]) -> Seen:
    sure = [(card, markers) for card, markers in read.items() if len(markers) >= MARKERS_MIN]
    if not sure:
        raise Unusable(Flaw.COVERED if read else Flaw.NO_CARD)
    if len(sure) > 1:
        raise Unusable(Flaw.SEVERAL)
    return _checked(picture, *sure[0])


def _is_mirrored(picture: NDArray[np.uint8], read: dict[Card, Markers]) -> bool:
    """Tell whether more markers are read in the mirror: a few look like others of theirs there."""
    mirror = np.asarray(cv2.flip(picture, 1), np.uint8)
    most = max(len(read_markers(mirror, card)) for card in CARDS)
    return most >= MARKERS_MIN and most > max(map(len, read.values()), default=0)


def _checked(picture: NDArray[np.uint8], card: Card, markers: Markers) -> Seen:
    """Return the card whose markers were read, by its inner corners, or refuse it by what is most wrong with it."""
    plane = to_picture(card, markers)
    side_px = _side_px(card, plane)
    if side_px * card.cell_mm / card.square_mm < CELL_MIN_PX:
        raise Unusable(Flaw.SMALL)
    edge_px = edge_width_px(picture, np.vstack(list(markers.values())), side_px)
    if edge_px > EDGE_MAX * side_px:
        raise Unusable(Flaw.BLUR)
    numbers, corners_px = _corners(picture, card, plane, side_px)
    seen = Seen(card, corners_px, card.corners_mm[numbers], edge_px)
    if len(numbers) < CORNERS_MIN or not _reaches(seen):
        raise Unusable(Flaw.COVERED)
    return seen


def _corners(
    picture: NDArray[np.uint8], card: Card, plane: Matrix, side_px: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the inner corners that can be seen, by number and place [px]: looked for where the markers put them."""
    foreseen = project(plane, card.corners_mm)
    height, width = picture.shape
    reach = max(int(side_px * REFINE_SHARE), REFINE_MIN_PX)
    inside = (foreseen >= reach + 1) & (foreseen <= (width - reach - 2, height - reach - 2))
    numbers = np.flatnonzero(inside.all(axis=1))
    if not len(numbers):
        return numbers, np.empty((0, 2))
    start = np.ascontiguousarray(foreseen[numbers], np.float32).reshape(-1, 1, 2)
    ends = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 0.001)
    found = cv2.cornerSubPix(picture, start, (reach, reach), (-1, -1), ends).reshape(-1, 2).astype(np.float64)
    near = np.hypot(*(found - foreseen[numbers]).T) <= reach
    like = likeness(picture, card, plane, foreseen[numbers], side_px) >= LIKENESS_MIN
    return numbers[near & like], found[near & like]


def _side_px(card: Card, plane: Matrix) -> float:
    """Return the shortest side of a square in the picture [px]."""
    side = card.square_mm
    ways = [
        np.hypot(*(project(plane, card.corners_mm + step) - project(plane, card.corners_mm)).T)
        for step in ((side, 0.0), (0.0, side))
    ]
    return float(np.min(ways))


def _reaches(seen: Seen) -> bool:
    whole = np.ptp(seen.card.corners_mm, axis=0)
    return bool((np.ptp(seen.corners_mm, axis=0) >= REACH_MIN * whole).all())
