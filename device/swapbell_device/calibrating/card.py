"""The cards: chessboards whose white squares hold markers, so that every corner is known by itself.

Coordinates are those of the printed card [mm]: x along its arrow, which points into the station, y to the right of
it, from the corner of the board. The line of the gate runs across the middle of the card.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_models.fault import Mistake

# A marker of 4 x 4 cells and a black rim one cell wide: the coarsest that OpenCV has, so the smallest in the image.
DICTIONARY = cv2.aruco.DICT_4X4_100
CELLS = 6
# Our choice: as large as the markers of a chessboard can be with a white rim of nearly one cell.
MARKER_SHARE = 0.75


@dataclass(frozen=True)
class Card:
    """One size of card.

    Attributes
    ----------
    name
        What is printed on it.
    columns, rows
        Its squares along the arrow, and across.
    square_mm
        The side of a square [mm].
    first_id
        The number of its first marker; no two cards share one, so that a picture tells which card it shows.
    """

    name: str
    columns: int
    rows: int
    square_mm: float
    first_id: int

    @property
    def size_mm(self) -> tuple[float, float]:
        """How long and how wide the board is [mm]."""
        return self.columns * self.square_mm, self.rows * self.square_mm

    @property
    def cell_mm(self) -> float:
        """The side of a marker's cell [mm]."""
        return MARKER_SHARE * self.square_mm / CELLS

    @cached_property
    def ids(self) -> NDArray[np.int32]:
        """The numbers of its markers."""
        return np.arange(self.first_id, self.first_id + self.columns * self.rows // 2, dtype=np.int32)

    @cached_property
    def board(self) -> cv2.aruco.CharucoBoard:
        """The board as OpenCV knows it.

        Raises
        ------
        Mistake
            If OpenCV is older than 4.7.
        """
        if not hasattr(cv2.aruco, "ArucoDetector"):
            raise Mistake(
                f"OpenCV {cv2.__version__} is too old to know the cards; take 4.7 or newer, as Debian 13 has it"
            )
        marks = cv2.aruco.getPredefinedDictionary(DICTIONARY)
        side = self.square_mm
        return cv2.aruco.CharucoBoard((self.columns, self.rows), side, MARKER_SHARE * side, marks, self.ids)

    @cached_property
    def corners_mm(self) -> NDArray[np.float64]:
        """Its inner corners, one (x, y) a row [mm]."""
        return np.asarray(self.board.getChessboardCorners(), np.float64)[:, :2]

    def picture(self, px_per_mm: float) -> NDArray[np.uint8]:
        """Return the board as it is printed, without a margin; a square must come to whole pixels."""
        length, across = self.size_mm
        size = round(length * px_per_mm), round(across * px_per_mm)
        return np.asarray(self.board.generateImage(size), np.uint8)


# Our choice: the first lies in a lane from 23 mm, the second before a pot or a tub, the third is for a wider view.
CARDS = (Card("lane", 7, 3, 7.0, 0), Card("opening", 7, 5, 13.0, 10), Card("wide", 7, 5, 24.0, 27))


def card(name: str) -> Card:
    """Return the card of that name."""
    return next(each for each in CARDS if each.name == name)
