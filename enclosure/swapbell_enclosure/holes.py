"""The holes that the screws need in each part, made to print as the part lies."""

import math

from swapbell_enclosure.layout import Layout, Point3
from swapbell_enclosure.screws import Name, Screw, screws
from swapbell_enclosure.solid import OVERCUT_MM, Solid, drop, pit, rod


def holes(layout: Layout, part: Name, up: Point3) -> list[Solid]:
    """Return what is cut from a part that prints with this side up."""
    return [_hole(each, part, up) for each in screws(layout) if part in (*each.slips, each.bites)]


def _hole(screw: Screw, part: Name, up: Point3) -> Solid:
    """Return one hole: roofed where it lies level, pointed where it ends in the part."""
    x, y, z = (start - OVERCUT_MM * each for start, each in zip(screw.head, screw.direction, strict=True))
    length = screw.length_mm + 2 * OVERCUT_MM
    diameter = screw.thread.core_mm if part is screw.bites else screw.thread.clearance_mm
    if abs(sum(a * b for a, b in zip(screw.direction, up, strict=True))) < math.cos(math.radians(45.0)):
        return drop((x, y, z), screw.direction, length, diameter, up)
    return (pit if part is screw.bites else rod)((x, y, z), screw.direction, length, diameter)
