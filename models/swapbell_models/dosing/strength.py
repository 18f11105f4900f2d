"""How strong a bait and a product are: said in any unit of the trade, kept in mg/kg and g/L.

0.1 g/L is 100 mg/kg or 0.01 %, not 0.1 %: a slip of ten is the commonest mistake with doses.
"""

import re
from dataclasses import dataclass

from swapbell_models.amount import amount
from swapbell_models.quantity import FLOAT_SLACK, named, positive

# By definition for masses; by volume at 1 kg/L: our choice, wet meat and fish weigh about as much as water.
MG_PER_KG = {"mg/kg": 1.0, "ppm": 1.0, "g/kg": 1000.0, "%": 10_000.0, "mg/L": 1.0, "g/L": 1000.0}
# By definition. A bare % is left out: for a liquid it may be meant by mass or by volume.
G_PER_L = {"g/L": 1.0, "mg/mL": 1.0, "% w/v": 10.0}

# Our choice: "1:n" may mean 1 in n or 1 to n; from 1:50 on they differ by 2 % or less.
PARTS_MIN = 50.0

_PARTS = re.compile(r"1\s*(?::|in)\s*(\d+(?:\.\d+)?)")


@dataclass(frozen=True, slots=True)
class Strength:
    """Active ingredient in bait.

    Attributes
    ----------
    mg_per_kg
        Mass of active ingredient by mass of bait [mg/kg], above 0.
    said
        As a person said it.
    """

    mg_per_kg: float
    said: str

    def __post_init__(self) -> None:
        """Refuse what is no strength."""
        positive("strength", self.mg_per_kg, "mg/kg")
        if self.mg_per_kg >= MG_PER_KG["%"] * 100.0:
            raise ValueError(f"strength must be below 100 %, not {self.said}")

    def exceeds(self, other: "Strength") -> bool:
        """Tell whether this is stronger than another, beyond the rounding of floating point."""
        return self.mg_per_kg > other.mg_per_kg * (1.0 + FLOAT_SLACK)

    def __str__(self) -> str:
        """Say the strength in mg/kg and, where they differ, in the person's words."""
        plain = f"{self.mg_per_kg:g} mg/kg"
        return plain if self.said == plain else f"{self.said} ({plain})"


@dataclass(frozen=True, slots=True)
class Product:
    """A liquid concentrate.

    Attributes
    ----------
    name
        Full name on its label.
    g_per_l
        Active ingredient in a litre of it [g/L], above 0.
    """

    name: str
    g_per_l: float

    def __post_init__(self) -> None:
        """Refuse a product without a name or a strength."""
        named("product name", self.name)
        positive("product strength", self.g_per_l, "g/L")


def bait_strength(text: str, product: Product | None = None, name: str = "target strength") -> Strength:
    """Read how strong a bait is to be.

    Parameters
    ----------
    text : str
        "100 mg/kg", "100 ppm", "0.1 g/kg", "0.01 %", "0.1 g/L", "100 mg/L", or "1:1000" of the product; a point
        before decimals. g/L and mg/L are per litre of bait, which is taken to weigh 1 kg.
    product : Product, optional
        What "1:n" thins; read as 1 part in n, which is 0.1 % from 1 part to n at 1000. n is 50 or more.
    name : str
        What it is, for a refusal.

    Raises
    ------
    ValueError
        If the unit is unknown, the number is no positive number, or "1:n" has no product.
    """
    if parts := _PARTS.fullmatch(text.strip()):
        return Strength(_thinned(float(parts[1]), text, product, name), text.strip())
    return Strength(amount(name, text, MG_PER_KG, also=", 1:n"), text.strip())


def product(name: str, text: str, strength_name: str = "product strength") -> Product:
    """Read a product's strength from its label.

    Parameters
    ----------
    name : str
        Full name of the product.
    text : str
        "100 g/L", "100 mg/mL" or "10 % w/v".
    strength_name : str
        What its strength is, for a refusal.

    Raises
    ------
    ValueError
        If the unit is unknown (a bare % does not say of what) or the number is no positive number.
    """
    if text.strip().endswith("%"):
        raise ValueError(f"{strength_name} {text!r} may be by mass or by volume: say g/L, or % w/v if the label does")
    return Product(name, amount(strength_name, text, G_PER_L))


def _thinned(parts: float, text: str, thinned: Product | None, name: str) -> float:
    if thinned is None:
        raise ValueError(f"{name} {text!r} needs the product that is thinned, or say it in mg/kg")
    if parts < PARTS_MIN:
        raise ValueError(f"{name} {text!r} can be read in two ways below 1:{PARTS_MIN:g}; say it in mg/kg")
    return thinned.g_per_l * MG_PER_KG["g/L"] / parts
