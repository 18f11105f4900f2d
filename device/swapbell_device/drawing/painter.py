"""Puts bodies and their shadows on the board as a camera's exposure gathers them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from swapbell_device.drawing.insect import Insect
from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.sprite import BEAT_PHASES, FIRST_BEAT, REACH_BODIES, STRIDE_PHASES, Picture, sprite
from swapbell_device.drawing.way import Pose

# Our choice: a stride covers this part of the body (legs swing forth and back within it).
STRIDE_BODIES = 0.4
# Our choice: a body that moves less than this while the shutter is open is drawn once; else once per such a step.
BLUR_STEP_PX = 2.0
MOST_BLUR_STEPS = 16
# Our choice: pictures have a few more pixels than are seen, so that turning costs no sharpness.
OVERSAMPLING = 1.2
# A walking body's back is about this high over the board, in body lengths (from memory); it casts the shadow.
BACK_BODIES = 0.22
# Our choice: a camera so far away sees a flyer larger by its height over this [mm].
CAMERA_HEIGHT_MM = 260.0


@dataclass(frozen=True, slots=True)
class Sun:
    """A light that casts shadows: direction on the board, cotangent of its elevation, and its part of all light."""

    towards_rad: float = 0.7
    cotangent: float = 0.6
    depth: float = 0.45


@dataclass(frozen=True, slots=True, eq=False)
class Painter:
    """Draws bodies as a view shows them.

    Attributes
    ----------
    sight : Sight
        The view.
    exposure_s : float
        How long the shutter is open [s]: what moves meanwhile is blurred.
    sun : Sun or None
        The light that casts shadows, None under an even sky.
    """

    sight: Sight
    exposure_s: float
    sun: Sun | None

    def paint(self, canvas: Picture, insects: Iterable[Insect], at_s: float, beat: int) -> None:
        """Put the bodies that are there at a moment [s] on a canvas of reflectance, shadows first, lowest first."""
        there = [(insect, poses) for insect in insects if (poses := self._poses(insect, at_s))]
        there.sort(key=lambda item: item[1][0].height_mm)
        if self.sun:
            for insect, poses in there:
                self._shadow(canvas, insect, poses[len(poses) // 2], self.sun)
        for insect, poses in there:
            self._body(canvas, insect, poses, beat)

    def _poses(self, insect: Insect, at_s: float) -> list[Pose]:
        """Return the poses that the shutter gathers, evenly over the exposure that ends at that moment."""
        last = insect.way.pose(at_s)
        if last is None or not self._near(insect, last):
            return []
        first = insect.way.pose(at_s - self.exposure_s)
        if first is None:
            return [last]
        moved_px = (last.way_mm - first.way_mm) * self.sight.px_per_mm((last.x_mm, last.y_mm))
        count = min(MOST_BLUR_STEPS, max(1, math.ceil(moved_px / BLUR_STEP_PX)))
        between = (insect.way.pose(at_s - self.exposure_s * (k + 0.5) / count) for k in range(count))
        return [pose for pose in between if pose]

    def _near(self, insect: Insect, pose: Pose) -> bool:
        where = (pose.x_mm, pose.y_mm)
        return self.sight.shows(where, 3.0 * insect.length_mm * self.sight.px_per_mm(where))

    def _body(self, canvas: Picture, insect: Insect, poses: list[Pose], beat: int) -> None:
        window = self._window(canvas, insect, poses)
        if window is None:
            return
        x, y, width, height = window
        gathered = self._turned(insect, poses[0], window, beat, 1.0)
        for pose in poses[1:]:
            gathered += self._turned(insect, pose, window, beat, 1.0)
        gathered /= len(poses)
        roi = canvas[y : y + height, x : x + width]
        roi *= 1.0 - gathered[..., 1]
        roi += gathered[..., 0]

    def _shadow(self, canvas: Picture, insect: Insect, pose: Pose, sun: Sun) -> None:
        reach = (pose.height_mm + BACK_BODIES * insect.length_mm) * sun.cotangent
        cast = pose._replace(
            x_mm=pose.x_mm + reach * math.cos(sun.towards_rad), y_mm=pose.y_mm + reach * math.sin(sun.towards_rad)
        )
        window = self._window(canvas, insect, [cast])
        if window is None:
            return
        x, y, width, height = window
        cover = self._turned(insect, cast, window, 0, 0.35)[..., 1]
        canvas[y : y + height, x : x + width] *= 1.0 - sun.depth * cover

    def _window(self, canvas: Picture, insect: Insect, poses: list[Pose]) -> tuple[int, int, int, int] | None:
        """Return the part of the canvas (x, y, width, height) that can change, None where it is out of view."""
        reach = REACH_BODIES * insect.length_mm * 1.1 * self._largest(poses[0]) + 2
        seen = [self.sight.px((pose.x_mm, pose.y_mm)) for pose in (poses[0], poses[-1])]
        left = max(0, math.floor(min(x for x, _ in seen) - reach))
        top = max(0, math.floor(min(y for _, y in seen) - reach))
        right = min(canvas.shape[1], math.ceil(max(x for x, _ in seen) + reach))
        bottom = min(canvas.shape[0], math.ceil(max(y for _, y in seen) + reach))
        return (left, top, right - left, bottom - top) if right > left and bottom > top else None

    def _largest(self, pose: Pose) -> float:
        (a, b), (c, d) = self.sight.stretch((pose.x_mm, pose.y_mm))
        return max(math.hypot(a, c), math.hypot(b, d))

    def _turned(
        self, insect: Insect, pose: Pose, window: tuple[int, int, int, int], beat: int, sharpness: float
    ) -> Picture:
        """Return the body's picture as it lies in a window of the canvas."""
        where = (pose.x_mm, pose.y_mm)
        seen_px = insect.length_mm * self.sight.px_per_mm(where)
        picture = sprite(
            insect.kind, insect.look, _phase(insect, pose, beat), math.ceil(seen_px * OVERSAMPLING * sharpness)
        )
        scale = insect.length_mm * 2 * REACH_BODIES / picture.shape[0] * (1.0 + pose.height_mm / CAMERA_HEIGHT_MM)
        cos, sin = scale * math.cos(pose.heading_rad), scale * math.sin(pose.heading_rad)
        (a, b), (c, d) = self.sight.stretch(where)
        turn = np.array(((a * cos + b * sin, b * cos - a * sin), (c * cos + d * sin, d * cos - c * sin)))
        shift = np.array(self.sight.px(where)) - window[:2] - turn @ np.full(2, (picture.shape[0] - 1) / 2)
        matrix = np.column_stack((turn, shift))
        return np.asarray(cv2.warpAffine(picture, matrix, window[2:], flags=cv2.INTER_LINEAR), np.float32)


def _phase(insect: Insect, pose: Pose, beat: int) -> int:
    if pose.height_mm > 0.0:
        return FIRST_BEAT + beat % BEAT_PHASES
    return int(pose.way_mm / (STRIDE_BODIES * insect.length_mm) * STRIDE_PHASES) % STRIDE_PHASES
