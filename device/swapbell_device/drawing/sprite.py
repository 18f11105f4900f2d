"""Pictures of bodies from above, head to the right, to be turned and put on the board by the painter."""

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.drawing.insect import BUILDS, Build, Kind, Look

Picture = NDArray[np.float32]

# Our choice: bodies are drawn once, larger than any camera sees them, and shrunk by area: edges as soft as in a lens.
DRAWN_PX_PER_BODY = 160
# Half the side of the picture in body lengths: room for legs, antennae and spread wings.
REACH_BODIES = 0.84
# Our choice: pictures of one stride, and of one wing beat, that are shown in turn.
STRIDE_PHASES = 4
BEAT_PHASES = 2
FIRST_BEAT = STRIDE_PHASES
# Our choice: below this many pixels for one body no leg can be told from another.
SMALLEST_PX_PER_BODY = 6


@lru_cache(maxsize=512)
def sprite(kind: Kind, look: Look, phase: int, px_per_body: int) -> Picture:
    """Return a body's picture (side, side, 2): reflectance times cover, and cover, both 0 to 1.

    Parameters
    ----------
    kind, look
        What to draw.
    phase : int
        Which part of the stride (0 to 3), or of the wing beat (4 and 5), to draw.
    px_per_body : int
        Pixels for one body length; the side is `2 * REACH_BODIES` of it.
    """
    side = 2 * math.ceil(REACH_BODIES * max(px_per_body, SMALLEST_PX_PER_BODY))
    shrunk = cv2.resize(_drawn(kind, look, phase), (side, side), interpolation=cv2.INTER_AREA)
    return np.asarray(shrunk, np.float32)


@lru_cache(maxsize=128)
def _drawn(kind: Kind, look: Look, phase: int) -> Picture:
    sheet = _Sheet()
    build = BUILDS[kind]
    flying = phase >= FIRST_BEAT
    _legs(sheet, build, look, 0.0 if flying else phase / STRIDE_PHASES, 0.5 if flying else 1.0)
    _trunk(sheet, build, look)
    if build.wing and flying:
        _beat(sheet, build, look, phase - FIRST_BEAT)
    elif build.wing:
        _fold(sheet, build, look)
    return sheet.picture


class _Sheet:
    """A picture in the making; places are in body lengths from the centre, the head at +0.5."""

    def __init__(self) -> None:
        side = 2 * math.ceil(REACH_BODIES * DRAWN_PX_PER_BODY)
        self.picture: Picture = np.zeros((side, side, 2), np.float32)
        self._half = side / 2

    def ellipse(
        self, centre: tuple[float, float], half: tuple[float, float], turn_rad: float, tone: float, cover: float = 1.0
    ) -> None:
        """Lay an ellipse over what is there."""
        mask = np.zeros(self.picture.shape[:2], np.uint8)
        axes = tuple(max(1, round(part * DRAWN_PX_PER_BODY * 16)) for part in half)
        cv2.ellipse(mask, self._px(centre), axes, math.degrees(turn_rad), 0, 360, 255, -1, cv2.LINE_AA, 4)
        self._lay(mask, tone, cover)

    def line(self, points: list[tuple[float, float]], width: float, tone: float, cover: float = 1.0) -> None:
        """Lay a bent line over what is there."""
        mask = np.zeros(self.picture.shape[:2], np.uint8)
        places = np.array([self._px(point) for point in points], np.int32)
        cv2.polylines(mask, [places], False, 255, max(1, round(width * DRAWN_PX_PER_BODY)), cv2.LINE_AA, 4)
        self._lay(mask, tone, cover)

    def fan(self, points: list[tuple[float, float]], tone: float, cover: float) -> None:
        """Lay a filled shape with a blurred edge over what is there."""
        mask = np.zeros(self.picture.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.array([self._px(point) for point in points], np.int32)], 255, cv2.LINE_AA, 4)
        self._lay(np.asarray(cv2.GaussianBlur(mask, (0, 0), 0.02 * DRAWN_PX_PER_BODY), np.uint8), tone, cover)

    def _px(self, point: tuple[float, float]) -> tuple[int, int]:
        x, y = (round((part * DRAWN_PX_PER_BODY + self._half - 0.5) * 16) for part in point)
        return x, y

    def _lay(self, mask: NDArray[np.uint8], tone: float, cover: float) -> None:
        over = (mask.astype(np.float32) * (cover / 255.0))[..., None]
        self.picture *= 1.0 - over
        self.picture += over * np.array((tone, 1.0), np.float32)


