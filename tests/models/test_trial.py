"""A trial ends in a plain sentence, with each pair compared and corrected for the number of pairs."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from scipy import stats

from swapbell_models.comparison.rates import Family, Sample
from swapbell_models.comparison.trial import Pair, Trial, compare

HOUR = 3600.0
# Invented counts of visits in an hour, six station-days each.
BAITS = {
    "fish": (31, 24, 40, 28, 35, 26),
    "meat": (25, 30, 22, 38, 27, 20),
    "jam": (4, 7, 2, 5, 8, 3),
}


def samples(baits: Mapping[str, Sequence[int]], watched_s: float = HOUR) -> list[Sample]:
    """Return one sample for each count."""
    return [Sample(bait, count, watched_s) for bait, counts in baits.items() for count in counts]


@pytest.fixture(scope="module")
def trial() -> Trial:
    """Return the trial of the invented counts."""
    return compare(samples(BAITS))


def pair(trial: Trial, first: str, second: str) -> Pair:
    """Return one of its pairs."""
    (found,) = (each for each in trial.pairs if (each.first, each.second) == (first, second))
    return found


def test_groups_come_with_the_highest_rate_first(trial: Trial) -> None:
    assert [(group.name, group.visits, group.samples) for group in trial.groups] == [
        ("fish", 184, 6),
        ("meat", 162, 6),
        ("jam", 29, 6),
    ]
    assert [group.per_h for group in trial.groups] == pytest.approx([184 / 6, 162 / 6, 29 / 6])
    assert all(group.watched_h == pytest.approx(6.0) for group in trial.groups)


def test_every_two_groups_are_compared_once(trial: Trial) -> None:
    assert [(each.first, each.second) for each in trial.pairs] == [("fish", "meat"), ("fish", "jam"), ("meat", "jam")]


def test_a_ratio_is_that_of_the_rates(trial: Trial) -> None:
    assert pair(trial, "fish", "jam").ratio == pytest.approx(184 / 29)


def test_the_limits_of_a_pair_hold_for_all_pairs_together() -> None:
    # Wald's limits of two Poisson rates by arithmetic, at 1 - 0.05/3 for three pairs.
    steady = {"A": (30, 31, 29), "B": (20, 21, 19), "C": (10, 11, 9)}
    found = compare(samples(steady))
    assert found.fit.family is Family.POISSON
    for each in found.pairs:
        one, two = sum(steady[each.first]), sum(steady[each.second])
        reach = math.exp(stats.norm.ppf(1 - 0.05 / 6) * math.sqrt(1 / one + 1 / two))
        assert (each.low, each.high) == pytest.approx((one / two / reach, one / two * reach), rel=1e-4)


def test_the_limits_of_a_group_are_walds_on_the_log_scale() -> None:
    found = compare(samples({"A": (30, 31, 29), "B": (20, 21, 19)}), confidence=0.9)
    reach = math.exp(stats.norm.ppf(0.95) / math.sqrt(90))
    assert (found.groups[0].low, found.groups[0].high) == pytest.approx((30 / reach, 30 * reach))


def test_a_pair_in_blocks_is_that_of_a_formula() -> None:
    # statsmodels' own coding of the same model, bait and day as treatments, on a table with a day missed.
    table = [
        ("A", "1", 30),
        ("A", "2", 61),
        ("B", "1", 19),
        ("B", "2", 42),
        ("B", "3", 10),
        ("A", "1", 28),
        ("B", "3", 8),
    ]
    found = compare([Sample(bait, visits, HOUR, day) for bait, day, visits in table])
    frame = pd.DataFrame(table, columns=["bait", "day", "visits"])
    fitted = smf.glm("visits ~ bait + day", frame, family=sm.families.Poisson()).fit()
    reach = stats.norm.ppf(0.975) * fitted.bse["bait[T.B]"]
    assert found.fit.family is Family.POISSON
    (only,) = found.pairs
    assert math.log(only.ratio) == pytest.approx(-fitted.params["bait[T.B]"], abs=1e-6)
    assert (math.log(only.high) - math.log(only.low)) / 2 == pytest.approx(reach, rel=1e-5)


def test_p_is_corrected_for_the_number_of_pairs() -> None:
    steady = {"A": (30, 31, 29), "B": (24, 25, 23), "C": (10, 11, 9)}
    three, two = compare(samples(steady)), compare(samples({name: steady[name] for name in "AB"}))
    alone = pair(two, "A", "B").p
    z = math.log(90 / 72) / math.sqrt(1 / 90 + 1 / 72)
    assert alone == pytest.approx(2 * stats.norm.sf(z), rel=1e-4)
    assert pair(three, "A", "B").p == pytest.approx(3 * alone)
    assert pair(compare(samples({"A": (5, 6), "B": (5, 6), "C": (5, 6)})), "A", "B").p == 1.0


def test_limits_and_p_agree_on_what_differs() -> None:
    for counts in ((24, 25, 23), (20, 21, 19), (18, 19, 17), (16, 17, 15)):
        for each in compare(samples({"A": (30, 31, 29), "B": counts, "C": (10, 11, 9)})).pairs:
            assert each.differs == (each.p < 0.05)


def test_the_outcome_is_told_in_a_sentence(trial: Trial) -> None:
    assert trial.fit.family is Family.POISSON
    assert trial.words == (
        "fish drew most: 30.7 visits per watched hour (95% limits 26.5 to 35.4); meat cannot be told apart from it; "
        "fewer came to jam (16% of it). (Poisson rates, 3 pairs compared together)"
    )


def test_a_bait_without_a_visit_is_told_with_the_most_it_can_be(trial: Trial) -> None:
    # Garwood's upper limit of nothing, 3.689, in 12 watched hours.
    found = compare(samples(BAITS | {"honey": (0, 0, 0, 0, 0, 0)}, 2 * HOUR))
    honey = found.groups[-1]
    assert (honey.name, honey.per_h, honey.low) == ("honey", 0.0, 0.0)
    assert honey.high == pytest.approx(3.688879 / 12, abs=1e-6)
    assert "; nobody came to honey (at most 0.307 per hour)." in found.words
    assert len(found.pairs) == len(trial.pairs)


def test_several_names_are_listed() -> None:
    found = compare(samples({"A": (30, 31, 29), "B": (10, 11, 9), "C": (9, 8, 10), "D": (8, 9, 7)}))
    assert "fewer came to B (33% of it), C (30% of it) and D (27% of it)." in found.words


def test_bouts_widen_the_limits() -> None:
    rng, means = np.random.default_rng(11), {"A": 30, "B": 20}
    steady = {name: rng.poisson(mean, 12).tolist() for name, mean in means.items()}
    bouts = {name: rng.negative_binomial(2, 2 / (2 + mean), 12).tolist() for name, mean in means.items()}
    narrow, wide = (compare(samples(counts)).pairs[0] for counts in (steady, bouts))
    assert math.log(wide.high / wide.low) > 2 * math.log(narrow.high / narrow.low)


@pytest.mark.parametrize(
    ("low", "high", "differs"), [(1.0, 1.5, False), (0.5, 1.0, False), (1.1, 1.5, True), (0.5, 0.9, True)]
)
def test_limits_that_touch_one_do_not_tell_two_groups_apart(low: float, high: float, differs: bool) -> None:
    assert Pair("A", "B", 1.2, low, high, 0.05).differs is differs


def test_rates_that_no_count_tells_apart_stand_in_the_order_of_their_names() -> None:
    # A third of a millionth of a visit per hour apart.
    found = compare([Sample("A", count, HOUR + 0.0001) for count in (9, 10, 11)] + samples({"B": (9, 10, 11)}))
    assert 1e-7 < found.groups[1].per_h - found.groups[0].per_h < 1e-6
    assert [group.name for group in found.groups] == ["A", "B"]


def test_rates_fall_in_order(trial: Trial) -> None:
    assert all(a.per_h >= b.per_h for a, b in pairwise(trial.groups))


def test_one_bait_with_visits_is_no_comparison() -> None:
    with pytest.raises(ValueError, match=r"^samples must be of two groups or more, not 1$"):
        compare(samples({"A": (3, 4), "B": (0, 0)}))


def test_a_confidence_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^confidence must be above 0 and below 1, not 95$"):
        compare(samples(BAITS), confidence=95)
