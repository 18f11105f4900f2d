"""Measuring a small volume: what a syringe or a pipette can really be set to, and why drops are no measure."""

import math
from dataclasses import dataclass

from swapbell_models.amount import VOLUME_UL, amount
from swapbell_models.quantity import FLOAT_SLACK, at_least, named, positive

# Our choice: a volume that cannot be read to a twentieth is measured in a dilution instead. It lies between the two
# errors that ISO 8655 grants a 200-1000 uL pipette: 4 % at its low end and 0.8 % at its top.
ERROR_MAX = 0.05

# A calibrated dropper gives 20 drops of water per mL, within 10 % (USP <1101>).
DROPS_PER_ML, DROPS_SPREAD = 20.0, 0.10
# Drops as they really fall; oils, surfactants and alcohols make much smaller ones (UNC pharmacy pages on droppers).
REAL_DROP_MIN_UL, REAL_DROP_MAX_UL = 20.0, 70.0
DROPS_CAUTION = (
    f"Drops are no measure: real drops hold {REAL_DROP_MIN_UL:g} to {REAL_DROP_MAX_UL:g} uL, "
    "and two people's drops differ. Use a graduated syringe or pipette."
)


@dataclass(frozen=True, slots=True)
class Measure:
    """A syringe or pipette.

    Attributes
    ----------
    name
        What it says on it.
    capacity_ul, least_ul
        The most and the least that it measures in one fill [uL].
    mark_ul
        From one mark to the next [uL].
    error_ul
        How far off a careful fill can be [uL].
    """

    name: str
    capacity_ul: float
    least_ul: float
    mark_ul: float
    error_ul: float

    def __post_init__(self) -> None:
        """Refuse a measure that cannot measure."""
        named("measure name", self.name)
        positive("mark_ul", self.mark_ul, "uL")
        positive("error_ul", self.error_ul, "uL")
        if not positive("least_ul", self.least_ul, "uL") <= self.capacity_ul < math.inf:
            raise ValueError(f"capacity_ul must be at least least_ul, {self.least_ul:g} uL, not {self.capacity_ul}")


# Marks of 0.01 mL and a practical floor of 0.05-0.1 mL: from memory; half a mark as its error: common practice,
# no source. The floor's upper end is taken: the dead space of the hub is as large.
SYRINGE_1_ML = Measure("1 mL syringe", capacity_ul=1000.0, least_ul=100.0, mark_ul=10.0, error_ul=5.0)
# ISO 8655: at most 8 uL of systematic error. Steps of 1 uL: our choice, as most are set.
PIPETTE_1000_UL = Measure("200-1000 uL pipette", capacity_ul=1000.0, least_ul=200.0, mark_ul=1.0, error_ul=8.0)


# Our choice: what holds of the 1 mL syringe holds of any: as many marks to its floor, half a mark of error.
_FLOOR_MARKS = SYRINGE_1_ML.least_ul / SYRINGE_1_ML.mark_ul
_ERROR_MARKS = SYRINGE_1_ML.error_ul / SYRINGE_1_ML.mark_ul


def measure(name: str, text: str) -> Measure:
    """Read what a volume is measured with.

    Parameters
    ----------
    name : str
        What it is, for a refusal.
    text : str
        "1 mL syringe", "200-1000 uL pipette", or how much a syringe holds and from mark to mark: "5 mL by 0.2 mL".

    Raises
    ------
    ValueError
        If it is none of these, or holds fewer than the ten marks that a syringe needs.
    """
    known = {each.name.lower(): each for each in (SYRINGE_1_ML, PIPETTE_1000_UL)}
    if found := known.get(" ".join(text.split()).lower()):
        return found
    holds, by, marks = text.partition(" by ")
    if not by:
        choice = ", ".join(repr(each.name) for each in known.values())
        raise ValueError(f"{name} must be {choice} or a syringe such as '5 mL by 0.2 mL', not {text!r}")
    capacity_ul, mark_ul = (amount(name, each, VOLUME_UL) for each in (holds, marks))
    if capacity_ul < mark_ul * _FLOOR_MARKS:
        raise ValueError(f"{name} must hold at least {_FLOOR_MARKS:g} of its marks, not {text!r}")
    title = f"{capacity_ul / 1000.0:g} mL syringe"
    return Measure(title, capacity_ul, mark_ul * _FLOOR_MARKS, mark_ul, mark_ul * _ERROR_MARKS)


