"""The volume of product for a bait is exact, can be measured, and carries its cautions."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.dosing.authority import Authority
from swapbell_models.dosing.dilution import CAUTIONS as DILUTION_CAUTIONS
from swapbell_models.dosing.dose import CAUTIONS, Dose, dose, mix, round_dose
from swapbell_models.dosing.measure import PIPETTE_1000_UL, SYRINGE_1_ML, Measure
from swapbell_models.dosing.strength import Product, Strength, bait_strength

PRODUCT = Product("invented concentrate", 100.0)
TODAY = date(2026, 1, 15)
# An invented permit.
PERMIT = Authority("permit 12", date(2026, 9, 30), PRODUCT, bait_strength("100 mg/kg"), bait_strength("1000 mg/kg"))

# uL of a 100 g/L product for so many grams of bait at each percentage; a tenth of it is the mg of active ingredient.
# By arithmetic: bait [g] x percent x 100.
PERCENT = (0.0025, 0.01, 0.025, 0.05, 0.1)
UL_OF_100_G_PER_L = {
    20: (5.0, 20.0, 50.0, 100.0, 200.0),
    30: (7.5, 30.0, 75.0, 150.0, 300.0),
    50: (12.5, 50.0, 125.0, 250.0, 500.0),
    85: (21.25, 85.0, 212.5, 425.0, 850.0),
    100: (25.0, 100.0, 250.0, 500.0, 1000.0),
    150: (37.5, 150.0, 375.0, 750.0, 1500.0),
    200: (50.0, 200.0, 500.0, 1000.0, 2000.0),
    250: (62.5, 250.0, 625.0, 1250.0, 2500.0),
}


def asked(bait_g: float = 85.0, said: str = "100 mg/kg", authority: Authority = PERMIT) -> Dose:
    """Return the dose under the invented permit."""
    return dose(bait_g, bait_strength(said, PRODUCT), authority.product, authority, TODAY)


@pytest.mark.parametrize("bait_g", UL_OF_100_G_PER_L)
def test_the_dose_table(bait_g: int) -> None:
    for percent, volume_ul in zip(PERCENT, UL_OF_100_G_PER_L[bait_g], strict=True):
        found = asked(bait_g, f"{percent} %")
        assert found.product_ul == pytest.approx(volume_ul)
        assert found.ai_mg == pytest.approx(volume_ul / 10)


@pytest.mark.parametrize("said", ["100 mg/kg", "0.01 %", "0.1 g/L", "1:1000"])
def test_a_dose_is_the_same_however_its_strength_is_said(said: str) -> None:
    assert asked(said=said).product_ul == pytest.approx(85.0)


def test_a_product_of_a_tenth_the_strength_takes_ten_times_the_volume() -> None:
    weak = replace(PERMIT, product=Product("weak", 10.0))
    assert asked(authority=weak).product_ul == pytest.approx(850.0)  # by arithmetic


@given(st.floats(1.0, 5000.0), st.floats(1.0, 1000.0), st.floats(10.0, 800.0))
def test_the_product_holds_the_active_ingredient(bait_g: float, mg_per_kg: float, g_per_l: float) -> None:
    product = Product("invented concentrate", g_per_l)
    target = Strength(mg_per_kg, f"{mg_per_kg} mg/kg")
    found = dose(bait_g, target, product, replace(PERMIT, product=product), TODAY)
    assert found.product_ul / 1000 * g_per_l == pytest.approx(found.ai_mg)


def test_no_dose_without_a_valid_authority() -> None:
    with pytest.raises(ValueError, match=r"^permit 12 ended on 2026-09-30"):
        dose(85.0, PERMIT.directs, PRODUCT, PERMIT, date(2026, 10, 1))


def test_a_slip_of_ten_is_carried_in_the_dose() -> None:
    assert "10 times more" in asked(said="0.1 %").warnings[0]
    assert asked().warnings == ()


@pytest.mark.parametrize("wrong", [0.0, -85.0, float("nan"), float("inf")])
def test_a_mass_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^bait_g must be a number above 0 g, not {wrong}$"):
        asked(wrong)


def test_a_dose_carries_its_cautions() -> None:
    assert asked().cautions == CAUTIONS
    assert mix(asked(850.0), SYRINGE_1_ML).cautions == CAUTIONS
    assert mix(asked(), SYRINGE_1_ML).cautions == CAUTIONS + DILUTION_CAUTIONS


def test_85_ul_are_measured_in_a_dilution_of_one_in_ten() -> None:
    found = mix(asked(), SYRINGE_1_ML)
    assert found.dilution is not None
    assert found.dilution.parts == 10
    assert found.reading.set_ul == 850.0
    assert found.strength.mg_per_kg == pytest.approx(100.0)


def test_the_reading_shows_how_far_off_the_bait_may_be() -> None:
    found = mix(asked(), SYRINGE_1_ML)
    assert found.weakest.mg_per_kg == pytest.approx(100 * 845 / 850)
    assert found.strongest.mg_per_kg == pytest.approx(100 * 855 / 850)
    assert str(found.strength) == "100 mg/kg"


def test_the_added_liquid_thins_the_finished_bait() -> None:
    # 8.5 mg in 85 g and 0.85 mL, by arithmetic.
    assert mix(asked(), SYRINGE_1_ML).finished.mg_per_kg == pytest.approx(8.5 / 0.08585)


def test_so_much_liquid_that_the_bait_ends_too_thin_is_warned_of() -> None:
    # 42.5 mL of a 0.2 g/L product in 85 g: 8.5 mg in 127.5 g are 66.67 mg/kg, by arithmetic.
    weak = replace(PERMIT, product=Product("weak", 0.2))
    (warning, *_) = mix(asked(authority=weak), SYRINGE_1_ML).warnings
    assert warning.startswith(
        "so much liquid thins the finished bait to 66.67 mg/kg, more than a twentieth below 100"
    )
    assert mix(asked(), SYRINGE_1_ML).warnings == ()


@pytest.mark.parametrize(("bait_g", "warned"), [(10_000.0, False), (10_010.0, True)])
def test_more_fills_than_a_person_counts_are_warned_of(bait_g: float, warned: bool) -> None:
    warnings = mix(asked(bait_g), SYRINGE_1_ML).warnings
    assert any(each.startswith("11 fills of a 1 mL syringe are easily miscounted") for each in warnings) == warned


def test_the_warnings_of_the_dose_stay_with_the_mix() -> None:
    assert "10 times more" in mix(asked(850.0, "0.1 %"), SYRINGE_1_ML).warnings[0]


def test_a_large_volume_is_measured_as_it_is() -> None:
    found = mix(asked(850.0), SYRINGE_1_ML)
    assert (found.dilution, found.reading.set_ul) == (None, 850.0)


def test_rounding_never_takes_the_bait_above_what_is_allowed() -> None:
    strict = replace(PERMIT, maximum=PERMIT.directs)
    found = mix(asked(856.0, authority=strict), SYRINGE_1_ML)
    assert found.reading.set_ul == 850.0
    assert mix(asked(856.0), SYRINGE_1_ML).reading.set_ul == 860.0


def test_a_mark_below_that_leaves_the_bait_too_weak_is_not_taken() -> None:
    # 109.9 uL: the mark below, 100, would be 9 % too weak; 1 in 10 of 1.099 mL is 1.08 mL and 0.01 mL more or less.
    found = mix(asked(109.9, authority=replace(PERMIT, maximum=PERMIT.directs)), SYRINGE_1_ML)
    assert found.dilution is not None
    assert (found.dilution.parts, found.reading.set_ul) == (10, 1080.0)


def test_a_mark_that_may_be_read_too_high_is_not_taken() -> None:
    # 850 uL and half a mark more were 100.6 mg/kg where 100 are allowed.
    found = mix(asked(850.0, authority=replace(PERMIT, maximum=PERMIT.directs)), SYRINGE_1_ML)
    assert found.reading.set_ul == 840.0


@given(st.floats(10.0, 2000.0), st.sampled_from([SYRINGE_1_ML, PIPETTE_1000_UL]))
def test_no_mix_is_stronger_than_allowed(bait_g: float, measure: Measure) -> None:
    strict = replace(PERMIT, maximum=PERMIT.directs)
    found = mix(asked(bait_g, authority=strict), measure)
    assert not found.strongest.exceeds(strict.maximum)
    assert found.reading.is_fit
    assert found.weakest.mg_per_kg < found.strength.mg_per_kg < found.strongest.mg_per_kg


def test_ten_tins_are_mixed_at_once() -> None:
    whole = round_dose([85.0] * 10, PERMIT.directs, PRODUCT, PERMIT, TODAY)
    assert whole.bait_g == pytest.approx(850.0)  # by arithmetic
    assert whole.product_ul == pytest.approx(850.0)


@given(st.lists(st.floats(1.0, 500.0), min_size=1, max_size=30))
def test_a_round_is_the_sum_of_its_stations(portions_g: list[float]) -> None:
    whole = round_dose(portions_g, PERMIT.directs, PRODUCT, PERMIT, TODAY)
    assert whole.product_ul == pytest.approx(sum(asked(portion).product_ul for portion in portions_g))


def test_a_round_without_stations_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^portions_g must hold the bait of at least one station$"):
        round_dose([], PERMIT.directs, PRODUCT, PERMIT, TODAY)


def test_a_round_names_the_portion_that_is_wrong() -> None:
    with pytest.raises(ValueError, match=r"^portions_g\[1\] must be a number above 0 g, not -1"):
        round_dose([85.0, -1.0], PERMIT.directs, PRODUCT, PERMIT, TODAY)


@pytest.mark.parametrize(
    "caution", ["label, local law and licensed practice", "gloves", "honey bee", "1.5 m", "second person"]
)
def test_the_usual_cautions_are_there(caution: str) -> None:
    assert any(caution in each for each in CAUTIONS)
