"""How much product goes into how much bait, for one station or for a whole round.

The tool doses nothing: a person does, with the label in hand. Each result carries its cautions.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from swapbell_models.dosing.authority import Authority
from swapbell_models.dosing.dilution import CAUTIONS as DILUTION_CAUTIONS
from swapbell_models.dosing.dilution import Dilution, dilute_for
from swapbell_models.dosing.measure import ERROR_MAX, Measure, Reading, read
from swapbell_models.dosing.strength import Product, Strength
from swapbell_models.quantity import positive

# Our choice: concentrates and dilutions weigh about as much as water.
UL_PER_G = 1000.0

# Our choice: a person counts to ten without a slip.
FILLS_MAX = 10

CAUTIONS = (
    # National Pesticide Information Center, fipronil general fact sheet.
    "The product's label, local law and licensed practice come before this sheet, which is no legal advice.",
    # From memory: usual protective equipment for concentrates.
    "Wear chemical-resistant gloves, long sleeves and eye protection; use no kitchen tools; lock the product away.",
    # Keshlaf, Basta and Spooner-Hart 2013: half of the honey bees die of 0.4 ng by mouth, of 1.9 ng on the skin. More
    # bees come to sugar than to protein: Spurr 1996.
    "A few billionths of a gram kill a honey bee: never where bees feed, and never in sweet bait.",
    # An encyclopaedia on fipronil: highly toxic to crustaceans, many fish, gallinaceous birds and rabbits. Height of
    # the stations: a public notice, Nelson, 18 January 2017.
    "Keep away from water, drains, hives, children, pets and fowl; hang the closed station at 1.5 m or higher.",
    # Common practice, no source.
    "A second person checks product, strength and volume before anything is mixed.",
)


@dataclass(frozen=True, slots=True)
class Dose:
    """Product for a mass of bait, before it is measured.

    Attributes
    ----------
    bait_g
        Mass of bait before product is added [g].
    target, product, authority
        How strong, with what, and what allows it.
    product_ul
        Volume of product [uL].
    ai_mg
        Active ingredient [mg].
    warnings
        What looks wrong; to be read before anything else.
    cautions
        What holds every time.
    """

    bait_g: float
    target: Strength
    product: Product
    authority: Authority
    product_ul: float
    ai_mg: float
    warnings: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS


def dose(bait_g: float, target: Strength, product: Product, authority: Authority, on: date) -> Dose:
    """Return the volume of product for a mass of bait: bait [g] x target [mg/kg] / product [g/L] = [uL].

    Parameters
    ----------
    bait_g : float
        Mass of bait before product is added [g], above 0.
    target : Strength
        Active ingredient by mass of bait.
    product : Product
        The concentrate in hand.
    authority : Authority
        The stated legal basis.
    on : date
        The day of use, at the place.

    Raises
    ------
    ValueError
        If the authority does not allow it (see `Authority.allow`) or the mass is not a positive number.
    """
    warnings = authority.allow(target, product, on)
    product_ul = positive("bait_g", bait_g, "g") * target.mg_per_kg / product.g_per_l
    return Dose(bait_g, target, product, authority, product_ul, bait_g * target.mg_per_kg / 1000.0, warnings)


@dataclass(frozen=True, slots=True)
class Mix:
    """A dose as it is really measured.

    Attributes
    ----------
    dose
        What was asked for.
    dilution
        What to make first; nothing where the product is measured as it is.
    reading
        What to set the measure to: of the dilution where there is one, else of the product.
    """

    dose: Dose
    dilution: Dilution | None
    reading: Reading

    @property
    def strength(self) -> Strength:
        """Strength by mass of bait that the marks give."""
        return self._strength(self.reading.set_ul)

    @property
    def weakest(self) -> Strength:
        """The weakest that the reading may give."""
        return self._strength(self.reading.set_ul - self.reading.error_ul)

    @property
    def strongest(self) -> Strength:
        """The strongest that the reading may give."""
        return self._strength(self.reading.set_ul + self.reading.error_ul)

    @property
    def finished_g(self) -> float:
        """Mass of the finished bait, with the liquid in it [g]."""
        return self.dose.bait_g + self.reading.set_ul / UL_PER_G

    @property
    def finished(self) -> Strength:
        """Strength by mass of the finished bait, which the added liquid makes heavier."""
        return _strength(self.strength.mg_per_kg * self.dose.bait_g / self.finished_g)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What looks wrong: with the dose, with so much liquid, or with so many fills."""
        return (*self.dose.warnings, *self._thinned(), *self._many())

    def _thinned(self) -> Iterator[str]:
        if self.finished.mg_per_kg < self.dose.target.mg_per_kg * (1.0 - ERROR_MAX):
            yield (
                f"so much liquid thins the finished bait to {self.finished.mg_per_kg:.4g} mg/kg, more than a "
                f"twentieth below {self.dose.target}: take a stronger product, if the authority covers one"
            )

    def _many(self) -> Iterator[str]:
        if self.reading.fills > FILLS_MAX:
            fills = f"{self.reading.fills} fills of a {self.reading.measure.name}"
            yield f"{fills} are easily miscounted: take a larger one"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What holds every time, and for a dilution."""
        return self.dose.cautions + (DILUTION_CAUTIONS if self.dilution else ())

    def _strength(self, volume_ul: float) -> Strength:
        return _strength(self.dose.target.mg_per_kg * volume_ul / self.reading.wanted_ul)


def _strength(mg_per_kg: float) -> Strength:
    return Strength(mg_per_kg, f"{mg_per_kg:g} mg/kg")


def mix(asked: Dose, measure: Measure) -> Mix:
    """Return how to measure a dose: directly, or through a dilution where the volume is too small.

    No mark is taken that could make the bait stronger than the authority allows, not even when it is read high.

    Raises
    ------
    ValueError
        If the measure cannot give even a dilution of 1 in 100.
    """
    room = max(1.0, asked.authority.maximum.mg_per_kg / asked.target.mg_per_kg)
    dilution = dilute_for(asked.product, asked.product_ul, measure, room)
    wanted_ul = dilution.needed_ml * 1000.0 if dilution else asked.product_ul
    return Mix(asked, dilution, read(wanted_ul, measure, room))


def round_dose(
    portions_g: Sequence[float], target: Strength, product: Product, authority: Authority, on: date
) -> Dose:
    """Return the dose for a whole round, mixed once: the portions of all stations together.

    Parameters
    ----------
    portions_g : sequence of float
        Bait for each station [g], each above 0.
    target, product, authority, on
        As for `dose`.

    Raises
    ------
    ValueError
        If there is no portion or one is not a positive number, or as for `dose`.
    """
    if not portions_g:
        raise ValueError("portions_g must hold the bait of at least one station")
    bait_g = math.fsum(positive(f"portions_g[{i}]", portion, "g") for i, portion in enumerate(portions_g))
    return dose(bait_g, target, product, authority, on)
