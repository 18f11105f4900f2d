"""What allows a dose at all: a permit or a label, with its end and its bounds. Without one there is no dose.

This is no legal advice: what the person states is taken as stated, and the label and local law come first.
"""

import math
from dataclasses import dataclass
from datetime import date

from swapbell_models.dosing.strength import MG_PER_KG, Product, Strength
from swapbell_models.quantity import day, named

# Our choice: within a quarter of a power of ten, a strength looks like a slipped decimal point.
SLIP_NEARNESS = math.log10(1.25)
# Our choice: labels round; a hundredth is no other product.
SAME_STRENGTH = 0.01


@dataclass(frozen=True, slots=True)
class Authority:
    """The stated legal basis of a dose.

    Attributes
    ----------
    basis
        Which permit, label or registration, in the person's words.
    expires_on
        Its last day, at the place.
    product
        The product it covers, with the strength on the label.
    directs
        The bait strength it directs.
    maximum
        The strongest bait it allows, not below what it directs.
    """

    basis: str
    expires_on: date
    product: Product
    directs: Strength
    maximum: Strength

    def __post_init__(self) -> None:
        """Refuse an authority that names no basis or contradicts itself."""
        named("authority basis", self.basis)
        day("authority expires_on", self.expires_on)
        if self.directs.exceeds(self.maximum):
            raise ValueError(f"authority maximum {self.maximum} must not be below what it directs, {self.directs}")

    def allow(self, target: Strength, product: Product, on: date) -> tuple[str, ...]:
        """Let a dose pass, or refuse it.

        Parameters
        ----------
        target : Strength
            The bait strength asked for.
        product : Product
            The product in hand.
        on : date
            The day of use, at the place.

        Returns
        -------
        tuple of str
            Warnings: where the strength looks like a slip of ten.

        Raises
        ------
        ValueError
            If the authority has expired, the bait would be stronger than it allows, or the product is not the one
            it covers or is not stronger than the bait.
        """
        if day("on", on) > self.expires_on:
            raise ValueError(f"{self.basis} ended on {self.expires_on}: no dose for {on} without a valid one")
        slip = self._slip_of_ten(target)
        if target.exceeds(self.maximum):
            most = f"target strength {target} is above the {self.maximum} that {self.basis} allows"
            raise ValueError(". ".join([most, *slip]))
        self._check_product(product, target)
        return slip

    def _slip_of_ten(self, target: Strength) -> tuple[str, ...]:
        power = math.log10(target.mg_per_kg / self.directs.mg_per_kg)
        tens = round(power)
        if tens == 0 or abs(power - tens) > SLIP_NEARNESS:
            return ()
        times = f"about {10 ** abs(tens)} times {'more' if power > 0 else 'less'} than"
        return (f"{target} is {times} the {self.directs} that {self.basis} directs: check the decimal point",)

    def _check_product(self, product: Product, target: Strength) -> None:
        given, covered = (f"{each.g_per_l:g} g/L ({each.name})" for each in (product, self.product))
        if not math.isclose(product.g_per_l, self.product.g_per_l, rel_tol=SAME_STRENGTH):
            raise ValueError(f"product strength {given} is not the {covered} that {self.basis} covers")
        if product.g_per_l * MG_PER_KG["g/L"] <= target.mg_per_kg:
            raise ValueError(f"product strength {given} must be above the bait's, {target}")
