"""Toxic bait out and back again: what is missing was taken, and with it the active ingredient."""

from dataclasses import dataclass

from swapbell_models.quantity import at_least, positive


@dataclass(frozen=True, slots=True)
class Balance:
    """Bait out and back again.

    Attributes
    ----------
    out_g, back_g
        Bait with its liquid that went out, and that was weighed back [g], 0 or more.
    mg_per_kg
        Its strength when it went out [mg/kg].
    """

    out_g: float
    back_g: float
    mg_per_kg: float

    def __post_init__(self) -> None:
        """Refuse masses that are none."""
        positive("out_g", self.out_g, "g")
        at_least("back_g", self.back_g, 0.0, "g")
        positive("mg_per_kg", self.mg_per_kg, "mg/kg")

    @property
    def taken_g(self) -> float | None:
        """Bait that went missing [g]: eaten, dried or stolen. Nothing where more came back than went out."""
        return self.out_g - self.back_g if self.back_g <= self.out_g else None

    @property
    def taken_mg(self) -> float | None:
        """Active ingredient in the bait that went missing [mg]."""
        return None if self.taken_g is None else self.taken_g * self.mg_per_kg / 1000.0

    @property
    def words(self) -> str:
        """The balance for a person."""
        if self.taken_g is None:
            return f"{self.back_g:g} g came back of {self.out_g:g} g: rain or a wrong mass; taken is unknown"
        share = self.taken_g / self.out_g
        return f"{self.taken_g:g} g of {self.out_g:g} g taken ({share:.0%}); bait that dried counts as taken"