@dataclass(frozen=True, slots=True)
class Reading:
    """A wanted volume as a measure gives it.

    Attributes
    ----------
    wanted_ul, set_ul
        The volume asked for, and what the marks make of it, in all fills together [uL].
    fills
        How often the measure is filled.
    error_ul
        How far off the fills together can be [uL].
    """

    measure: Measure
    wanted_ul: float
    set_ul: float
    fills: int

    @property
    def error_ul(self) -> float:
        """How far off the fills together can be [uL]."""
        return self.fills * self.measure.error_ul

    @property
    def rounding(self) -> float:
        """What the marks add or take away, as a fraction of the wanted volume [1]."""
        return self.set_ul / self.wanted_ul - 1.0

    @property
    def error(self) -> float:
        """How far off the reading can be, as a fraction of the wanted volume [1]."""
        return self.error_ul / self.wanted_ul

    @property
    def is_fit(self) -> bool:
        """Whether the measure can give this volume: not below its least, and read to a twentieth."""
        return self.wanted_ul >= self.measure.least_ul and max(self.error, abs(self.rounding)) <= ERROR_MAX


def read(volume_ul: float, measure: Measure, room: float | None = None) -> Reading:
    """Return what a measure makes of a volume; exactly between two marks the lower one is taken.

    Where there is a top, the mark is low enough that not even a fill that is read high passes it.

    Parameters
    ----------
    volume_ul : float
        Wanted volume [uL], above 0.
    measure : Measure
        The syringe or pipette.
    room : float, optional
        The most that it may come to, as a multiple of the wanted volume [1], 1 or more; any amount, if not said.

    Raises
    ------
    ValueError
        If the volume is not a positive number, or the room is below 1.
    """
    nearest = math.ceil(positive("volume_ul", volume_ul, "uL") / measure.mark_ul - 0.5 - FLOAT_SLACK)
    fills = math.ceil(volume_ul / measure.capacity_ul - FLOAT_SLACK)
    marks = nearest
    if room is not None:
        most_ul = volume_ul * at_least("room", room, 1.0) - fills * measure.error_ul
        marks = max(0, min(nearest, math.floor(most_ul / measure.mark_ul + FLOAT_SLACK)))
    return Reading(measure, volume_ul, marks * measure.mark_ul, fills)


@dataclass(frozen=True, slots=True)
class Drops:
    """So many drops, and how far from the wanted volume they land.

    Attributes
    ----------
    count
        Number of drops.
    error, error_low, error_high
        Against the wanted volume with drops of the nominal size, the smallest and the largest [1].
    """

    count: int
    error: float
    error_low: float
    error_high: float


def drops(volume_ul: float, per_ml: float = DROPS_PER_ML) -> tuple[Drops, ...]:
    """Return the two nearest counts of drops with their errors; see `DROPS_CAUTION`.

    Parameters
    ----------
    volume_ul : float
        Wanted volume [uL], above 0.
    per_ml : float
        Drops of this dropper and liquid [1/mL], above 0, counted to a mark; 20 for water, within 10 % (USP <1101>).

    Raises
    ------
    ValueError
        If the volume or the drops per mL are not positive numbers.
    """
    drop_ul = 1000.0 / positive("per_ml", per_ml, "drops per mL")
    fewer = math.floor(positive("volume_ul", volume_ul, "uL") / drop_ul + FLOAT_SLACK)
    return tuple(_spread(count, drop_ul / volume_ul) for count in (fewer, fewer + 1) if count)


def _spread(count: int, share: float) -> Drops:
    low, high = (count * share * (1.0 + side * DROPS_SPREAD) - 1.0 for side in (-1.0, 1.0))
    return Drops(count, count * share - 1.0, low, high)
