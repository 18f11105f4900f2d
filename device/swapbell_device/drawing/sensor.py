"""What sensor and codec make of the light: dark corners, noise that grows with the signal, 256 steps, JPEG blocks."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.drawing.sprite import Picture

# Our choice: noise is cut from a sheet larger than the frame, at a new place each time; far cheaper than new noise.
SHEET_MARGIN_PX = 97


@dataclass(frozen=True, slots=True)
class Sensor:
    """A camera's faults; the defaults are those of a small board camera in daylight (our choice).

    Attributes
    ----------
    white_level
        Grey level of a white board in full light: low where the light is.
    read_noise, shot_noise
        Standard deviation in the dark [grey levels], and its growth: variance for each grey level.
    corner_light
        Light in the image's corners as a part of that in its middle.
    jpeg_quality
        Quality with which frames are packed, 1 to 100; None where they are not.
    """

    white_level: float = 235.0
    read_noise: float = 1.2
    shot_noise: float = 0.012
    corner_light: float = 0.85
    jpeg_quality: int | None = None


class Exposure:
    """Turns light into frames of one size; cheap, because its noise and its corners are made once."""

    def __init__(self, sensor: Sensor, size: tuple[int, int], rng: np.random.Generator) -> None:
        width, height = size
        self._sensor = sensor
        self._noise = rng.standard_normal((height + SHEET_MARGIN_PX, width + SHEET_MARGIN_PX), np.float32)
        self._white = (_corners(size, sensor.corner_light) * sensor.white_level).astype(np.float32)
        levels = np.arange(256, dtype=np.float32)
        self._spread = np.sqrt(sensor.read_noise**2 + sensor.shot_noise * levels)

    def frame(self, light: Picture, rng: np.random.Generator) -> NDArray[np.uint8]:
        """Return the frame that comes of light (height, width), where 1 is a white board in full light."""
        height, width = light.shape
        x, y = rng.integers(SHEET_MARGIN_PX, size=2)
        levels = light * self._white
        spread = cv2.LUT(cv2.convertScaleAbs(levels), self._spread)
        noise = cv2.multiply(self._noise[y : y + height, x : x + width], spread)
        return self._packed(np.asarray(cv2.add(levels, noise, dtype=cv2.CV_8U), np.uint8))

    def _packed(self, frame: NDArray[np.uint8]) -> NDArray[np.uint8]:
        if self._sensor.jpeg_quality is None:
            return frame
        _, packed = cv2.imencode(".jpg", frame, (cv2.IMWRITE_JPEG_QUALITY, self._sensor.jpeg_quality))
        return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE), np.uint8)


def _corners(size: tuple[int, int], corner_light: float) -> Picture:
    width, height = size
    y, x = np.mgrid[-1.0 : 1.0 : height * 1j, -1.0 : 1.0 : width * 1j]
    return np.asarray(1.0 - (1.0 - corner_light) * (x**2 + y**2) / 2.0, np.float32)
