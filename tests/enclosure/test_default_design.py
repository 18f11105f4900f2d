"""The parts of the default design, held against what a printer, a screwdriver and a camera need of them."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import pytest

from swapbell_enclosure.screws import Name

if TYPE_CHECKING:
    from swapbell_enclosure.assembly import Assembly
    from swapbell_enclosure.printing import Print

pytestmark = pytest.mark.part("build123d")

PRINTED = [
    name for name in Name if name not in (Name.INSERT, Name.WINDOW, Name.DIFFUSER, Name.GASKET, Name.MESH)
]  # fmt: skip
every_printed_part = pytest.mark.parametrize("name", PRINTED, ids=lambda name: name.value)


@cache
def seen(assembly: "Assembly", name: Name) -> "Print":
    from swapbell_enclosure.printing import look_at

    return look_at(assembly.part(name))


@every_printed_part
def test_a_part_is_one_closed_body(default_assembly: "Assembly", name: Name) -> None:
    made = seen(default_assembly, name)
    assert (made.watertight, made.pieces, default_assembly.part(name).body.is_valid) == (True, 1, True)


@every_printed_part
def test_no_wall_is_below_one_and_six_tenths(default_assembly: "Assembly", name: Name) -> None:
    assert seen(default_assembly, name).wall_mm >= 1.6 - 1e-6


@every_printed_part
def test_nothing_is_printed_in_the_air(default_assembly: "Assembly", name: Name) -> None:
    assert seen(default_assembly, name).overhang_mm2 == 0.0


@every_printed_part
def test_a_part_fits_the_bed(default_assembly: "Assembly", name: Name) -> None:
    length, width, _ = seen(default_assembly, name).size_mm
    assert max(length, width) <= 220.0


def test_no_two_parts_share_room(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import clashes

    assert clashes(default_assembly) == []


def test_a_part_that_is_moved_into_another_is_found(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import clashes

    found = clashes(_moved(default_assembly, Name.LID, -1.0))
    assert (Name.LID, Name.GASKET) in {(each.first, each.second) for each in found}


def test_every_screw_goes_through_and_finds_hold(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import misfits

    assert list(misfits(default_assembly)) == []


def test_a_screw_whose_hole_is_elsewhere_is_found(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import misfits

    assert Name.CAMERA_PLATE in {
        name for _, name, _ in misfits(_moved(default_assembly, Name.CAMERA_PLATE, 0.0, 1.0))
    }


def test_camera_and_board_have_the_room_that_they_take(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import crowded

    assert crowded(default_assembly) == []


def test_a_camera_plate_in_the_lenss_way_is_found(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import crowded

    assert ("lens", Name.CAMERA_PLATE) in crowded(_moved(default_assembly, Name.CAMERA_PLATE, 0.0, 2.0))


def test_every_corner_of_the_gates_zone_sees_the_lens(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import blocked

    assert blocked(default_assembly) == []


def test_a_plate_before_the_lens_is_found(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import blocked

    moved = _moved(default_assembly, Name.CAMERA_PLATE, -2.0, 12.0)
    assert Name.CAMERA_PLATE in {name for _, name in blocked(moved)}


def test_the_clear_way_in_is_twelve_millimetres_throughout(default_assembly: "Assembly") -> None:
    from swapbell_enclosure.fit import shared_mm3
    from swapbell_enclosure.solid import block

    layout = default_assembly.layout
    way = block((-layout.half_length - 40.0, layout.half_length + 4.0), (-6.0, 6.0), (0.001, 12.0))
    assert [
        part.name for part in default_assembly.in_place for body in part.bodies if shared_mm3(way, body) > 0
    ] == []


def _moved(assembly: "Assembly", name: Name, up: float, across: float = 0.0) -> "Assembly":
    def shifted() -> Iterator[object]:
        for part in assembly.parts:
            bodies = tuple(body.translate((0.0, across, up)) for body in part.bodies)
            yield replace(part, bodies=bodies) if part.name is name else part

    return replace(assembly, parts=tuple(shifted()))
