"""A lane and what goes through it, and what a view of it has to hold."""

from dataclasses import dataclass
from enum import Enum

from swapbell_models.quantity import positive, within
from swapbell_models.viewing.lens import TILT_MAX_DEG

# Our choice: a body is looked at in half size, where its length is then still 20 px.
BODY_MIN_PX = 40.0
# Our choice: a smear of a third leaves an outline that can be measured.
SMEAR_MAX = 1.0 / 3.0
# Our choice: two frames before the gate line and two behind it.
FRAMES_MIN = 4.0


class Limit(Enum):
    """What a view has to hold."""

    BODY = "body length"
    SMEAR = "smear"
    FRAMES = "frames in view"
    FIELD = "field across the lane"
    FOCUS = "nearest focus"
    DEPTH = "depth of field"


@dataclass(frozen=True, slots=True)
class Lane:
    """A lane and what goes through it.

    Attributes
    ----------
    width_mm
        Across the way of the insects [mm], above 0.
    speed_mm_per_s
        The fastest that is still to be counted [mm/s], above 0.
    body_length_mm, body_width_mm
        Of the smallest that is to be counted [mm], above 0; no wider than long.
    depth_mm
        How deep it has to be sharp, nearer and farther than the focus together [mm], above 0: the lane's height.
    length_mm
        How much of the way can be seen at all [mm]; as much as the field shows, if not said.
    exposure_s
        The shortest exposure that the light allows [s]; as short as needed, if not said.
    tilt_deg
        How far the camera leans along the way [degrees], 0 to 45.
    """

    width_mm: float
    speed_mm_per_s: float
    body_length_mm: float
    body_width_mm: float
    depth_mm: float
    length_mm: float | None = None
    exposure_s: float | None = None
    tilt_deg: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no lane."""
        for name in ("width_mm", "body_length_mm", "body_width_mm", "depth_mm", "length_mm"):
            if (value := getattr(self, name)) is not None:
                positive(name, value, "mm")
        if self.body_width_mm > self.body_length_mm:
            raise ValueError(
                f"body_width_mm {self.body_width_mm:g} must not be above the body's length, {self.body_length_mm:g} "
                "mm: no insect is wider than long"
            )
        positive("speed_mm_per_s", self.speed_mm_per_s, "mm/s")
        if self.exposure_s is not None:
            positive("exposure_s", self.exposure_s, "s")
        within("tilt_deg", self.tilt_deg, 0.0, TILT_MAX_DEG, "degrees")

    @property
    def smear_max_mm(self) -> float:
        """How far a body may move while a frame is exposed [mm]."""
        return SMEAR_MAX * self.body_width_mm

    @property
    def exposure_max_s(self) -> float:
        """The longest exposure that smears no more than allowed [s]."""
        return self.smear_max_mm / self.speed_mm_per_s


@dataclass(frozen=True, slots=True)
class Margin:
    """One limit in one view.

    Attributes
    ----------
    limit
        Which.
    has, needs
        What there is, and what is needed, in `unit`; of smear the most that is allowed.
    unit
        Of both.
    """

    limit: Limit
    has: float
    needs: float
    unit: str

    @property
    def ratio(self) -> float:
        """How many times what is needed there is [1]: the limit holds from 1 on."""
        return self.needs / self.has if self.limit is Limit.SMEAR else self.has / self.needs
