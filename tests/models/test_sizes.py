"""Size classes at the lengths that the sources give, and what they must never claim."""

import math

import pytest

from swapbell_models.sizes import CAUTION, SizeClass, size_class


@pytest.mark.parametrize(
    ("length_mm", "who"),
    [
        (10.0, "shortest Vespula germanica worker (Museums Victoria)"),
        (15.0, "longest V. germanica worker (Museums Victoria)"),
        (13.0, "mean V. germanica worker (published mean, about 13)"),
        (11.0, "shortest V. vulgaris worker (published range 11-14)"),
        (14.0, "longest V. vulgaris worker (published range 11-14)"),
        (20.0, "queen or male of either species (Museums Victoria)"),
    ],
)
def test_wasps_are_wasp_sized(length_mm: float, who: str) -> None:
    assert size_class(length_mm) is SizeClass.WASP, who


@pytest.mark.parametrize(("length_mm", "who"), [(5.0, "house fly"), (8.0, "longest house fly (general web pages)")])
def test_house_flies_are_small(length_mm: float, who: str) -> None:
    assert size_class(length_mm) is SizeClass.SMALL, who


def test_a_hornet_worker_is_large() -> None:
    # Vespa crabro worker, about 25 mm (general web page).
    assert size_class(25.0) is SizeClass.LARGE


def test_the_bounds_belong_to_the_wasps() -> None:
    # Our choice of 9.0 and 20.0 mm, with the reasons beside the constants.
    assert [size_class(length_mm) for length_mm in (9.0, 20.0)] == [SizeClass.WASP] * 2
    assert [size_class(length_mm) for length_mm in (0.01, 8.99)] == [SizeClass.SMALL] * 2
    assert size_class(20.01) is SizeClass.LARGE


def test_a_honey_bee_is_wasp_sized_and_the_caution_says_so() -> None:
    # Honey bee worker 12-15 mm (from memory): length cannot keep it out.
    assert {size_class(12.0), size_class(15.0)} == {SizeClass.WASP}
    assert "honey bee" in CAUTION


@pytest.mark.parametrize("length_mm", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_length_is_refused(length_mm: float) -> None:
    with pytest.raises(ValueError, match="length_mm must be a positive number"):
        size_class(length_mm)
