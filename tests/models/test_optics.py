import math
from contextlib import nullcontext, suppress

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from swapbell_models.optics import Square, angled, check_scale

CORNERS_PX = [(100.0, 80.0), (540.0, 90.0), (600.0, 400.0), (60.0, 420.0)]
CORNERS_MM = [(0.0, 0.0), (80.0, 0.0), (80.0, 60.0), (0.0, 60.0)]
coordinate = st.floats(-2000.0, 2000.0)


def test_a_square_view_scales_evenly() -> None:
    assert Square(0.17).to_mm(100.0, 200.0) == pytest.approx((17.0, 34.0))


@pytest.mark.parametrize("scale", [0.0, -0.1, math.nan, math.inf, 1e300, 1e-300, 100.1, 0.0009])
def test_no_scale_is_refused(scale: float) -> None:
    with pytest.raises(ValueError, match="positive number"):
        Square(scale)


@given(coordinate, coordinate)
def test_a_square_view_goes_there_and_back(x: float, y: float) -> None:
    view = Square(0.17)
    assert view.to_px(*view.to_mm(x, y)) == pytest.approx((x, y))


def test_four_pairs_are_met_exactly() -> None:
    view = angled(CORNERS_PX, CORNERS_MM)
    for px, mm in zip(CORNERS_PX, CORNERS_MM, strict=True):
        assert view.to_mm(*px) == pytest.approx(mm, abs=1e-6)


@given(st.floats(0.0, 80.0), st.floats(0.0, 60.0))
def test_an_angled_view_goes_there_and_back(x: float, y: float) -> None:
    view = angled(CORNERS_PX, CORNERS_MM)
    assert view.to_mm(*view.to_px(x, y)) == pytest.approx((x, y), abs=1e-6)


def test_more_pairs_average_their_errors() -> None:
    true = angled(CORNERS_PX, CORNERS_MM)
    grid = [(8.0 * i, 6.0 * j) for i in range(11) for j in range(11)]
    seen = [(x + 0.5 * (-1) ** i, y) for i, (x, y) in enumerate(true.to_px(*mm) for mm in grid)]
    fitted = angled(seen, grid)
    assert math.dist(fitted.to_mm(320.0, 240.0), true.to_mm(320.0, 240.0)) < 0.02


@given(st.floats(60.0, 540.0), st.floats(100.0, 380.0))
def test_the_local_scale_is_that_of_a_small_step(x: float, y: float) -> None:
    view = angled(CORNERS_PX, CORNERS_MM)
    (x0, y0), (x1, y1), (x2, y2) = view.to_mm(x, y), view.to_mm(x + 1e-3, y), view.to_mm(x, y + 1e-3)
    area = abs((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0))
    assert view.mm_per_px(x, y) == pytest.approx(math.sqrt(area) / 1e-3, rel=1e-3)


@given(st.lists(st.tuples(coordinate, coordinate), min_size=4, max_size=4))
def test_points_on_one_line_fix_no_plane(points: list[tuple[float, float]]) -> None:
    assume(max(abs(x) for x, _ in points) > 1.0)
    with pytest.raises(ValueError, match=r"plane|one point"):
        angled([(x, 2.0 * x + 1.0) for x, _ in points], CORNERS_MM)


def test_three_pairs_are_too_few() -> None:
    with pytest.raises(ValueError, match="at least 4"):
        angled(CORNERS_PX[:3], CORNERS_MM[:3])


def test_unequal_lists_are_refused() -> None:
    with pytest.raises(ValueError, match="4 image points but 3"):
        angled(CORNERS_PX, CORNERS_MM[:3])


def test_a_point_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        angled([(math.nan, 0.0), *CORNERS_PX[1:]], CORNERS_MM)


@pytest.mark.parametrize(
    ("scale", "is_one"), [(0.00099, False), (0.001, True), (0.00105, True), (100.0, True), (100.1, False)]
)
def test_the_bounds_of_a_scale_belong_to_it(scale: float, is_one: bool) -> None:
    with nullcontext() if is_one else pytest.raises(ValueError, match="positive number of millimetres per pixel"):
        Square(scale)


def test_a_coordinate_may_be_a_million_and_no_more() -> None:
    far = [(1e4 * x, 1e4 * y) for x, y in [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]]
    assert angled(far, far).mm_per_px(0.0, 0.0) == pytest.approx(1.0)
    with pytest.raises(ValueError, match=r"^board_mm must be points of two finite numbers, none beyond 1e\+06"):
        angled(far, [*far[:3], (0.0, 1.05e6)])


@pytest.mark.parametrize("factor", [1e-5, 1e4])
def test_an_angled_view_at_a_scale_that_no_lens_gives_is_refused(factor: float) -> None:
    with pytest.raises(ValueError, match="no lens gives"):
        angled(CORNERS_PX, [(factor * x, factor * y) for x, y in CORNERS_MM])


def test_a_view_is_judged_where_it_is_asked_for() -> None:
    view = angled(CORNERS_PX, CORNERS_MM)
    check_scale(view, CORNERS_PX)
    g, h, i = view.forward[6:]
    with pytest.raises(ValueError, match="no lens gives"):
        check_scale(view, [(0.0, -i / h), (-i / g, 0.0)])


anything = st.floats()
near = st.floats(-1e6, 1e6)


@given(st.lists(st.tuples(anything | near, anything | near, anything | near, anything | near), max_size=6))
def test_any_floats_give_a_view_or_a_reason(numbers: list[tuple[float, float, float, float]]) -> None:
    with suppress(ValueError):
        view = angled([(x, y) for x, y, _, _ in numbers], [(u, v) for _, _, u, v in numbers])
        assert all(0.0 < view.mm_per_px(x, y) < math.inf for x, y, _, _ in numbers)
