"""Boards, camera modules and screws as they are sold: what their published drawings and tables say.

Every length can be overridden in the parameter file; what is from memory says so: measure it before printing.
"""

from enum import Enum

import msgspec

from swapbell_models.viewing import cameras
from swapbell_models.viewing.lens import UM_PER_MM


class CameraModule(msgspec.Struct, frozen=True, kw_only=True):
    """A camera module: its optics, and its board as it is screwed on.

    Attributes
    ----------
    sensor_mm
        The area of the sensor that its widest fast mode reads, width and height [mm].
    focal_mm, f_number
        Focal length [mm] and focal ratio of its lens.
    nearest_mm
        The nearest distance at which it can be focused [mm].
    fps_max
        The frame rate of that mode [1/s].
    board_mm
        Width and height of its circuit board [mm].
    holes_mm
        Distances between its four holes, along the width and along the height [mm].
    lens_above_row_mm
        How far the lens lies from the row of holes farther from the cable, towards the cable [mm].
    far_edge_mm
        From the lens to the board's edge opposite the cable [mm].
    pupil_mm
        From the board's face to the lens's entrance pupil [mm].
    barrel_mm
        The side of the square that the lens and its housing take on the board [mm].
    """

    sensor_mm: tuple[float, float]
    focal_mm: float
    f_number: float
    nearest_mm: float
    fps_max: float
    # Raspberry Pi documentation, "Hardware specifications" of its cameras: around 25 x 24 mm.
    board_mm: tuple[float, float] = (25.0, 24.0)
    # The four below from memory of the published mechanical drawing.
    holes_mm: tuple[float, float] = (21.0, 12.5)
    lens_above_row_mm: float = 12.4
    far_edge_mm: float = 14.4
    barrel_mm: float = 12.0
    # From memory, within 2 mm: calibration finds the scale that it really gives.
    pupil_mm: float


def _module(name: str, pupil_mm: float) -> CameraModule:
    """Return a module whose optics are those that `models` knows, in the mode that reads most of the sensor."""
    known = cameras.camera(name)
    mode = max(known.modes, key=lambda each: (each.crop_px, each.fps))
    lens, nearest = known.fitted()
    pitch = known.pixel_of(mode) / UM_PER_MM
    return CameraModule(
        sensor_mm=(mode.width_px * pitch, mode.height_px * pitch),
        focal_mm=lens.focal_mm,
        f_number=lens.f_number,
        nearest_mm=nearest,
        fps_max=mode.fps,
        pupil_mm=pupil_mm,
    )


CAMERAS = {
    "imx219": _module("imx219", 4.0),
    "imx708": _module("imx708", 6.0),
    "imx708_wide": _module("imx708_wide", 7.0),
}


class Board(msgspec.Struct, frozen=True, kw_only=True):
    """A single-board computer: size, distances between its four holes, and the room that it needs above [mm]."""

    size_mm: tuple[float, float]
    holes_mm: tuple[float, float]
    height_mm: float


# Raspberry Pi documentation, mechanical drawings of the two sizes of board: outline and holes. Heights from memory:
# the small one with a soldered header and a plug on it, the large one with its network socket.
BOARDS = {
    "65x30": Board(size_mm=(65.0, 30.0), holes_mm=(58.0, 23.0), height_mm=14.0),
    "85x56": Board(size_mm=(85.0, 56.0), holes_mm=(58.0, 49.0), height_mm=18.0),
}


class Thread(Enum):
    """A metric screw: nominal diameter, clearance hole (ISO 273, medium; from memory), core hole [mm]."""

    M2 = (2.0, 2.4, 1.7)
    M2_5 = (2.5, 2.9, 2.1)
    M3 = (3.0, 3.4, 2.5)

    @property
    def nominal_mm(self) -> float:
        """Return the diameter over the thread [mm]."""
        return self.value[0]

    @property
    def clearance_mm(self) -> float:
        """Return the hole through which it slips [mm]."""
        return self.value[1]

    @property
    def core_mm(self) -> float:
        """Return the hole in plastic in which it cuts its own thread [mm]: common practice, no source."""
        return self.value[2]
