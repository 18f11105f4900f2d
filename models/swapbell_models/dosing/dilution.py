"""An intermediate dilution, for a volume of product that is too small to measure."""

import math
from dataclasses import dataclass

from swapbell_models.dosing.measure import Measure, read
from swapbell_models.dosing.strength import Product
from swapbell_models.quantity import positive

# Our choice: the ratios that a person can mix without arithmetic, the least diluted first.
RATIOS = (10, 20, 50, 100)

# From memory: how suspension concentrates behave.
CAUTIONS = (
    "Shake the concentrate and the dilution before each measure: suspensions settle.",
    "Do not store the dilution: make it fresh, label it, and record it as a lot of its own.",
)


@dataclass(frozen=True, slots=True)
class Dilution:
    """One part of product in `parts` parts in all.

    Attributes
    ----------
    parts
        1 in so many.
    product_ml, water_ml
        What goes into it [mL].
    g_per_l
        Its strength [g/L].
    needed_ml
        How much of it the bait takes [mL].
    """

    parts: int
    product_ml: float
    water_ml: float
    g_per_l: float
    needed_ml: float

    @property
    def left_ml(self) -> float:
        """What is left over and has to be disposed of as the label says [mL]."""
        return self.product_ml + self.water_ml - self.needed_ml


def dilute(product: Product, product_ul: float, parts: int) -> Dilution:
    """Return the dilution of 1 in `parts` that holds a volume of product, made from whole mL of product.

    Parameters
    ----------
    product : Product
        The concentrate.
    product_ul : float
        Volume of product that the bait needs [uL], above 0.
    parts : int
        1 in so many, 2 or more.

    Raises
    ------
    ValueError
        If the volume is not a positive number or the parts are fewer than 2.
    """
    if parts <= 1:
        raise ValueError(f"parts must be 2 or more, not {parts}")
    needed_ml = positive("product_ul", product_ul, "uL") * parts / 1000.0
    product_ml = float(math.ceil(product_ul / 1000.0))
    return Dilution(parts, product_ml, product_ml * (parts - 1), product.g_per_l / parts, needed_ml)


def dilute_for(product: Product, product_ul: float, measure: Measure, room: float | None = None) -> Dilution | None:
    """Return the least dilution that makes a volume fit for a measure; nothing where it fits as it is.

    Parameters
    ----------
    product : Product
        The concentrate.
    product_ul : float
        Volume of product that the bait needs [uL], above 0.
    measure : Measure
        What the volume is measured with.
    room : float, optional
        As for `read` [1].

    Raises
    ------
    ValueError
        If the volume is not a positive number, the room is below 1, or the measure cannot give even 1 in 100.
    """
    positive("product_ul", product_ul, "uL")
    if read(product_ul, measure, room).is_fit:
        return None
    fit = (parts for parts in RATIOS if read(product_ul * parts, measure, room).is_fit)
    if (parts := next(fit, None)) is None:
        raise ValueError(
            f"the dose needs {product_ul:g} uL of product, which a {measure.name} cannot give to a twentieth, even "
            f"thinned 1 in {RATIOS[-1]}: mix for more bait at once, or take a finer measure"
        )
    return dilute(product, product_ul, parts)
