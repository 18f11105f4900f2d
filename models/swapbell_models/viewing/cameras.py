"""Camera modules: their sensors, lenses and modes, each number from what its maker publishes.

Named by the sensor, as the board's own camera list names them.
"""

import math
import re
from dataclasses import dataclass, replace

from swapbell_models.quantity import named, positive
from swapbell_models.viewing.lens import Lens


@dataclass(frozen=True, slots=True)
class Mode:
    """A way in which a sensor is read.

    Attributes
    ----------
    width_px, height_px
        Size of the frames [px].
    fps
        The most frames per second [1/s].
    crop_px
        How many of the sensor's own pixels the frame's width covers [px]: fewer than it has cut the view.
    """

    width_px: int
    height_px: int
    fps: float
    crop_px: int

    def __post_init__(self) -> None:
        """Refuse what is no mode."""
        for name in ("width_px", "height_px", "fps", "crop_px"):
            positive(f"mode {name}", getattr(self, name), "per second" if name == "fps" else "px")

    def __str__(self) -> str:
        """Say the mode as it is set."""
        return f"{self.width_px}x{self.height_px} at {self.fps:g} per second"


@dataclass(frozen=True, slots=True)
class Camera:
    """A camera module.

    Attributes
    ----------
    name
        Its sensor, and which lens.
    pixel_um
        From one pixel of the sensor to the next [um].
    modes
        How it can be read.
    lens
        What it looks through; nothing where the lens is bought apart.
    nearest_mm
        The nearest that the lens is sharp at [mm]; nothing where the lens is bought apart.
    is_fixed
        Whether its focus cannot be set.
    source
        Who publishes this.
    """

    name: str
    pixel_um: float
    modes: tuple[Mode, ...]
    lens: Lens | None
    nearest_mm: float | None
    is_fixed: bool
    source: str

    def __post_init__(self) -> None:
        """Refuse what is no camera."""
        named("camera name", self.name)
        positive("pixel_um", self.pixel_um, "um")
        if not self.modes:
            raise ValueError("modes must hold at least one mode")
        if self.nearest_mm is not None:
            positive("nearest_mm", self.nearest_mm, "mm")

    def pixel_of(self, mode: Mode) -> float:
        """Return from one pixel of a mode's frames to the next, on the sensor [um]."""
        return self.pixel_um * mode.crop_px / mode.width_px

    def behind(self, lens: Lens, nearest_mm: float) -> "Camera":
        """Return the same sensor behind another lens, focused by hand.

        Parameters
        ----------
        lens : Lens
            The lens that is screwed on.
        nearest_mm : float
            The nearest that it can be focused on [mm], above 0.

        Raises
        ------
        ValueError
            If the distance is not a positive number.
        """
        return replace(self, lens=lens, nearest_mm=nearest_mm, is_fixed=False)

    def fitted(self) -> tuple[Lens, float]:
        """Return the lens and the nearest that it is sharp at [mm].

        Raises
        ------
        ValueError
            If the camera comes without a lens.
        """
        if self.lens is None or self.nearest_mm is None:
            raise ValueError(
                f"camera {self.name} comes without a lens: say its focal length, f-number, nearest focus"
            )
        return self.lens, self.nearest_mm

    @property
    def focus_mm(self) -> float | None:
        """What a lens that cannot be set is focused on [mm]: so far that all beyond is sharp."""
        return math.inf if self.is_fixed else None


_HARDWARE = "Raspberry Pi documentation, camera hardware specification; modes as its camera list prints them"

CAMERAS = (
    Camera(
        "ov5647",
        1.4,
        (Mode(640, 480, 58.92, 2560), Mode(1296, 972, 46.34, 2592), Mode(1920, 1080, 32.81, 1928)),
        Lens(3.60, 2.9),
        1000.0,
        is_fixed=True,
        source=_HARDWARE,
    ),
    Camera(
        "imx219",
        1.12,
        (Mode(640, 480, 206.65, 1280), Mode(1640, 1232, 41.85, 3280), Mode(1920, 1080, 47.57, 1920)),
        Lens(3.04, 2.0),
        100.0,
        is_fixed=False,
        source=_HARDWARE,
    ),
    Camera(
        "imx708",
        1.4,
        (Mode(1536, 864, 120.13, 3072), Mode(2304, 1296, 56.03, 4608)),
        Lens(4.74, 1.8),
        100.0,
        is_fixed=False,
        source=_HARDWARE,
    ),
    Camera(
        "imx708_wide",
        1.4,
        (Mode(1536, 864, 120.13, 3072), Mode(2304, 1296, 56.03, 4608)),
        Lens(2.75, 2.2),
        50.0,
        is_fixed=False,
        source=_HARDWARE,
    ),
    Camera(
        "imx477",
        1.55,
        (Mode(1332, 990, 120.05, 2664), Mode(2028, 1080, 50.03, 4056), Mode(2028, 1520, 40.01, 4056)),
        lens=None,
        nearest_mm=None,
        is_fixed=False,
        source=_HARDWARE,
    ),
    Camera(
        "imx296",
        3.45,
        (Mode(1456, 1088, 60.38, 1456),),
        lens=None,
        nearest_mm=None,
        is_fixed=False,
        source=_HARDWARE,
    ),
)


_OWN = re.compile(r"(\d+)\s*x\s*(\d+)\s*at\s*(\d+(?:\.\d+)?)\s*fps\s*of\s*(\d+(?:\.\d+)?)\s*um", re.IGNORECASE)


def camera(text: str) -> Camera:
    """Return a camera module by its name, or any other by its frames and pixels.

    Parameters
    ----------
    text : str
        A name from `CAMERAS`, or frames, frame rate and pixels as in "1280x800 at 120 fps of 3 um"; the lens of such
        a camera is said with `Camera.behind`.

    Raises
    ------
    ValueError
        If none of that name is known, or a number is none.
    """
    found = next((each for each in CAMERAS if each.name == text.strip().lower()), None)
    if found:
        return found
    if not (own := _OWN.fullmatch(text.strip())):
        known = ", ".join(each.name for each in CAMERAS)
        raise ValueError(f"camera must be one of {known} or such as '1280x800 at 120 fps of 3 um', not {text!r}")
    mode = Mode(int(own[1]), int(own[2]), float(own[3]), crop_px=int(own[1]))
    return Camera(text.strip(), float(own[4]), (mode,), None, None, is_fixed=False, source="as you stated it")
