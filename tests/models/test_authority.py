"""Without a valid authority there is no dose, and a slip of ten does not pass unseen."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from swapbell_models.dosing.authority import Authority
from swapbell_models.dosing.strength import Product, bait_strength

PRODUCT = Product("invented concentrate", 100.0)
# An invented permit.
PERMIT = Authority(
    "permit 12", date(2026, 9, 30), PRODUCT, directs=bait_strength("0.1 g/L"), maximum=bait_strength("1000 mg/kg")
)
TODAY = date(2026, 1, 15)


def test_what_the_authority_directs_passes_without_a_warning() -> None:
    assert PERMIT.allow(bait_strength("100 mg/kg"), PRODUCT, TODAY) == ()


def test_the_last_day_counts_and_the_day_after_does_not() -> None:
    assert PERMIT.allow(PERMIT.directs, PRODUCT, date(2026, 9, 30)) == ()
    with pytest.raises(
        ValueError, match=r"^permit 12 ended on 2026-09-30: no dose for 2026-10-01 without a valid one$"
    ):
        PERMIT.allow(PERMIT.directs, PRODUCT, date(2026, 10, 1))


def test_more_than_the_maximum_is_refused() -> None:
    with pytest.raises(
        ValueError, match=r"^target strength 1001 mg/kg is above the 1000 mg/kg that permit 12 allows"
    ):
        PERMIT.allow(bait_strength("1001 mg/kg"), PRODUCT, TODAY)


def test_the_maximum_itself_passes() -> None:
    assert PERMIT.allow(bait_strength("0.1 %"), PRODUCT, TODAY)


def test_a_tenth_of_a_percent_for_a_tenth_of_a_gram_per_litre_is_told() -> None:
    (warning,) = PERMIT.allow(bait_strength("0.1 %"), PRODUCT, TODAY)
    assert warning == (
        "0.1 % (1000 mg/kg) is about 10 times more than the 0.1 g/L (100 mg/kg) that permit 12 directs: "
        "check the decimal point"
    )


def test_a_slip_beyond_the_maximum_is_named_in_the_refusal() -> None:
    strict = replace(PERMIT, maximum=PERMIT.directs)
    with pytest.raises(ValueError, match=r"allows\. 0\.1 % \(1000 mg/kg\) is about 10 times more than the 0\.1 g/L"):
        strict.allow(bait_strength("0.1 %"), PRODUCT, TODAY)


@pytest.mark.parametrize(
    ("said", "warned"),
    [
        ("10 mg/kg", "10 times less"),
        ("12 mg/kg", "10 times less"),
        ("13 mg/kg", None),
        ("8.1 mg/kg", "10 times less"),
        ("7.9 mg/kg", None),
        ("1 mg/kg", "100 times less"),
        ("50 mg/kg", None),
        ("200 mg/kg", None),
        ("790 mg/kg", None),
        ("810 mg/kg", "10 times more"),
    ],
)
def test_a_slip_of_ten_is_seen_within_a_quarter(said: str, warned: str | None) -> None:
    warnings = PERMIT.allow(bait_strength(said), PRODUCT, TODAY)
    assert [warned in warning for warning in warnings if warned] == [True] * (warned is not None)
    assert bool(warnings) == (warned is not None)


def test_a_product_ten_times_weaker_than_the_authority_covers_is_refused() -> None:
    with pytest.raises(
        ValueError, match=r"^product strength 10 g/L \(weak\) is not the 100 g/L \(invented concentrate\)"
    ):
        PERMIT.allow(PERMIT.directs, Product("weak", 10.0), TODAY)


def test_a_product_with_a_rounded_label_is_the_same() -> None:
    assert PERMIT.allow(PERMIT.directs, Product("invented concentrate", 99.0), TODAY) == ()
    with pytest.raises(ValueError, match="is not the 100 g/L"):
        PERMIT.allow(PERMIT.directs, Product("invented concentrate", 98.95), TODAY)


def test_a_product_no_stronger_than_the_bait_is_refused() -> None:
    weak = Product("weak", 0.1)
    authority = replace(PERMIT, product=weak)
    assert authority.allow(bait_strength("99 mg/kg"), weak, TODAY) == ()
    with pytest.raises(ValueError, match=r"^product strength 0\.1 g/L \(weak\) must be above the bait's, 100 mg/kg$"):
        authority.allow(bait_strength("100 mg/kg"), weak, TODAY)


def test_an_authority_names_its_basis() -> None:
    with pytest.raises(ValueError, match=r"^authority basis must not be empty$"):
        replace(PERMIT, basis="")


@pytest.mark.parametrize("basis", ["permit 12\nallows all", "permit\t12", "permit 12\x1b[2J"])
def test_an_authority_names_its_basis_on_one_line(basis: str) -> None:
    with pytest.raises(ValueError, match=r"^authority basis must be one line of plain text, not 'permit") as refused:
        replace(PERMIT, basis=basis)
    assert str(refused.value).isprintable()


def test_an_authority_does_not_direct_more_than_it_allows() -> None:
    with pytest.raises(ValueError, match=r"^authority maximum 50 mg/kg must not be below what it directs, 0\.1 g/L"):
        replace(PERMIT, maximum=bait_strength("50 mg/kg"))


def test_a_moment_is_no_day() -> None:
    moment = datetime(2026, 1, 15, 9, tzinfo=UTC)
    with pytest.raises(ValueError, match=r"^on must be a day at the place, as in 2026-01-15, not the moment 2026"):
        PERMIT.allow(PERMIT.directs, PRODUCT, moment)
    with pytest.raises(ValueError, match=r"^authority expires_on must be a day"):
        replace(PERMIT, expires_on=moment)
