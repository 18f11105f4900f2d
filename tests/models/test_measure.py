"""A measure shows what its marks make of a volume; drops show how far they miss it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.dosing.measure import DROPS_CAUTION, PIPETTE_1000_UL, SYRINGE_1_ML, Measure, drops, measure, read

GOOD = {"capacity_ul": 1000.0, "least_ul": 100.0, "mark_ul": 10.0, "error_ul": 5.0}


def test_85_ul_on_a_syringe_marked_at_10_ul_is_known_to_5_9_percent() -> None:
    reading = read(85.0, SYRINGE_1_ML)
    assert reading.error == pytest.approx(0.059, abs=0.0005)  # by arithmetic, 5 / 85
    assert reading.rounding == pytest.approx(-0.059, abs=0.0005)
    assert not reading.is_fit


def test_850_ul_on_the_same_syringe_is_on_a_mark() -> None:
    reading = read(850.0, SYRINGE_1_ML)
    assert (reading.set_ul, reading.rounding, reading.fills, reading.is_fit) == (850.0, 0.0, 1, True)
    assert reading.error == pytest.approx(5 / 850)


@pytest.mark.parametrize(("volume_ul", "error"), [(200.0, 0.04), (1000.0, 0.008)])
def test_a_pipette_is_known_as_well_as_its_standard_asks(volume_ul: float, error: float) -> None:
    # ISO 8655: at most 8 uL, 4 % at 200 uL and 0.8 % at 1000 uL.
    assert read(volume_ul, PIPETTE_1000_UL).error == pytest.approx(error)
    assert read(volume_ul, PIPETTE_1000_UL).is_fit


@pytest.mark.parametrize(("volume_ul", "set_ul"), [(84.9, 80), (85.0, 80), (85.1, 90), (100.0, 100), (4.0, 0)])
def test_the_nearest_mark_is_taken_and_the_lower_of_two(volume_ul: float, set_ul: float) -> None:
    assert read(volume_ul, SYRINGE_1_ML).set_ul == set_ul


def test_a_volume_above_the_capacity_takes_several_fills_and_their_errors() -> None:
    reading = read(2500.0, SYRINGE_1_ML)
    assert (reading.fills, reading.error_ul, reading.set_ul) == (3, 15.0, 2500.0)
    assert read(2000.0, SYRINGE_1_ML).fills == 2


def test_below_its_least_a_measure_is_unfit_however_fine() -> None:
    fine = replace(PIPETTE_1000_UL, error_ul=0.1)
    assert not read(199.0, fine).is_fit
    assert read(200.0, fine).is_fit


def test_a_reading_known_worse_than_a_twentieth_is_unfit() -> None:
    assert read(100.0, SYRINGE_1_ML).is_fit
    assert not read(100.0, replace(SYRINGE_1_ML, error_ul=5.1)).is_fit


def test_the_syringe_starts_at_a_tenth_of_a_ml() -> None:
    # From memory: practical floor 0.05-0.1 mL, marks of 0.01 mL.
    assert (SYRINGE_1_ML.capacity_ul, SYRINGE_1_ML.least_ul, SYRINGE_1_ML.mark_ul) == (1000.0, 100.0, 10.0)
    assert (PIPETTE_1000_UL.capacity_ul, PIPETTE_1000_UL.least_ul, PIPETTE_1000_UL.mark_ul) == (1000.0, 200.0, 1.0)


@given(st.floats(1.0, 5000.0))
def test_rounding_is_never_more_than_half_a_mark(volume_ul: float) -> None:
    reading = read(volume_ul, SYRINGE_1_ML)
    assert abs(reading.set_ul - volume_ul) <= SYRINGE_1_ML.mark_ul / 2 + 1e-6


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_a_volume_that_is_none_is_refused(wrong: float) -> None:
    for measured in (lambda: read(wrong, SYRINGE_1_ML), lambda: drops(wrong)):
        with pytest.raises(ValueError, match=rf"^volume_ul must be a number above 0 uL, not {wrong}$"):
            measured()


@pytest.mark.parametrize(
    ("field", "wrong"),
    [("mark_ul", 0.0), ("error_ul", -1.0), ("least_ul", 0.0), ("capacity_ul", 50.0), ("capacity_ul", float("inf"))],
)
def test_a_measure_that_cannot_measure_is_refused(field: str, wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^{field} must be"):
        Measure("syringe", **(GOOD | {field: wrong}))


def test_a_measure_of_one_volume_only_is_one() -> None:
    assert Measure("10 mL flask", 10_000.0, 10_000.0, 10_000.0, 20.0).capacity_ul == 10_000.0


def test_a_measure_has_a_name() -> None:
    with pytest.raises(ValueError, match=r"^measure name must not be empty$"):
        Measure("", 1000.0, 100.0, 10.0, 5.0)


def test_85_ul_cannot_be_dropped() -> None:
    # By arithmetic, at 20 drops per mL within 10 % (USP <1101>).
    one, two = drops(85.0)
    assert (one.count, two.count) == (1, 2)
    assert [round(100 * x, 1) for x in (one.error, one.error_low, one.error_high)] == [-41.2, -47.1, -35.3]
    assert [round(100 * x, 1) for x in (two.error, two.error_low, two.error_high)] == [17.6, 5.9, 29.4]


def test_one_or_two_drops_span_a_wide_range_of_strengths() -> None:
    # By arithmetic: 0.0053-0.0129 % where 0.01 % is wanted.
    one, two = drops(85.0)
    assert 0.01 * (1 + one.error_low) == pytest.approx(0.0053, abs=5e-5)
    assert 0.01 * (1 + two.error_high) == pytest.approx(0.0129, abs=5e-5)


def test_a_counted_dropper_takes_the_place_of_the_standard_one() -> None:
    # 35 drops in 2 mL are 17.5 per mL (Univ. Houston, pharmaceutical calculations).
    (first, _) = drops(2000.0, per_ml=35 / 2)
    assert first.count == 35
    assert first.error == pytest.approx(0.0)


def test_less_than_a_drop_is_one_drop_too_many() -> None:
    assert [each.count for each in drops(20.0)] == [1]


def test_the_caution_tells_real_drops() -> None:
    assert "20 to 70 uL" in DROPS_CAUTION


def test_a_dropper_without_drops_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^per_ml must be a number above 0 drops per mL, not 0"):
        drops(85.0, per_ml=0.0)


def test_a_measure_is_read_by_what_it_says_on_it() -> None:
    assert measure("--measure", "1 ml  Syringe") == SYRINGE_1_ML
    assert measure("--measure", "200-1000 uL pipette") == PIPETTE_1000_UL


def test_any_syringe_is_read_by_what_it_holds_and_its_marks() -> None:
    assert measure("--measure", "1 mL by 0.01 mL") == SYRINGE_1_ML
    found = measure("--measure", "5 mL by 200 uL")
    # Ten marks to its floor and half a mark of error, as for the 1 mL syringe.
    assert found == Measure("5 mL syringe", 5000.0, 2000.0, 200.0, 100.0)


def test_a_syringe_of_just_ten_marks_is_one() -> None:
    found = measure("--measure", "1 mL by 0.1 mL")
    assert found.least_ul == found.capacity_ul == 1000.0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "spoon",
            r"must be '1 mL syringe', '200-1000 uL pipette' or a syringe such as '5 mL by 0\.2 mL', not 'spoon'$",
        ),
        ("5 mL by 0.2", r"'0\.2' has no unit: say uL, mL$"),
        ("1 mL by 0.2 mL", r"must hold at least 10 of its marks, not '1 mL by 0\.2 mL'$"),
    ],
)
def test_what_is_no_measure_is_refused(text: str, told: str) -> None:
    with pytest.raises(ValueError, match=f"^--measure {told}"):
        measure("--measure", text)
