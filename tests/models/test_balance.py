"""What went out and did not come back was taken; more back than out is a question, not a number."""

import pytest

from swapbell_models.dosing.balance import Balance


def test_what_is_missing_was_taken() -> None:
    balance = Balance(out_g=85.0, back_g=35.0, mg_per_kg=100.0)
    assert balance.taken_g == pytest.approx(50.0)
    assert balance.taken_mg == pytest.approx(5.0)
    assert balance.words == "50 g of 85 g taken (59%); bait that dried counts as taken"


def test_nothing_back_is_all_taken() -> None:
    assert Balance(85.0, 0.0, 100.0).taken_g == 85.0


def test_all_back_is_nothing_taken() -> None:
    assert Balance(85.0, 85.0, 100.0).taken_g == 0.0


def test_more_back_than_out_is_unknown_not_negative() -> None:
    balance = Balance(85.0, 90.0, 100.0)
    assert (balance.taken_g, balance.taken_mg) == (None, None)
    assert balance.words == "90 g came back of 85 g: rain or a wrong mass; taken is unknown"


@pytest.mark.parametrize(
    ("out_g", "back_g", "mg_per_kg", "named"),
    [
        (0.0, 0.0, 100.0, "out_g"),
        (85.0, -1.0, 100.0, "back_g"),
        (85.0, float("nan"), 100.0, "back_g"),
        (85.0, 0.0, 0.0, "mg_per_kg"),
    ],
)
def test_masses_that_are_none_are_refused(out_g: float, back_g: float, mg_per_kg: float, named: str) -> None:
    with pytest.raises(ValueError, match=rf"^{named} must be a number"):
        Balance(out_g, back_g, mg_per_kg)
