"""Views of a calibration card as a camera would have them, whose scale and gate are known exactly."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.calibrating.card import Card

Matrix = NDArray[np.float64]

SIZE = (640, 480)
FOCAL_PX = 900.0
# Drawn finer than the camera sees, then averaged, as a sensor's pixels do.
FINER = 4
PAPER_MM = 4.0


@dataclass(frozen=True)
class BoardView:
    """A card before a camera.

    `cover_mm` hides a square of that side around a point of the card; `uneven` is how much darker the darkest corner
    is; `bend_mm` lifts the middle of the card from the board.
    """

    card: Card
    mm_per_px: float
    tilt_deg: float = 0.0
    way_deg: float = 30.0
    turn_deg: float = 10.0
    blur_px: float = 0.5
    noise: float = 2.0
    uneven: float = 0.0
    cover_mm: tuple[float, float, float] | None = None
    bend_mm: float = 0.0
    seed: int = 1
    size: tuple[int, int] = field(default=SIZE)

    @property
    def to_px(self) -> Matrix:
        """From the card [mm] to the picture [px]."""
        length, across = self.card.size_mm
        lens = np.array([[FOCAL_PX, 0.0, self.size[0] / 2], [0.0, FOCAL_PX, self.size[1] / 2], [0.0, 0.0, 1.0]])
        way = _about(2, np.radians(self.way_deg))
        pose = _about(2, np.radians(self.turn_deg)) @ way.T @ _about(0, np.radians(self.tilt_deg)) @ way
        board = np.column_stack([pose[:, 0], pose[:, 1], (0.0, 0.0, FOCAL_PX * self.mm_per_px)])
        return lens @ board @ np.array([[1.0, 0.0, -length / 2], [0.0, 1.0, -across / 2], [0.0, 0.0, 1.0]])

    def seen(self, *points_mm: tuple[float, float]) -> NDArray[np.float64]:
        """Return where points of the card lie in the picture [px]."""
        moved = np.array([(x, y, 1.0) for x, y in points_mm]) @ self.to_px.T
        return np.asarray(moved[:, :2] / moved[:, 2:], np.float64)

    def true_scale(self, x_px: float, y_px: float) -> float:
        """Return the scale at a point [mm/px], by what a thousandth of a pixel is on the card."""
        back = np.linalg.inv(self.to_px)
        here, right, down = (
            (back @ (x_px + dx, y_px + dy, 1.0)) for dx, dy in ((0.0, 0.0), (1e-3, 0.0), (0.0, 1e-3))
        )
        sides = [(each[:2] / each[2] - here[:2] / here[2]) * 1e3 for each in (right, down)]
        return float(np.sqrt(abs(np.linalg.det(np.vstack(sides)))))

    def picture(self) -> NDArray[np.uint8]:
        """Draw it."""
        chance = np.random.default_rng(self.seed)
        flat = 30.0 + 0.75 * self._projected().astype(np.float64)
        light = 1.0 - self.uneven * np.outer(np.linspace(0.3, 1.0, self.size[1]), np.linspace(0.0, 1.0, self.size[0]))
        soft = cv2.GaussianBlur(flat * light, (0, 0), max(self.blur_px, 0.3))
        return np.asarray((soft + chance.normal(0.0, self.noise, soft.shape)).clip(0, 255).round(), np.uint8)

    def _projected(self) -> NDArray[np.uint8]:
        px_per_mm = 840 / self.card.square_mm / 10
        margin = round(PAPER_MM * px_per_mm)
        paper = cv2.copyMakeBorder(self.card.picture(px_per_mm), *[margin] * 4, cv2.BORDER_CONSTANT, value=(255.0,))
        if self.cover_mm is not None:
            x, y, side = (round(each * px_per_mm) for each in self.cover_mm)
            left, top = (max(each + margin - side // 2, 0) for each in (x, y))
            paper[top : top + side, left : left + side] = 80
        if self.bend_mm:
            paper = self._bent(paper)
        on_paper = np.array([[px_per_mm, 0.0, margin - 0.5], [0.0, px_per_mm, margin - 0.5], [0.0, 0.0, 1.0]])
        larger = np.array([[FINER, 0.0, (FINER - 1) / 2], [0.0, FINER, (FINER - 1) / 2], [0.0, 0.0, 1.0]])
        width, height = (side * FINER for side in self.size)
        board = np.full((height, width), 120, np.uint8)
        whole = larger @ self.to_px @ np.linalg.inv(on_paper)
        cv2.warpPerspective(paper, whole, (width, height), board, cv2.INTER_LINEAR, cv2.BORDER_TRANSPARENT)
        return np.asarray(cv2.resize(board, self.size, interpolation=cv2.INTER_AREA), np.uint8)

    def _bent(self, paper: cv2.typing.MatLike) -> cv2.typing.MatLike:
        """Shift the middle of the card sideways, as a lifted middle looks from aside."""
        height, width = paper.shape
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        arch = np.sin(np.pi * x / width) * self.bend_mm * width / self.card.size_mm[0]
        return cv2.remap(paper, x, (y + arch).astype(np.float32), cv2.INTER_LINEAR, borderValue=(255.0,))


def _about(axis: int, angle: float) -> Matrix:
    c, s = np.cos(angle), np.sin(angle)
    turns = {0: [[1, 0, 0], [0, c, -s], [0, s, c]], 2: [[c, -s, 0], [s, c, 0], [0, 0, 1]]}
    return np.array(turns[axis], np.float64)
