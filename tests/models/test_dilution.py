"""A volume too small to measure is measured in a dilution."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.dosing.dilution import dilute, dilute_for
from swapbell_models.dosing.measure import SYRINGE_1_ML, read
from swapbell_models.dosing.strength import Product

CONCENTRATE = Product("invented concentrate", 100.0)


@pytest.mark.parametrize(("parts", "needed_ml"), [(10, 0.85), (20, 1.70), (50, 4.25)])
def test_85_ul_of_concentrate_in_its_dilutions(parts: int, needed_ml: float) -> None:
    # By arithmetic, for 85 g of bait at 100 mg/kg.
    dilution = dilute(CONCENTRATE, 85.0, parts)
    assert dilution.needed_ml == pytest.approx(needed_ml)
    assert (dilution.product_ml, dilution.water_ml) == (1.0, parts - 1.0)
    assert dilution.g_per_l == pytest.approx(100.0 / parts)


def test_what_is_left_over_is_shown() -> None:
    assert dilute(CONCENTRATE, 85.0, 10).left_ml == pytest.approx(9.15)


def test_a_small_volume_takes_the_least_dilution_that_is_fit() -> None:
    dilution = dilute_for(CONCENTRATE, 85.0, SYRINGE_1_ML)
    assert dilution is not None
    assert dilution.parts == 10


@pytest.mark.parametrize(("product_ul", "parts"), [(9.0, 20), (5.0, 20), (3.0, 50), (1.0, 100)])
def test_the_smaller_the_volume_the_further_it_is_diluted(product_ul: float, parts: int) -> None:
    dilution = dilute_for(CONCENTRATE, product_ul, SYRINGE_1_ML)
    assert dilution is not None
    assert dilution.parts == parts


def test_a_volume_that_can_be_measured_is_not_diluted() -> None:
    assert dilute_for(CONCENTRATE, 850.0, SYRINGE_1_ML) is None


def test_a_volume_beyond_all_dilutions_is_refused() -> None:
    with pytest.raises(
        ValueError,
        match=r"^the dose needs 0\.5 uL of product, which a 1 mL syringe cannot .*, even thinned 1 in 100: mix",
    ):
        dilute_for(CONCENTRATE, 0.5, SYRINGE_1_ML)


@given(st.floats(1.0, 5000.0), st.integers(2, 100))
def test_a_dilution_holds_the_product_and_is_enough(product_ul: float, parts: int) -> None:
    dilution = dilute(CONCENTRATE, product_ul, parts)
    assert dilution.left_ml >= -1e-9
    grams = dilution.needed_ml * dilution.g_per_l
    assert grams == pytest.approx(product_ul / 1000.0 * CONCENTRATE.g_per_l)


@given(st.floats(1.0, 5000.0))
def test_a_chosen_dilution_can_be_read(product_ul: float) -> None:
    dilution = dilute_for(CONCENTRATE, product_ul, SYRINGE_1_ML)
    wanted_ul = dilution.needed_ml * 1000.0 if dilution else product_ul
    assert read(wanted_ul, SYRINGE_1_ML).is_fit


@pytest.mark.parametrize("parts", [1, 0, -10])
def test_one_part_in_one_is_no_dilution(parts: int) -> None:
    with pytest.raises(ValueError, match=rf"^parts must be 2 or more, not {parts}$"):
        dilute(CONCENTRATE, 85.0, parts)


def test_a_volume_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^product_ul must be a number above 0 uL"):
        dilute(CONCENTRATE, float("nan"), 10)
