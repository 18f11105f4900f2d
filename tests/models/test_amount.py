"""An amount is read with its unit, as a person types it; what can be misread is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.amount import LENGTH_MM, MASS_G, PORTIONS_MAX, SPEED_MM_PER_S, TIME_S, VOLUME_UL, amount, masses


@pytest.mark.parametrize(
    ("text", "units", "value"),
    [
        # By definition of the units.
        ("500 g", MASS_G, 500.0),
        ("0.5kg", MASS_G, 500.0),
        (" 0.5  KG ", MASS_G, 500.0),
        ("0.85 mL", VOLUME_UL, 850.0),
        ("850 uL", VOLUME_UL, 850.0),
        ("850 \N{MICRO SIGN}L", VOLUME_UL, 850.0),
        ("40 mm", LENGTH_MM, 40.0),
        ("4 cm", LENGTH_MM, 40.0),
        ("0.04 m", LENGTH_MM, 40.0),
        ("0.3 m/s", SPEED_MM_PER_S, 300.0),
        ("30 cm/s", SPEED_MM_PER_S, 300.0),
        ("300 mm/s", SPEED_MM_PER_S, 300.0),
        ("4 ms", TIME_S, 0.004),
        ("4000 us", TIME_S, 0.004),
        ("1 s", TIME_S, 1.0),
    ],
)
def test_an_amount_is_read_with_its_unit(text: str, units: dict[str, float], value: float) -> None:
    assert amount("it", text, units) == pytest.approx(value)


@pytest.mark.parametrize("text", ["g", "", "0,5 kg", "1,000 g", "-5 g", "nan g", "inf g", "1e3 g", "5 oz", "5 g g"])
def test_what_can_be_misread_is_refused(text: str) -> None:
    with pytest.raises(
        ValueError, match=r"^--bait must be a number above 0, with a point for decimals, in g, kg, not '"
    ):
        amount("--bait", text, MASS_G)


@pytest.mark.parametrize("text", ["500", " 85 ", "0.5", "0"])
def test_an_amount_without_its_unit_is_told_what_is_missing(text: str) -> None:
    with pytest.raises(ValueError, match=rf"^--bait '{text}' has no unit: say g, kg$"):
        amount("--bait", text, MASS_G)


def test_nothing_is_no_amount() -> None:
    with pytest.raises(ValueError, match=r"^--bait must be a number above 0, .*, not '0 g'$"):
        amount("--bait", "0 g", MASS_G)


def test_nothing_is_an_amount_where_it_may_be() -> None:
    assert amount("--back", "0 g", MASS_G, may_be_zero=True) == 0.0
    with pytest.raises(
        ValueError, match=r"^--back must be a number from 0 up, with a point for decimals, in g, kg, not '-1 g'$"
    ):
        amount("--back", "-1 g", MASS_G, may_be_zero=True)
    with pytest.raises(ValueError, match=r"^--back must be a number from 0 g up, not inf$"):
        amount("--back", "9" * 400 + " g", MASS_G, may_be_zero=True)


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("85 g", (85.0,)),
        ("3 x 85 g", (85.0, 85.0, 85.0)),
        ("2*0.1 kg", (100.0, 100.0)),
        ("2 \N{MULTIPLICATION SIGN} 85 g + 200 g", (85.0, 85.0, 200.0)),
    ],
)
def test_portions_are_read_one_by_one(text: str, grams: tuple[float, ...]) -> None:
    assert masses("--bait", text) == pytest.approx(grams)


@given(st.integers(1, PORTIONS_MAX), st.integers(1, 500))
def test_so_many_times_a_mass_are_so_many_portions(count: int, grams: int) -> None:
    assert masses("--bait", f"{count} x {grams} g") == (float(grams),) * count


@pytest.mark.parametrize("text", ["0 x 85 g", "1001 x 85 g", "85 g + 0 x 3 g", "999999999 x 1 g"])
def test_no_portions_and_too_many_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"^--bait must hold 1 to 1000 portions, not '"):
        masses("--bait", text)


@pytest.mark.parametrize("text", ["", "85 g +", "x 85 g", "10 x", "1.5 x 85 g"])
def test_what_is_no_portion_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"^--bait must be a number above 0, with a point"):
        masses("--bait", text)


def test_a_round_of_more_than_a_tonne_is_a_slip() -> None:
    assert sum(masses("--bait", "10 x 100 kg")) == pytest.approx(1e6)
    with pytest.raises(ValueError, match=r"^--bait in all must be a number up to 1000 kg, not 1001"):
        masses("--bait", "10 x 100 kg + 1 kg")