def _trunk(sheet: _Sheet, build: Build, look: Look) -> None:
    for part in (build.abdomen, build.thorax, build.head):
        at, long, wide = part
        sheet.ellipse((at, 0.0), (long, wide), 0.0, look.dark)
        sheet.ellipse((at + 0.1 * long, -0.25 * wide), (0.7 * long, 0.45 * wide), 0.0, look.dark * 1.5 + 0.03, 0.6)
    for band in range(build.bands):
        _band(sheet, build, look, (band + 0.6) / build.bands)
    eye_at, _, wide = build.head
    for side in (-1, 1):
        sheet.ellipse((eye_at + 0.02, side * 0.65 * wide), (0.03, 0.035), 0.0, look.dark * 0.7)


def _band(sheet: _Sheet, build: Build, look: Look, part: float) -> None:
    at, long, wide = build.abdomen
    x = at + long * (1.0 - 2.0 * part)
    half_width = 0.92 * wide * math.sqrt(max(0.0, 1.0 - ((x - at) / long) ** 2))
    sheet.ellipse((x, 0.0), (0.32 * long / build.bands * 1.6, half_width), 0.0, look.bright, 0.9)


def _legs(sheet: _Sheet, build: Build, look: Look, stride: float, reach: float) -> None:
    at, long, wide = build.thorax
    for pair, ahead in enumerate((0.22, 0.0, -0.3)):
        for side in (-1, 1):
            # An insect's alternating tripod: neighbours move in turn (common knowledge of insect gaits, from memory).
            swing = 0.09 * math.sin(2 * math.pi * (stride + 0.5 * ((pair + (side > 0)) % 2)))
            hip = (at + long * (0.5 - 0.5 * pair), side * wide * 0.6)
            knee = (hip[0] + 0.5 * ahead + swing, side * (wide + 0.55 * reach * (build.legs - wide)))
            foot = (hip[0] + ahead * reach + swing, side * build.legs * reach)
            sheet.line([hip, knee, foot], 0.015, look.dark * 1.4 + 0.04, 0.85)
    for side in (-1, 1):
        root = (build.head[0] + 0.06, side * 0.03)
        sheet.line(
            [root, (root[0] + 0.5 * build.antennae, side * 0.09), (root[0] + build.antennae, side * 0.16)],
            0.014,
            look.dark,
        )


def _fold(sheet: _Sheet, build: Build, look: Look) -> None:
    root_x = build.thorax[0] - 0.02
    for side in (-1, 1):
        turn = math.pi - side * build.folded_rad
        middle = (root_x + 0.5 * build.wing * math.cos(turn), side * 0.06 + 0.5 * build.wing * math.sin(turn))
        sheet.ellipse(middle, (0.5 * build.wing, build.wing_width), turn, look.wing, look.wing_cover)


def _beat(sheet: _Sheet, build: Build, look: Look, beat: int) -> None:
    root_x = build.thorax[0]
    middle_rad = 0.15 if beat else -0.35
    for side in (-1, 1):
        sweep = [middle_rad + step * 0.12 for step in range(-5, 6)]
        tips = [(root_x - build.wing * math.sin(s), side * (0.06 + build.wing * math.cos(s))) for s in sweep]
        sheet.fan([(root_x, side * 0.06), *tips], look.wing, 0.6 * look.wing_cover)
