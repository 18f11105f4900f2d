"""Every screw of the assembly, once: the parts cut their holes from this list, and the bill counts it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from swapbell_enclosure import places
from swapbell_enclosure.hardware import Thread
from swapbell_enclosure.layout import (
    BASE_MM,
    CAMERA_PLATE_MM,
    CEILING_MM,
    EAR_MM,
    FRAME_MM,
    GASKET_MM,
    HANGER_FOOT_MM,
    LANDING_TONGUE_MM,
    MESH_FRAME_MM,
    STANDOFF_MM,
    VISOR_MM,
    Layout,
    Point3,
)


class Name(Enum):
    """The parts, as they are called on every drawing and in every file name."""

    LANE = "lane"
    LANDING = "landing-board"
    HOOD = "hood"
    CAMERA_PLATE = "camera-plate"
    FRAME = "diffuser-frame"
    VISOR = "visor"
    BOX = "box"
    MESH_FRAME = "mesh-frame"
    LID = "lid"
    HANGER = "hanger"
    POT_ADAPTER = "adapter-pot"
    TUB_ADAPTER = "adapter-tub"
    TINS_ADAPTER = "adapter-tins"
    INSERT = "insert"
    WINDOW = "window"
    DIFFUSER = "diffuser"
    GASKET = "gasket"
    MESH = "mesh"


ADAPTERS = (Name.POT_ADAPTER, Name.TUB_ADAPTER, Name.TINS_ADAPTER)
# Sold lengths, from memory of ISO 7045.
LENGTHS_MM = (6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 50)
# Our choice: two and a half turns of an M3 thread, which is what a screw in plastic needs at least.
BITE_MM = 6.0


@dataclass(frozen=True, slots=True)
class Screw:
    """One screw.

    Attributes
    ----------
    thread
        Its thread.
    head
        The point under its head [mm].
    direction
        Where it points, a unit vector.
    grip_mm
        What it clamps between its head and its nut or thread [mm].
    slips
        The parts that it slips through.
    bites
        The part that it cuts its thread into; a nut where there is none.
    bite_mm
        How deep it cuts at least [mm].
    """

    thread: Thread
    head: Point3
    direction: Point3
    grip_mm: float
    slips: tuple[Name, ...]
    bites: Name | None = None
    bite_mm: float = BITE_MM

    @property
    def length_mm(self) -> int:
        """Return the shortest length that is sold and long enough [mm]."""
        needed = self.grip_mm + (self.bite_mm if self.bites else self.thread.nominal_mm)
        return next((each for each in LENGTHS_MM if each >= needed), LENGTHS_MM[-1])

    @property
    def tip(self) -> Point3:
        """Return the far end [mm]."""
        x, y, z = (start + self.length_mm * each for start, each in zip(self.head, self.direction, strict=True))
        return x, y, z


UP, DOWN, INWARDS = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0)


def screws(layout: Layout) -> list[Screw]:
    """Return all screws of the assembly."""
    return [*_lane(layout), *_hood(layout), *_camera(layout), *_box(layout), *_lid(layout)]


def _lane(layout: Layout) -> Iterator[Screw]:
    for x, y in layout.hood_posts:
        yield Screw(Thread.M3, (x, y, layout.bottom), UP, layout.plate_top - layout.bottom, (Name.LANE,), Name.HOOD)
    for side in (-1.0, 1.0):
        at = (-layout.half_length + 7.0, side * (layout.channel + 5.0), layout.bottom - LANDING_TONGUE_MM)
        yield Screw(Thread.M3, at, UP, LANDING_TONGUE_MM, (Name.LANDING,), Name.LANE, BASE_MM)
    for y, z in layout.ear_holes:
        at = (layout.half_length - EAR_MM, y, z)
        yield Screw(Thread.M3, at, INWARDS, EAR_MM + places.adapter_depth(layout), (Name.LANE, *ADAPTERS))


def _hood(layout: Layout) -> Iterator[Screw]:
    along, across = layout.hood_outer
    low, high = places.light(layout)
    for x, y in layout.hood_posts:
        side = math.copysign(1.0, y)
        for z in (low, high):
            at = (x, side * (across + FRAME_MM), z)
            yield Screw(Thread.M3, at, (0.0, -side, 0.0), FRAME_MM, (Name.FRAME,), Name.HOOD)
        if x < 0:
            at = (-along - VISOR_MM, y, places.visor_top(layout) - 14.0)
            yield Screw(Thread.M3, at, INWARDS, VISOR_MM, (Name.VISOR,), Name.HOOD)
        at = (x, y, layout.hood_top + CEILING_MM)
        yield Screw(Thread.M3, at, DOWN, CEILING_MM, (Name.BOX,), Name.HOOD)


def _camera(layout: Layout) -> Iterator[Screw]:
    for x, y in places.camera_plate_holes(layout):
        at = (x, y, layout.hood_top + CAMERA_PLATE_MM)
        yield Screw(Thread.M3, at, DOWN, CAMERA_PLATE_MM, (Name.CAMERA_PLATE,), Name.HOOD)
    for at in places.camera_holes(layout):
        yield Screw(Thread.M2, at, places.gaze(layout), 1.0, (), Name.CAMERA_PLATE, 4.0)


def _box(layout: Layout) -> Iterator[Screw]:
    for x, y in places.board_holes(layout):
        at = (x, y, layout.hood_top + CEILING_MM + STANDOFF_MM)
        yield Screw(Thread.M2_5, at, DOWN, 1.6, (), Name.BOX, 5.0)
    for vent in places.vents(layout):
        for point in vent.holes:
            yield Screw(Thread.M3, point, vent.outwards, MESH_FRAME_MM + vent.wall, (Name.MESH_FRAME, Name.BOX))


def _lid(layout: Layout) -> Iterator[Screw]:
    top = layout.lid_bottom + CEILING_MM
    for x, y in places.box_posts(layout):
        yield Screw(Thread.M3, (x, y, top), DOWN, CEILING_MM + GASKET_MM, (Name.LID, Name.GASKET), Name.BOX)
    for y in places.hanger_feet(layout):
        yield Screw(
            Thread.M3, (0.0, y, top + HANGER_FOOT_MM), DOWN, HANGER_FOOT_MM + CEILING_MM, (Name.HANGER, Name.LID)
        )
