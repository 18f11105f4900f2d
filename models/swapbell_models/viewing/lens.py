"""What a lens makes of a plane: its scale, the field, what is sharp, and what motion does to it.

A thin lens without distortion. Distances are from its front principal plane, which in a small module lies within a
few millimetres of the front of the lens (from memory): calibration measures the scale that a print really has.
"""

import math
from dataclasses import dataclass

from swapbell_models.quantity import positive, within

# Our choice: leaning further, a body's length is seen at less than seven tenths.
TILT_MAX_DEG = 45.0
UM_PER_MM = 1000.0


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens.

    Attributes
    ----------
    focal_mm
        Focal length [mm], above 0.
    f_number
        Focal length over the width of its opening [1], above 0.
    """

    focal_mm: float
    f_number: float

    def __post_init__(self) -> None:
        """Refuse what is no lens."""
        positive("focal_mm", self.focal_mm, "mm")
        positive("f_number", self.f_number)

    def image_mm(self, focus_mm: float) -> float:
        """Return how far behind the lens it draws what lies at a distance: 1/f = 1/s + 1/v [mm].

        Parameters
        ----------
        focus_mm : float
            The distance that it is focused on [mm], beyond the focal length; infinite where it is set so.

        Raises
        ------
        ValueError
            If the distance is not beyond the focal length.
        """
        if not focus_mm > self.focal_mm:
            raise ValueError(f"focus_mm must be beyond the focal length of {self.focal_mm:g} mm, not {focus_mm}")
        return self.focal_mm / (1.0 - self.focal_mm / focus_mm)

    def hyperfocal_mm(self, confusion_mm: float) -> float:
        """Return the focus from which on all is sharp to infinity: f^2 / (N c) + f [mm].

        Greenleaf 1950, Photographic Optics.

        Parameters
        ----------
        confusion_mm : float
            The largest blur that still counts as sharp, on the sensor [mm], above 0.

        Raises
        ------
        ValueError
            If the blur is not a positive number.
        """
        blur = positive("confusion_mm", confusion_mm, "mm")
        return self.focal_mm**2 / (self.f_number * blur) + self.focal_mm

    def sharp(self, focus_mm: float, confusion_mm: float) -> tuple[float, float]:
        """Return the nearest and the farthest distance that are sharp [mm]; the farthest may be infinite.

        s (H - f) / (H + s - 2 f) and s (H - f) / (H - s): Greenleaf 1950, Photographic Optics.

        Parameters
        ----------
        focus_mm : float
            The distance that it is focused on [mm], beyond the focal length.
        confusion_mm : float
            The largest blur that still counts as sharp, on the sensor [mm], above 0.

        Raises
        ------
        ValueError
            If an argument is out of its range.
        """
        self.image_mm(focus_mm)
        past = (hyperfocal := self.hyperfocal_mm(confusion_mm)) - self.focal_mm
        if math.isinf(focus_mm):
            return past, math.inf
        near = focus_mm * past / (hyperfocal + focus_mm - 2.0 * self.focal_mm)
        return near, focus_mm * past / (hyperfocal - focus_mm) if focus_mm < hyperfocal else math.inf


@dataclass(frozen=True, slots=True)
class Aim:
    """A camera aimed at a plane, square to it or leaning.

    Attributes
    ----------
    lens
        What it looks through.
    pixel_um
        From one pixel of the stream to the next, on the sensor [um], above 0.
    distance_mm
        From the lens to the plane along the axis [mm].
    tilt_deg
        How far the axis leans away from square [degrees], 0 to 45; it leans along the image's second side.
    focus_mm
        What the lens is focused on [mm]; the plane, if not said.
    """

    lens: Lens
    pixel_um: float
    distance_mm: float
    tilt_deg: float = 0.0
    focus_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be aimed so."""
        positive("pixel_um", self.pixel_um, "um")
        positive("distance_mm", self.distance_mm, "mm")
        within("tilt_deg", self.tilt_deg, 0.0, TILT_MAX_DEG, "degrees")
        self.lens.image_mm(self._focus_mm)

    @property
    def mm_per_px(self) -> float:
        """Scale across the lean, where the axis meets the plane [mm/px]: pixel x s / v."""
        return self.pixel_um / UM_PER_MM * self.distance_mm / self._image_mm

    @property
    def mm_per_px_along(self) -> float:
        """Scale along the lean, where the axis meets the plane [mm/px]: a lean shortens what it sees."""
        return self.mm_per_px / math.cos(self._tilt)

    def reach_mm(self, side_px: float) -> tuple[float, float]:
        """Return how far the image reaches along the lean, from the axis to the near and to the far edge [mm].

        Parameters
        ----------
        side_px : float
            The side of the image that lies along the lean [px], above 0.

        Returns
        -------
        tuple of float
            The far one is infinite where the image shows the plane's horizon.

        Raises
        ------
        ValueError
            If the side is not a positive number.
        """
        slope = positive("side_px", side_px, "px") / 2.0 * self.pixel_um / UM_PER_MM / self._image_mm
        lean, span_mm = slope * math.tan(self._tilt), self.distance_mm / math.cos(self._tilt)
        return span_mm * slope / (1.0 + lean), span_mm * slope / (1.0 - lean) if lean < 1.0 else math.inf

    def across_mm(self, side_px: float, off_mm: float = 0.0) -> float:
        """Return how much of the plane the image shows across the lean [mm].

        Parameters
        ----------
        side_px : float
            The side of the image that lies across the lean [px], above 0.
        off_mm : float
            Where along the lean, from the axis towards the far side [mm].

        Raises
        ------
        ValueError
            If the side is not a positive number.
        """
        depth_mm = self.distance_mm + off_mm * math.sin(self._tilt)
        return positive("side_px", side_px, "px") * self.mm_per_px * depth_mm / self.distance_mm

    def sharp_mm(self, confusion_px: float) -> tuple[float, float]:
        """Return the nearest and the farthest distance from the lens that are sharp [mm].

        Parameters
        ----------
        confusion_px : float
            The largest blur that still counts as sharp [px], above 0.

        Raises
        ------
        ValueError
            If the blur is not a positive number.
        """
        return self.lens.sharp(self._focus_mm, confusion_px * self.pixel_um / UM_PER_MM)

    @property
    def _focus_mm(self) -> float:
        return self.distance_mm if self.focus_mm is None else self.focus_mm

    @property
    def _image_mm(self) -> float:
        return self.lens.image_mm(self._focus_mm)

    @property
    def _tilt(self) -> float:
        return math.radians(self.tilt_deg)


