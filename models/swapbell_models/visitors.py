"""Who comes to a bait, how long they are, and whom length cannot tell apart.

Worker wasps, honey bees, blowflies and paper wasps overlap: of these visitors, length alone keeps out only the house
fly. Ants and hoverflies are left out, because no source for their lengths was found.
"""

from dataclasses import dataclass

from swapbell_models.quantity import at_least, positive
from swapbell_models.sizes import SizeClass, size_class


@dataclass(frozen=True, slots=True)
class Visitor:
    """A kind of visitor and its body length.

    Attributes
    ----------
    name
        The kind, and which of its members.
    shortest_mm, longest_mm
        Body length without legs and antennae [mm].
    source
        Who measured or wrote it.
    is_target
        Whether the bait is for it.
    """

    name: str
    shortest_mm: float
    longest_mm: float
    source: str
    is_target: bool = False

    @property
    def classes(self) -> frozenset[SizeClass]:
        """The size classes that its lengths fall in."""
        return frozenset({size_class(self.shortest_mm), size_class(self.longest_mm)})

    def overlaps(self, other: "Visitor") -> bool:
        """Tell whether some of its lengths are some of the other's."""
        return self.shortest_mm <= other.longest_mm and other.shortest_mm <= self.longest_mm


VISITORS = (
    Visitor("European wasp worker (Vespula germanica)", 10.0, 15.0, "Museums Victoria", is_target=True),
    Visitor("common wasp worker (V. vulgaris)", 11.0, 17.0, "bumblebee.org; an encyclopaedia", is_target=True),
    Visitor("queen or male of either wasp", 13.0, 20.0, "bumblebee.org; Museums Victoria", is_target=True),
    Visitor("honey bee worker", 12.0, 15.0, "from memory"),
    Visitor("paper wasp (Polistes)", 15.0, 25.0, "Biosecurity Tasmania"),
    Visitor("hornet worker (Vespa crabro)", 25.0, 25.0, "a general web page: about 25"),
    Visitor("blowfly (Calliphoridae)", 5.0, 15.0, "bumblebee.org, British species"),
    Visitor("house fly", 5.0, 8.0, "pest and citizen-science pages"),
)


def candidates(length_mm: float, error_mm: float) -> tuple[Visitor, ...]:
    """Return every visitor that a body of this length may be, targets first.

    Parameters
    ----------
    length_mm : float
        Measured body length without legs and antennae [mm], above 0.
    error_mm : float
        How far off the measurement may be [mm], 0 or more.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    positive("length_mm", length_mm, "mm")
    at_least("error_mm", error_mm, 0.0, "mm")
    low, high = length_mm - error_mm, length_mm + error_mm
    return tuple(each for each in VISITORS if each.shortest_mm <= high and low <= each.longest_mm)


def mistakable() -> tuple[Visitor, ...]:
    """Return the visitors that the class `wasp` lets in although the bait is not for them."""
    return tuple(each for each in VISITORS if SizeClass.WASP in each.classes and not each.is_target)
