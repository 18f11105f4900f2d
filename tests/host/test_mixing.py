"""A mixing answer holds the dose as typed, shows its cautions, and refuses what the authority does not allow."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from swapbell_host.trade.answer import Answer
from swapbell_host.trade.mixing import Asked, answer

# An invented permit and an invented product.
ASKED = Asked(
    bait="10 x 85 g",
    target="0.1 g/L",
    product="invented concentrate",
    strength="100 g/L",
    authority="permit 12",
    until=date(2026, 9, 30),
    covers="100 g/L",
    directs="0.1 g/L",
    at_most="0.1 %",
    measure="1 mL syringe",
    back=None,
    on=date(2026, 1, 15),
    today=date(2026, 1, 15),
)
ONE = replace(ASKED, bait="85 g")


def values(told: Answer) -> dict[str, object]:
    """Return the bare values by their keys."""
    return {each.key: each.value for each in told.figures}


def words(told: Answer, key: str) -> str:
    """Return how one figure is said."""
    (found,) = (each.words for each in told.figures if each.key == key)
    return found


def test_ten_tins_mixed_at_once_by_arithmetic() -> None:
    # 10 x 85 g at 100 mg/kg of a 100 g/L product: 850 g, 0.85 mL, 85 mg.
    found = values(answer(ASKED))
    assert (found["bait"], found["product_volume"], found["active_ingredient"]) == pytest.approx((850.0, 850.0, 85.0))
    assert (found["target"], found["product"], found["set"]) == pytest.approx((100.0, 100.0, 850.0))


def test_one_tin_is_measured_in_a_dilution() -> None:
    told = answer(ONE)
    assert values(told)["dilution"] == 10
    assert words(told, "dilution").startswith(
        "first mix 1 mL of product with 9 mL of water (1 in 10, 10 g/L); 9.15 mL of it will be left"
    )
    assert words(told, "set") == "0.85 mL of the 1 in 10 dilution by 1 mL syringe, into all of the bait"


def test_a_large_volume_takes_several_fills() -> None:
    assert words(answer(replace(ASKED, bait="2.5 kg")), "set").startswith(
        "2.5 mL of the product itself by 1 mL syringe in 3"
    )


def test_rounding_and_reading_errors_are_shown() -> None:
    told = answer(replace(ASKED, bait="856 g"))
    assert words(told, "rounding") == "+0.5% by the marks, and up to 0.6% more or less by reading them"  # 860, 856 uL
    assert words(told, "strength").startswith("100.5 mg/kg, 99.88 to 101.1")


def test_the_finished_bait_is_a_little_weaker() -> None:
    assert values(answer(ONE))["finished"] == pytest.approx(8.5 / 0.08585)


def test_drops_are_shown_with_their_spread_and_never_as_an_answer() -> None:
    # 85 uL: two drops of 45 to 55 uL, and of 20 to 70 uL (USP <1101>; UNC pharmacy pages), by arithmetic.
    assert words(answer(ONE), "drops") == (
        "1 would be -47% to -35% from a calibrated dropper, -76% to -18% as drops really fall; "
        "2 would be +6% to +29% from a calibrated dropper, -53% to +65% as drops really fall"
    )
    assert any(each.startswith("Drops are no measure") for each in answer(ONE).cautions)


def test_portions_are_told_as_they_were_typed() -> None:
    assert words(answer(ONE), "bait") == "85 g, before liquid is added"
    mixed = answer(replace(ASKED, bait="2 x 85 g + 200 g"))
    assert words(mixed, "bait") == "370 g, before liquid is added (2 x 85 g + 1 x 200 g)"
    assert words(mixed, "active_ingredient") == "37 mg in all, 8.5 to 20 mg in a portion"


def test_a_slip_of_ten_is_warned_of_first() -> None:
    (warning,) = answer(replace(ONE, target="0.1 %")).warnings
    assert "10 times more than the 0.1 g/L (100 mg/kg) that permit 12 directs" in warning
    assert answer(ONE).warnings == ()


def test_a_sheet_for_another_day_says_so_first() -> None:
    assert answer(replace(ONE, today=date(2026, 1, 16))).warnings == (
        "worked out for 2026-01-15, not for today, 2026-01-16 by this machine's clock",
    )


def test_a_sheet_under_an_authority_that_has_ended_since_says_so_first() -> None:
    assert answer(replace(ONE, target="0.1 %", today=date(2026, 10, 1))).warnings[0] == (
        "worked out for 2026-01-15, not for today, 2026-10-01 by this machine's clock; permit 12 has ended since: "
        "mix nothing by it"
    )


@pytest.mark.parametrize("said", ["100 mg/kg", "0.01 %", "0.1 g/L", "1:1000", "100 ppm"])
def test_the_strength_may_be_said_in_any_unit_of_the_trade(said: str) -> None:
    assert values(answer(replace(ONE, target=said)))["product_volume"] == pytest.approx(85.0)


def test_one_to_n_of_the_authority_is_of_the_product_that_it_covers() -> None:
    told = answer(replace(ONE, directs="1:1000", at_most="1:100"))
    assert "directs 1:1000 (100 mg/kg), allows at most 1:100 (1000 mg/kg)" in words(told, "authority")


def test_what_came_back_closes_the_balance() -> None:
    told = answer(replace(ASKED, back="60 g"))
    # 850 g and 0.85 g of liquid hold 85 mg; 60 g of it come back, by arithmetic.
    assert values(told)["taken"] == pytest.approx(790.85)
    assert (
        words(told, "taken")
        == "790.85 g of 850.85 g taken (93%); bait that dried counts as taken; 79.01 mg of active ingredient with it"
    )


def test_the_liquid_goes_out_and_comes_back_with_the_bait() -> None:
    # 85 g at 100 mg/kg of a 0.2 g/L product take 42.5 mL: 127.5 g go out, 37.5 g are missing, 2.5 mg in them.
    told = answer(replace(ONE, strength="0.2 g/L", covers="0.2 g/L", back="90 g"))
    assert values(told)["taken"] == pytest.approx(37.5)
    assert "2.5 mg of active ingredient" in words(told, "taken")


def test_nothing_back_is_all_taken() -> None:
    assert values(answer(replace(ASKED, back="0 g")))["taken"] == pytest.approx(850.85)


def test_more_back_than_out_says_nothing_of_what_was_taken() -> None:
    told = answer(replace(ASKED, back="900 g"))
    assert values(told)["taken"] is None
    assert words(told, "taken").endswith("taken is unknown")


def test_before_bait_comes_back_there_is_no_balance() -> None:
    assert "taken" not in values(answer(ASKED))


def test_a_second_person_checks_label_authority_amount_and_volume() -> None:
    label, law, amount, volume = answer(ONE).checks
    assert label == "The label says invented concentrate and 100 g/L, and permit 12 is for it."
    assert law == "permit 12 directs 0.1 g/L (100 mg/kg) here, on 2026-01-15 and for this use."
    assert amount.startswith("0.1 g/L (100 mg/kg) of 85 g of bait are 8.5 mg")
    assert volume == "The 1 mL syringe is set to 0.85 mL of the 1 in 10 dilution, not ten times that."


@pytest.mark.parametrize(
    "caution", ["label, local law and licensed practice", "gloves", "honey bee", "water", "pets", "second person"]
)
def test_the_cautions_are_always_there(caution: str) -> None:
    assert any(caution in each for each in answer(ASKED).cautions)


def test_every_figure_names_its_source() -> None:
    assert all(each.source for each in answer(replace(ASKED, back="1 g")).figures)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"bait": "500 oz"}, r"--bait must be a number above 0, .* in g, kg, not '500 oz'"),
        ({"target": "5 oz"}, r"--target must be a number above 0, .*, 1:n, not '5 oz'"),
        ({"target": "1:10"}, r"--target '1:10' can be read in two ways"),
        ({"strength": "10 %"}, r"--strength '10 %' may be by mass or by volume: say g/L"),
        ({"covers": "much"}, r"--covers must be .*, not 'much'"),
        ({"directs": "nan %"}, r"--directs must be .*, not 'nan %'"),
        ({"at_most": "-1 %"}, r"--at-most must be .*, not '-1 %'"),
        ({"measure": "spoon"}, r"--measure must be .*, not 'spoon'"),
        ({"back": "-1 g"}, r"--back must be a number from 0 up, .*, not '-1 g'"),
        ({"product": " "}, r"product name must not be empty"),
        ({"authority": ""}, r"authority basis must not be empty"),
        ({"on": date(2026, 10, 1)}, r"permit 12 ended on 2026-09-30: no dose for 2026-10-01"),
        ({"target": "0.2 %"}, r"target strength 0\.2 % \(2000 mg/kg\) is above the 0\.1 % .* that permit 12 allows"),
        ({"strength": "50 g/L"}, r"product strength 50 g/L .* is not the 100 g/L .* that permit 12 covers"),
        ({"strength": "0.1 g/L", "covers": "0.1 g/L"}, r"product strength 0\.1 g/L .* must be above the bait's"),
        ({"directs": "1 %"}, r"authority maximum 0\.1 % .* must not be below what it directs, 1 %"),
    ],
)
def test_what_cannot_be_used_is_named_and_quoted(changed: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=f"^{told}"):
        answer(replace(ASKED, **changed))
