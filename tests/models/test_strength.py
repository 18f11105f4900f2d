"""Strengths come out the same however they are said, and what can be misread is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.dosing.strength import Product, Strength, bait_strength, product

CONCENTRATE = Product("invented concentrate", 100.0)


@pytest.mark.parametrize(
    ("said", "mg_per_kg"),
    [
        # Arithmetic of the units, at a bait density of 1 kg/L.
        ("100 mg/kg", 100.0),
        ("100ppm", 100.0),
        ("0.1 g/kg", 100.0),
        ("0.1 g/L", 100.0),  # common practice, no source
        ("100 mg/L", 100.0),
        ("0.01 %", 100.0),  # Barandika et al. 2023, Animals 13:2075
        ("0.0025%", 25.0),
        ("0.025 %", 250.0),  # Rust et al. 2016
        ("0.05 %", 500.0),  # Wine Australia, control of European wasps in vineyards by baiting
        ("0.1 %", 1000.0),  # doi 10.1080/09670874.2017.1308581
        # Dilutions of a 100 g/L product, by arithmetic.
        ("1:1000", 100.0),
        ("1 in 1000", 100.0),
        ("1:100", 1000.0),
        ("1:200", 500.0),
        ("1 : 400", 250.0),
        ("1:4000", 25.0),
        (" 0.1  G/L ", 100.0),
    ],
)
def test_a_bait_strength_is_kept_in_mg_per_kg(said: str, mg_per_kg: float) -> None:
    assert bait_strength(said, CONCENTRATE).mg_per_kg == pytest.approx(mg_per_kg, rel=1e-12)


def test_a_tenth_of_a_gram_per_litre_is_not_a_tenth_of_a_percent() -> None:
    assert bait_strength("0.1 %").mg_per_kg == pytest.approx(10 * bait_strength("0.1 g/L").mg_per_kg)


def test_a_strength_keeps_the_words_of_the_person() -> None:
    assert str(bait_strength("0.01 %")) == "0.01 % (100 mg/kg)"
    assert str(bait_strength("100 mg/kg")) == "100 mg/kg"


@pytest.mark.parametrize(("label", "g_per_l"), [("100 g/L", 100.0), ("100 mg/mL", 100.0), ("10 % w/v", 100.0)])
def test_a_product_strength_is_kept_in_g_per_litre(label: str, g_per_l: float) -> None:
    assert product("invented concentrate", label).g_per_l == pytest.approx(g_per_l)


@pytest.mark.parametrize("label", ["100 mg/kg", "g/L", "", "100 g/L x"])
def test_a_product_strength_in_another_unit_is_refused(label: str) -> None:
    with pytest.raises(ValueError, match=r"^product strength must be a number .* in g/L, mg/mL, % w/v, not '"):
        product("invented concentrate", label)


@pytest.mark.parametrize(
    "said", ["mg/kg", "1,000 mg/kg", "0,1 g/L", "-100 mg/kg", "nan %", "inf %", "1e3 ppm", "5 oz"]
)
def test_a_bait_strength_that_can_be_misread_is_refused(said: str) -> None:
    with pytest.raises(
        ValueError, match=r"^target strength must be a number above 0, with a point for decimals, in mg/kg, "
    ):
        bait_strength(said)


def test_a_refusal_names_what_was_read() -> None:
    with pytest.raises(ValueError, match=r"^--directs must be a number "):
        bait_strength("5 oz", name="--directs")
    with pytest.raises(ValueError, match=r"^--directs '1:1000' needs the product"):
        bait_strength("1:1000", name="--directs")
    with pytest.raises(ValueError, match=r"^--covers must be a number "):
        product("invented concentrate", "10 oz", "--covers")


@pytest.mark.parametrize("label", ["10 %", "10%", " 10 % "])
def test_a_bare_percentage_of_a_product_is_told_what_it_lacks(label: str) -> None:
    with pytest.raises(ValueError, match=r"^--covers '.*' may be by mass or by volume: say g/L, or % w/v if"):
        product("invented concentrate", label, "--covers")


def test_no_strength_is_zero() -> None:
    with pytest.raises(ValueError, match=r"^target strength must be a number above 0, .*, not '0 %'$"):
        bait_strength("0 %")


def test_no_strength_is_the_whole_bait() -> None:
    assert bait_strength("99 %").mg_per_kg == 990_000
    with pytest.raises(ValueError, match="strength must be below 100 %, not 100 %"):
        bait_strength("100 %")


def test_parts_need_the_product_that_they_thin() -> None:
    with pytest.raises(ValueError, match="'1:1000' needs the product that is thinned"):
        bait_strength("1:1000")


def test_parts_that_can_be_read_in_two_ways_are_refused() -> None:
    assert bait_strength("1:50", CONCENTRATE).mg_per_kg == 2000.0
    with pytest.raises(ValueError, match="can be read in two ways below 1:50; say it in mg/kg"):
        bait_strength("1:49", CONCENTRATE)


def test_one_in_1000_and_one_to_1000_differ_by_a_thousandth() -> None:
    # 85.00 against 84.92 uL for 85 g, by arithmetic.
    assert 85 * bait_strength("1:1000", CONCENTRATE).mg_per_kg / 100 == pytest.approx(85.00, abs=0.005)
    assert 85 * bait_strength("1:1001", CONCENTRATE).mg_per_kg / 100 == pytest.approx(84.92, abs=0.005)


@pytest.mark.parametrize("wrong", [0.0, -5.0, float("nan"), float("inf")])
def test_a_product_without_a_strength_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=r"^product strength must be a number above 0 g/L"):
        Product("invented concentrate", wrong)


def test_a_product_has_a_name() -> None:
    with pytest.raises(ValueError, match=r"^product name must not be empty$"):
        Product(" ", 100.0)


def test_exceeding_is_more_than_rounding() -> None:
    assert not Strength(100.0 + 1e-8, "100 mg/kg").exceeds(Strength(100.0, "100 mg/kg"))
    assert Strength(100.001, "100.001 mg/kg").exceeds(Strength(100.0, "100 mg/kg"))


@given(st.integers(1, 9_999))
def test_percent_and_mg_per_kg_are_the_same_thing(mg_per_kg: int) -> None:
    percent = f"{mg_per_kg / 10_000:.4f} %"
    assert bait_strength(percent).mg_per_kg == pytest.approx(bait_strength(f"{mg_per_kg} mg/kg").mg_per_kg)
