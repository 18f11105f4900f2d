from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from swapbell_enclosure.facets import Facets

CUBE = np.array([[x, y, z] for x in (0.0, 1.0) for y in (0.0, 1.0) for z in (0.0, 1.0)])
# Two triangles to a side, each seen anticlockwise from outside.
SIDES = [
    (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
    (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
]  # fmt: skip

pytestmark = pytest.mark.part("build123d")


def brick(x: float, y: float, z: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> "Facets":
    from swapbell_enclosure.facets import Facets

    return Facets(CUBE * (x, y, z) + at, np.array(SIDES))


def pile(*bricks: "Facets") -> "Facets":
    from swapbell_enclosure.facets import Facets

    offsets = np.cumsum([0, *(len(each.points) for each in bricks)])
    triangles = [each.triangles + start for each, start in zip(bricks, offsets, strict=False)]
    return Facets(np.vstack([each.points for each in bricks]), np.vstack(triangles))


def test_the_volume_of_a_brick_is_its_three_sides() -> None:
    assert brick(2.0, 3.0, 4.0).volume_mm3 == pytest.approx(24.0)


def test_a_brick_is_closed() -> None:
    from swapbell_enclosure.printing import judge

    made = brick(20.0, 30.0, 2.0)
    assert judge(made, made).watertight


def test_a_brick_without_one_triangle_is_not_closed() -> None:
    from swapbell_enclosure.facets import Facets
    from swapbell_enclosure.printing import judge

    whole = brick(20.0, 30.0, 2.0)
    open_one = Facets(whole.points, whole.triangles[1:])
    assert not judge(open_one, open_one).watertight


def test_two_bricks_apart_are_two_pieces() -> None:
    from swapbell_enclosure.printing import judge

    made = pile(brick(5.0, 5.0, 5.0), brick(5.0, 5.0, 5.0, (10.0, 0.0, 0.0)))
    assert judge(made, made).pieces == 2


@pytest.mark.parametrize("thick", [0.8, 1.6, 2.4])
def test_a_wall_is_as_thick_as_it_is(thick: float) -> None:
    from swapbell_enclosure.printing import wall_mm

    assert wall_mm(brick(40.0, 30.0, thick)) == pytest.approx(thick)


def test_a_brick_on_the_bed_hangs_nowhere_over() -> None:
    from swapbell_enclosure.printing import overhang_mm2

    assert overhang_mm2(brick(10.0, 10.0, 10.0)) == 0.0


def test_a_brick_in_the_air_hangs_over_with_its_whole_floor() -> None:
    from swapbell_enclosure.printing import overhang_mm2

    assert overhang_mm2(brick(10.0, 8.0, 10.0, (0.0, 0.0, 5.0))) == pytest.approx(80.0)


@pytest.mark.parametrize(("lean_deg", "hangs"), [(49.0, False), (51.0, True)])
def test_a_wall_may_lean_fifty_degrees_and_no_more(lean_deg: float, hangs: bool) -> None:
    from swapbell_enclosure.facets import Facets
    from swapbell_enclosure.printing import overhang_mm2

    upright = brick(10.0, 10.0, 10.0)
    leaning = upright.points + np.outer(upright.points[:, 2], (np.tan(np.radians(lean_deg)), 0.0, 0.0))
    assert (overhang_mm2(Facets(leaning, upright.triangles)) > 0.0) == hangs
