"""Whether the parts go together, asked of the CAD kernel: no two in one place, screws that reach, a free view."""
# build123d leaves type parameters open:
# pyright: reportUnknownMemberType=false

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from build123d import BoundBox, Edge

from swapbell_enclosure import places
from swapbell_enclosure.assembly import Assembly
from swapbell_enclosure.layout import CEILING_MM, STANDOFF_MM, Layout
from swapbell_enclosure.part import Part
from swapbell_enclosure.screws import Name, Screw, screws
from swapbell_enclosure.solid import Plane, Point3, Solid, block, prism, rod

# Our choice: what two faces that touch may seem to share, from rounding alone.
TOUCH_MM3 = 0.01
# Our choice: the zone's corners lie on the lane's wall; a ray from there would only touch it.
INSET_MM = 0.05
# Our choice: nearer than this a ray is blocked.
CLEAR_MM = 0.001
# A circuit board's thickness, and how far a lens's housing stands out before its pupil; both from memory.
BOARD_MM, LENS_TIP_MM = 1.6, 1.5


@dataclass(frozen=True, slots=True)
class Clash:
    """Two parts in one place, and how much of it they share [mm3]."""

    first: Name
    second: Name
    volume_mm3: float


def shared_mm3(first: Solid, second: Solid) -> float:
    """Return the volume that two solids share [mm3]."""
    if not _meet(first.bounding_box(), second.bounding_box()):
        return 0.0
    common = first & second
    return sum(each.volume for each in common.solids()) if common is not None else 0.0


def _meet(a: BoundBox, b: BoundBox) -> bool:
    return all(low < high for low, high in zip((*a.min, *b.min), (*b.max, *a.max), strict=True))


def clashes(assembly: Assembly) -> list[Clash]:
    """Return every pair of parts that share room; two places of one part count as a pair."""
    bodies = [(part.name, body, body.bounding_box()) for part in assembly.in_place for body in part.bodies]
    near = [(a, b) for a, b in combinations(bodies, 2) if _meet(a[2], b[2])]
    found = [Clash(a, b, shared_mm3(first, second)) for (a, first, _), (b, second, _) in near]
    return [each for each in found if each.volume_mm3 > TOUCH_MM3]


def misfits(assembly: Assembly) -> Iterator[tuple[Screw, Name, str]]:
    """Yield each screw that does not go through a part that it holds, or finds nothing there to hold."""
    standing = {part.name for part in assembly.in_place}
    for screw in screws(assembly.layout):
        for name in (*screw.slips, *((screw.bites,) if screw.bites else ())):
            if name in standing and (why := _misfit(screw, assembly.part(name))):
                yield screw, name, why


def _misfit(screw: Screw, part: Part) -> str | None:
    diameter = screw.thread.core_mm if part.name is screw.bites else screw.thread.nominal_mm
    shank = rod(screw.head, screw.direction, screw.length_mm, diameter - 0.1)
    if any(shared_mm3(shank, body) > TOUCH_MM3 for body in part.bodies):
        return "has no hole for it"
    around = rod(screw.head, screw.direction, screw.length_mm, diameter + 2.0)
    held = max(shared_mm3(around, body) for body in part.bodies)
    return None if held > 1.0 else "does not hold it"


def blocked(assembly: Assembly) -> list[tuple[Point3, Name]]:
    """Return each corner of the gate's zone that does not see the lens, and what stands in between."""
    layout = assembly.layout
    along, across = layout.parameters.lane.zone_mm / 2, layout.half_lane
    corners = [(sx * along, sy * (across - INSET_MM), INSET_MM) for sx in (-1, 1) for sy in (-1, 1)]
    opaque = [part for part in assembly.in_place if part.name is not Name.WINDOW]
    bodies = [(part.name, body, body.bounding_box()) for part in opaque for body in part.bodies]
    rays = [(corner, Edge.make_line(corner, layout.pupil)) for corner in corners]
    return [
        (corner, name)
        for corner, ray in rays
        for name, body, box in bodies
        if _meet(box, ray.bounding_box()) and body.distance_to(ray) < CLEAR_MM
    ]


def bought(layout: Layout) -> dict[str, Solid]:
    """Return the room that the camera module and the board take where they are screwed on."""
    module, (gx, gy, gz) = layout.module, places.gaze(layout)
    back = (-gx, -gy, -gz)
    half, far, near = module.board_mm[0] / 2, -module.far_edge_mm, module.board_mm[1] - module.far_edge_mm
    face = Plane(places.on_camera(layout, 0.0, 0.0, module.pupil_mm), x_dir=(0.0, 1.0, 0.0), z_dir=back)
    tip = Plane(places.on_camera(layout, 0.0, 0.0, -LENS_TIP_MM), x_dir=(0.0, 1.0, 0.0), z_dir=back)
    side = module.barrel_mm / 2
    (x, y), (long, wide) = places.board_middle(layout), layout.board.size_mm
    low = layout.hood_top + CEILING_MM + STANDOFF_MM
    return {
        "camera board": prism(face, [(far, -half), (near, -half), (near, half), (far, half)], BOARD_MM),
        "lens": prism(
            tip, [(-side, -side), (side, -side), (side, side), (-side, side)], module.pupil_mm + LENS_TIP_MM
        ),
        "board": block(
            (x - long / 2, x + long / 2), (y - wide / 2, y + wide / 2), (low, low + BOARD_MM + layout.board.height_mm)
        ),
    }


def crowded(assembly: Assembly) -> list[tuple[str, Name]]:
    """Return what is bought and the part that takes its room."""
    return [
        (what, part.name)
        for what, room in bought(assembly.layout).items()
        for part in assembly.in_place
        for body in part.bodies
        if shared_mm3(room, body) > TOUCH_MM3
    ]
