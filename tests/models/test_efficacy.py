"""The five formulas agree where they must, differ where they must, and never make up a number."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.proof.efficacy import (
    Efficacy,
    Undefined,
    abbott,
    henderson_tilton,
    raw,
    schneider_orelli,
    sun_shepard,
)

# Worked by arithmetic from the formulas of Abbott 1925 and of Henderson and Tilton 1955: Tb, Ta, Cb, Ca, and the
# percentages of raw, Abbott, Henderson-Tilton.
WORKED = [
    (300, 60, 200, 400, 80.0, 85.0, 90.0),
    (120, 6, 110, 99, 95.0, 93.9394, 94.4444),
    (100, 10, 100, 100, 90.0, 90.0, 90.0),
    (200, 10, 80, 20, 95.0, 50.0, 80.0),
    (80, 0, 75, 70, 100.0, 100.0, 100.0),
    (50, 40, 60, 30, 20.0, -33.3333, -60.0),
    (9.0, 3.0, 10.0, 12.0, 66.6667, 75.0, 72.2222),
]
counts = st.integers(1, 1000)


def percent(efficacy: Efficacy) -> float:
    """Return the fall in percent."""
    assert efficacy.fraction is not None
    return 100 * efficacy.fraction


@pytest.mark.parametrize(("tb", "ta", "cb", "ca", "by_raw", "by_abbott", "by_henderson_tilton"), WORKED)
def test_the_worked_table(
    tb: float, ta: float, cb: float, ca: float, by_raw: float, by_abbott: float, by_henderson_tilton: float
) -> None:
    assert percent(raw(tb, ta)) == pytest.approx(by_raw, abs=5e-5)
    assert percent(abbott(ca, ta)) == pytest.approx(by_abbott, abs=5e-5)
    assert percent(henderson_tilton(tb, ta, cb, ca)) == pytest.approx(by_henderson_tilton, abs=5e-5)


def test_the_published_value_of_abbott() -> None:
    # US EPA short-term methods, table J1, as run in the R package ecotoxicology 1.0.1: 0.6410256. That 26 of 40 died
    # in treated and 1 of 40 in control is worked back from it.
    assert abbott(40 - 1, 40 - 26).fraction == pytest.approx(0.6410256, abs=5e-8)
    assert schneider_orelli(26 / 40, 1 / 40).fraction == pytest.approx(0.6410256, abs=5e-8)


@given(counts, st.integers(0, 1000), counts, counts)
def test_schneider_orelli_sun_shepard_and_henderson_tilton_are_one(tb: int, ta: int, cb: int, ca: int) -> None:
    # An identity of the three formulas, with mT = 1 - Ta/Tb, mC = 1 - Ca/Cb, g = Ca/Cb - 1.
    expected = henderson_tilton(tb, ta, cb, ca).fraction
    assert schneider_orelli(1 - ta / tb, 1 - ca / cb).fraction == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert sun_shepard(1 - ta / tb, ca / cb - 1).fraction == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(counts, st.integers(0, 1000), counts)
def test_a_control_that_stays_leaves_the_raw_fall(tb: int, ta: int, control: int) -> None:
    assert henderson_tilton(tb, ta, control, control).fraction == pytest.approx(raw(tb, ta).fraction)


@given(st.integers(0, 1000), counts, counts)
def test_plots_alike_before_leave_abbott(ta: int, before: int, ca: int) -> None:
    assert henderson_tilton(before, ta, before, ca).fraction == pytest.approx(abbott(ca, ta).fraction)


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (raw(0, 0), Undefined.TREATED_BEFORE),
        (abbott(0, 0), Undefined.CONTROL_AFTER),
        (henderson_tilton(0, 5, 10, 10), Undefined.TREATED_BEFORE),
        (henderson_tilton(10, 5, 0, 10), Undefined.CONTROL_BEFORE),
        (henderson_tilton(10, 5, 10, 0), Undefined.CONTROL_AFTER),
        (henderson_tilton(10, 0, 0, 0), Undefined.CONTROL_BEFORE),
        (schneider_orelli(0.5, 1.0), Undefined.CONTROL_DEAD),
        (sun_shepard(0.5, -1.0), Undefined.CONTROL_AFTER),
    ],
)
def test_what_cannot_be_computed_says_why(found: Efficacy, why: Undefined) -> None:
    assert (found.fraction, found.undefined) == (None, why)
    assert str(found) == f"cannot be computed: {why.value}"


def test_a_rise_is_negative_and_is_told() -> None:
    assert str(henderson_tilton(50, 40, 60, 30)) == "-60.0%"


@pytest.mark.parametrize("wrong", [-1.0, math.nan, math.inf])
def test_a_count_that_is_none_is_refused_by_name(wrong: float) -> None:
    for name, compute in {
        "treated_before": lambda: raw(wrong, 1),
        "treated_after": lambda: raw(1, wrong),
        "control_after": lambda: abbott(wrong, 1),
        "control_before": lambda: henderson_tilton(1, 1, wrong, 1),
    }.items():
        with pytest.raises(ValueError, match=rf"^{name} must be a number from 0 visits up, not {wrong}$"):
            compute()


def test_a_missing_count_is_no_excuse_for_a_wrong_one() -> None:
    with pytest.raises(ValueError, match=r"^control_after must be"):
        henderson_tilton(0, 1, 1, -1)
    with pytest.raises(ValueError, match=r"^treated_after must be"):
        abbott(0, math.nan)


@pytest.mark.parametrize("wrong", [1.01, math.nan, -math.inf])
def test_no_more_can_die_than_all(wrong: float) -> None:
    for name, compute in {
        "treated_dead": lambda: schneider_orelli(wrong, 0.1),
        "control_dead": lambda: schneider_orelli(0.5, wrong),
    }.items():
        with pytest.raises(ValueError, match=rf"^{name} must be a number up to 1, not {wrong}$"):
            compute()
    with pytest.raises(ValueError, match=r"^treated_dead must be"):
        sun_shepard(wrong, 0.0)


@pytest.mark.parametrize("wrong", [-1.01, math.nan, math.inf])
def test_a_control_cannot_fall_by_more_than_all(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^control_change must be a number from -1 up, not {wrong}$"):
        sun_shepard(0.5, wrong)