def view_deg(side_mm: float, image_mm: float) -> float:
    """Return the angle of view over one side of a sensor: 2 atan(side / 2 v) [degrees].

    Parameters
    ----------
    side_mm : float
        The side of the sensor [mm], above 0.
    image_mm : float
        From the lens to the sensor [mm], above 0: the focal length where it is set to infinity.

    Raises
    ------
    ValueError
        If an argument is not a positive number.
    """
    return 2.0 * math.degrees(
        math.atan(positive("side_mm", side_mm, "mm") / 2.0 / positive("image_mm", image_mm, "mm"))
    )


def smear_mm(speed_mm_per_s: float, exposure_s: float) -> float:
    """Return how far a body moves while a frame is exposed [mm].

    Parameters
    ----------
    speed_mm_per_s : float
        Its speed [mm/s], above 0.
    exposure_s : float
        How long the frame is exposed [s], above 0.

    Raises
    ------
    ValueError
        If an argument is not a positive number.
    """
    return positive("speed_mm_per_s", speed_mm_per_s, "mm/s") * positive("exposure_s", exposure_s, "s")


def frames_in_view(field_mm: float, speed_mm_per_s: float, fps: float) -> float:
    """Return how many frames a body's centre spends in view: field / speed x frame rate [1].

    Parameters
    ----------
    field_mm : float
        How much of its way is in view [mm], above 0.
    speed_mm_per_s : float
        Its speed [mm/s], above 0.
    fps : float
        Frames per second [1/s], above 0.

    Raises
    ------
    ValueError
        If an argument is not a positive number.
    """
    way_mm, rate = positive("field_mm", field_mm, "mm"), positive("fps", fps, "per second")
    return way_mm / positive("speed_mm_per_s", speed_mm_per_s, "mm/s") * rate
