"""What lens and sensor make of the light: dark corners, noise that grows with the signal, and 256 steps."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.drawing.sprite import Picture

# Our choice: noise is cut from a sheet larger than the frame at a new place each time; far cheaper than new noise.
SHEET_MARGIN_PX = 97


@dataclass(frozen=True, slots=True)
class Sensor:
    """A camera's faults.

    Attributes
    ----------
    read_noise, shot_noise
        Standard deviation in the dark [grey levels], and its growth: variance per grey level.
    corner_light
        Light in the image's corners as a part of that in its middle.
    """

    read_noise: float = 1.2
    shot_noise: float = 0.012
    corner_light: float = 0.85


class Exposure:
    """Turns light into frames of one size; cheap, because its noise and its corners are made once."""

    def __init__(self, sensor: Sensor, size: tuple[int, int], rng: np.random.Generator) -> None:
        width, height = size
        self._sensor = sensor
        self._noise = rng.standard_normal((height + SHEET_MARGIN_PX, width + SHEET_MARGIN_PX), np.float32)
        self.corners = _corners(size, sensor.corner_light)

    def frame(self, light: Picture, rng: np.random.Generator) -> NDArray[np.uint8]:
        """Return the frame that the sensor reads from light (height, width), 0 to 255 at full scale."""
        height, width = light.shape
        x, y = rng.integers(SHEET_MARGIN_PX, size=2)
        noise = self._noise[y : y + height, x : x + width]
        spread = cv2.convertScaleAbs(light, alpha=1.0)
        table = np.sqrt(self._sensor.read_noise**2 + self._sensor.shot_noise * np.arange(256, dtype=np.float32))
        return np.asarray(cv2.add(light, cv2.multiply(noise, cv2.LUT(spread, table)), dtype=cv2.CV_8U), np.uint8)


def _corners(size: tuple[int, int], corner_light: float) -> Picture:
    width, height = size
    y, x = np.mgrid[-1.0 : 1.0 : height * 1j, -1.0 : 1.0 : width * 1j]
    return np.asarray(1.0 - (1.0 - corner_light) * (x**2 + y**2) / 2.0, np.float32)
