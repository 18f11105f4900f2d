"""Things that are no bodies: a hand that changes the bait, the bait it changes, grass that waves into the view."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.drawing.sprite import Picture

# Our choice: a hand comes into view and leaves it within this time [s].
REACHING_S = 0.7
# A hand is about this much longer than wide, from the wrist to the finger tips: from memory.
HAND_WIDTHS = 2.1


@dataclass(frozen=True, slots=True)
class Hand:
    """A hand that reaches in from an edge of the image, works there and leaves.

    Attributes
    ----------
    from_s, to_s
        When its tip enters and when it has left [s].
    works_px, ahead_rad
        Where its finger tips are while it works [px], and where they point.
    away_px
        How far it draws back to be out of view [px].
    width_px
        Width of the palm [px].
    tone
        Reflectance of the skin or the glove.
    """

    from_s: float
    to_s: float
    works_px: tuple[float, float]
    ahead_rad: float
    away_px: float
    width_px: float
    tone: float

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light with the hand and its shadow before everything."""
        if not self.from_s < at_s < self.to_s:
            return light
        shape = np.zeros(light.shape, np.uint8)
        self._draw(shape, at_s)
        cover = np.asarray(cv2.GaussianBlur(shape, (0, 0), 1.2), np.float32) / 255.0
        shadow = np.asarray(cv2.blur(shape, (25, 25), anchor=(22, 20)), np.float32) / 255.0
        round_light = np.asarray(cv2.blur(shape, (41, 41)), np.float32) / 255.0
        light *= 1.0 - 0.4 * shadow
        light += cover * (self.tone * (0.55 + 0.45 * round_light) - light)
        return light

    def _draw(self, shape: NDArray[np.uint8], at_s: float) -> None:
        wrist, ahead = self._wrist(at_s), self._ahead(at_s)
        arm = self._beyond(wrist, ahead + math.pi, 12.0)
        palm = self._beyond(wrist, ahead, 0.8)
        self._limb(shape, arm, wrist, 0.75)
        self._limb(shape, wrist, palm, 1.0)
        for finger in range(5):
            root = self._beyond(palm, ahead + (finger - 2) * 0.5, 0.35)
            bend = 0.25 * math.sin(5.0 * at_s + finger)
            tip = self._beyond(root, ahead + (finger - 2) * 0.16 + bend, 0.6 if finger == 0 else 1.0)
            self._limb(shape, root, tip, 0.24)

    def _wrist(self, at_s: float) -> tuple[float, float]:
        part = max(0.0, min(1.0, (at_s - self.from_s) / REACHING_S, (self.to_s - at_s) / REACHING_S))
        part = part * part * (3.0 - 2.0 * part)
        back = HAND_WIDTHS + (1.0 - part) * self.away_px / self.width_px
        x, y = self._beyond(self.works_px, self.ahead_rad + math.pi, back)
        stir = 0.2 * self.width_px * part
        return x + stir * math.sin(3.1 * at_s), y + stir * math.sin(2.3 * at_s + 1.0)

    def _ahead(self, at_s: float) -> float:
        return self.ahead_rad + 0.15 * math.sin(1.7 * at_s)

    def _beyond(self, point: tuple[float, float], towards_rad: float, widths: float) -> tuple[float, float]:
        reach = widths * self.width_px
        return point[0] + reach * math.cos(towards_rad), point[1] + reach * math.sin(towards_rad)

    def _limb(
        self, shape: NDArray[np.uint8], one: tuple[float, float], other: tuple[float, float], widths: float
    ) -> None:
        start, end = (round(one[0]), round(one[1])), (round(other[0]), round(other[1]))
        cv2.line(shape, start, end, 255, max(1, round(widths * self.width_px)), cv2.LINE_AA)


@dataclass(frozen=True, slots=True)
class Bait:
    """A dish on the board, inside, that is another one after `change_s`; lies under the bodies.

    Attributes
    ----------
    change_s
        When the hand puts the new dish down [s].
    before, after
        Middle [px], radius [px] and reflectance of each dish.
    """

    change_s: float
    before: tuple[int, int, int, float]
    after: tuple[int, int, int, float]

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the board with the dish of that moment."""
        x, y, radius, tone = self.before if at_s < self.change_s else self.after
        cv2.circle(light, (x, y), radius, 0.6 * tone, -1, cv2.LINE_AA)
        cv2.circle(light, (x - radius // 12, y - radius // 12), round(0.88 * radius), tone, -1, cv2.LINE_AA)
        return light


@dataclass(frozen=True, slots=True, eq=False)
class Grass:
    """Blades that wave into the view from an edge: roots [px], lengths [px], rest angles [rad], reflectances."""

    roots: NDArray[np.float64]
    lengths_px: NDArray[np.float64]
    angles_rad: NDArray[np.float64]
    tones: NDArray[np.float64]
    rate_per_s: float

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the light with the blades before the board."""
        turn = 2.0 * math.pi * self.rate_per_s * at_s
        for blade in range(len(self.tones)):
            self._blade(light, blade, 0.25 * math.sin(turn + blade) + 0.1 * math.sin(2.9 * turn + 2.0 * blade))
        return light

    def _blade(self, light: Picture, blade: int, bend: float) -> None:
        part = np.linspace(0.0, 1.0, 8)
        angle = self.angles_rad[blade] + bend * part
        spine = self.roots[blade] + (self.lengths_px[blade] * part)[:, None] * np.column_stack(
            (np.cos(angle), np.sin(angle))
        )
        aside = (0.03 * self.lengths_px[blade] * (1.0 - part) + 0.6)[:, None] * np.column_stack(
            (-np.sin(angle), np.cos(angle))
        )
        outline = np.vstack((spine + aside, (spine - aside)[::-1]))
        mask_box = cv2.boundingRect(outline.round().astype(np.int32))
        _lay(light, outline, mask_box, float(self.tones[blade]))


def _lay(light: Picture, outline: NDArray[np.float64], box: "cv2.typing.Rect", tone: float) -> None:
    height, width = light.shape
    left, top = max(0, box[0] - 1), max(0, box[1] - 1)
    right, bottom = min(width, box[0] + box[2] + 1), min(height, box[1] + box[3] + 1)
    if right <= left or bottom <= top:
        return
    mask = np.zeros((bottom - top, right - left), np.uint8)
    cv2.fillPoly(mask, [((outline - (left, top)) * 16).round().astype(np.int32)], 255, cv2.LINE_AA, 4)
    patch = light[top:bottom, left:right]
    patch += mask.astype(np.float32) / 255.0 * (tone - patch)


def grass(size_px: tuple[int, int], blades: int, rng: np.random.Generator) -> Grass:
    """Return blades that stand at the lower edge of the image and reach up to a quarter into it."""
    width, height = size_px
    return Grass(
        roots=np.column_stack((rng.uniform(0, width, blades), np.full(blades, height + 4.0))),
        lengths_px=rng.uniform(0.1, 0.28, blades) * height,
        angles_rad=-math.pi / 2 + rng.normal(0.0, 0.3, blades),
        tones=rng.uniform(0.2, 0.55, blades),
        rate_per_s=float(rng.uniform(0.4, 0.9)),
    )
