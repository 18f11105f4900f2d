"""A part: its solid where it belongs in the assembly, and how it is made."""

from dataclasses import dataclass, field

from swapbell_enclosure.screws import Name
from swapbell_enclosure.solid import Point3, Solid


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the assembly.

    Attributes
    ----------
    name
        What it is called everywhere.
    bodies
        It in every place where it is used; the first is the one that is made.
    up
        The side of the first body that is up when it is printed, an axis of the assembly.
    sheet_mm
        The thickness of the sheet that it is cut from [mm]; None where it is printed.
    material
        What it is made of.
    """

    name: Name
    bodies: tuple[Solid, ...]
    up: Point3
    sheet_mm: float | None = None
    material: str = field(default="PETG or ASA, matte and dark")

    @property
    def body(self) -> Solid:
        """Return the one that is made."""
        return self.bodies[0]

    @property
    def printed(self) -> bool:
        """Return whether it is printed, not cut from a sheet."""
        return self.sheet_mm is None
