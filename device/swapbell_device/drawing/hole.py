"""A dark hole at the gate: its floor is black, and bodies get less light the deeper they are."""

from dataclasses import dataclass

import numpy as np

from swapbell_device.drawing.behaviour import USED_PART, Place
from swapbell_device.drawing.sprite import Picture
from swapbell_device.drawing.way import Array

# Our choice: the floor reflects an eighth of what the board does, and the rim's edge is a millimetre soft.
FLOOR = 0.12
RIM_MM = 1.0
# Our choice: the hole is this much wider than the part of the gate that bodies use.
ROOM_MM = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Hole:
    """A hole's shape and shade over the view, (height, width) each.

    Attributes
    ----------
    floor
        What the board's reflectance is multiplied with.
    light
        How much of the light reaches a body there.
    """

    floor: Picture
    light: Picture

    def __call__(self, light: Picture, at_s: float) -> Picture:  # noqa: ARG002  (the hole is always there)
        """Return the light that is left on the bodies in the hole."""
        light *= self.light
        return light


def hole(place: Place, deep_mm: float, rim_mm: float, behind_rim: float) -> Hole:
    """Return a hole with round corners behind the gate line.

    Parameters
    ----------
    place : Place
        Where the gate is.
    deep_mm : float
        Where no light is left [mm beyond the line].
    rim_mm : float
        Where the hole begins [mm beyond the line].
    behind_rim : float
        How much of the light a body still gets just behind the rim, 0 to 1.
    """
    beyond, aside = _places(place)
    half_wide, half_deep = (USED_PART * place.opening.width_mm + ROOM_MM) / 2, (deep_mm - rim_mm + ROOM_MM) / 2
    corner = 0.6 * min(half_wide, half_deep)
    out_x = np.maximum(np.abs(aside) - half_wide + corner, 0.0)
    out_y = np.maximum(np.abs(beyond - rim_mm - half_deep) - half_deep + corner, 0.0)
    inside = np.clip((corner - np.hypot(out_x, out_y)) / RIM_MM, 0.0, 1.0)
    left = behind_rim * np.clip(1.0 - (beyond - rim_mm) / (deep_mm - rim_mm), 0.0, 1.0)
    return Hole(_picture(1.0 - inside * (1.0 - FLOOR)), _picture(1.0 - inside * (1.0 - left)))


def _places(place: Place) -> tuple[Array, Array]:
    """Return how far each pixel of a square view lies beyond the gate line and along it [mm]."""
    width, height = place.sight.size
    scale = 1.0 / place.sight.px_per_mm(place.opening.centre_mm)
    x, y = np.meshgrid(np.arange(width, dtype=np.float64) * scale, np.arange(height, dtype=np.float64) * scale)
    beyond, aside = place.opening.beyond_aside(np.column_stack((x.ravel(), y.ravel())))
    return beyond.reshape(height, width), aside.reshape(height, width)


def _picture(values: Array) -> Picture:
    return np.asarray(values, np.float32)
