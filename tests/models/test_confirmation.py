"""How often a look errs is as often as it does in drawn traffic, steady or in bouts."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tallies import edges, moment, tallies

from swapbell_models.chance import at_least, lucky_window
from swapbell_models.confirmation import BOUTS_K, EARLY_SHARE, LATE_SHARE, Confirm, chance_of_ready, confirmed, risks
from swapbell_models.readiness import Rule, Step, assess

# Chance that a look of three windows is called ready under a rule of ten; by the mean. Two in a row and two of three
# by arithmetic from Poisson's chance of one window (SciPy's poisson.sf).
TWO_OF_THREE = {4: 0.0002, 5: 0.0030, 6: 0.0199, 8: 0.1954, 10: 0.5630, 12: 0.8522, 15: 0.9860, 20: 0.9999}
RUNS, LOOK_S = 250, 900.0


@pytest.mark.parametrize(("mean", "chance"), TWO_OF_THREE.items())
def test_two_of_three_windows_of_steady_traffic(mean: int, chance: float) -> None:
    assert chance_of_ready(mean, 10, Confirm.TWO_OF_THREE) == pytest.approx(chance, abs=5e-5)


@given(st.integers(2, 30), st.floats(0, 40))
def test_the_bare_rule_is_as_likely_as_a_lucky_window(visits: int, mean: float) -> None:
    assert chance_of_ready(mean, visits, Confirm.FIRST) == lucky_window(visits, mean, 3)


@pytest.mark.parametrize("mean", [6, 9, 12, 15])
def test_the_sequential_test_adds_up_as_plain_sums_do(mean: int) -> None:
    # Wald (1947), means 8 and 12 at 5 % either way: 18 in one window, 27 in two, 37 in three.
    last, middle, first = np.random.default_rng(mean).poisson(mean, (3, 200_000))
    called = (last >= 18) | (last + middle >= 27) | (last + middle + first >= 37)
    chance = chance_of_ready(mean, 10, Confirm.SEQUENTIAL)
    assert called.mean() == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / 200_000))


@pytest.mark.parametrize("confirm", Confirm)
@pytest.mark.parametrize("k", [math.inf, BOUTS_K])
@pytest.mark.parametrize("share", [EARLY_SHARE, LATE_SHARE])
def test_a_verdict_errs_as_often_as_its_evidence_says(confirm: Confirm, k: float, share: float) -> None:
    draw, rule = np.random.default_rng(20260311), Rule(confirm=confirm)
    means = 10 * share * (draw.gamma(k, 1 / k, RUNS) if k < math.inf else np.ones(RUNS))
    looks = (draw.uniform(0, LOOK_S, draw.poisson(3 * mean)).tolist() for mean in means)
    called = [assess(tallies(look, edges(LOOK_S)), moment(LOOK_S), rule).step is Step.READY for look in looks]
    chance = chance_of_ready(10 * share, 10, confirm, k)
    error = math.sqrt(chance * (1 - chance) / RUNS)
    assert np.mean(called) == pytest.approx(chance, abs=0.004 + 4 * error)


@pytest.mark.parametrize("confirm", Confirm)
def test_risks_are_a_false_alarm_at_half_the_rule_and_a_miss_at_one_and_a_half(confirm: Confirm) -> None:
    steady, bouts = risks(10, confirm)
    assert (steady.k, bouts.k) == (math.inf, 2.0)
    for risk in (steady, bouts):
        assert risk.false_alarm == chance_of_ready(5, 10, confirm, risk.k)
        assert risk.miss == 1 - chance_of_ready(15, 10, confirm, risk.k)
        assert 0 < risk.false_alarm < bouts.false_alarm + 1e-12
        assert 0 < risk.miss < bouts.miss + 1e-12


@pytest.mark.parametrize(
    ("confirm", "stated"),
    [
        # The table of the decision record.
        (Confirm.FIRST, [0.223, 0.305, 0.000, 0.211]),
        (Confirm.TWO_OF_THREE, [0.003, 0.117, 0.014, 0.373]),
        (Confirm.SEQUENTIAL, [0.000, 0.056, 0.089, 0.477]),
    ],
)
def test_the_record_states_the_same_risks(confirm: Confirm, stated: list[float]) -> None:
    steady, bouts = risks(10, confirm)
    found = [steady.false_alarm, bouts.false_alarm, steady.miss, bouts.miss]
    assert found == pytest.approx(stated, abs=5e-4)


def test_who_asks_for_more_errs_less_one_way_and_more_the_other() -> None:
    first, two, sequential = (
        risks(10, each)[0] for each in (Confirm.FIRST, Confirm.TWO_OF_THREE, Confirm.SEQUENTIAL)
    )
    assert first.false_alarm > two.false_alarm > sequential.false_alarm
    assert first.miss < two.miss < sequential.miss


@given(st.floats(0.1, 40), st.floats(0.2, 50))
def test_one_window_of_wandering_traffic_is_negative_binomial(mean: float, k: float) -> None:
    # Greenwood and Yule 1920: a Poisson mean that is gamma distributed makes a negative binomial count.
    draw = np.random.default_rng(3)
    counts = draw.poisson(mean * draw.gamma(k, 1 / k, 20_000))
    chance = at_least(10, mean, k)
    assert (counts >= 10).mean() == pytest.approx(chance, abs=4.5 * math.sqrt(chance * (1 - chance) / 20_000) + 1e-9)


@pytest.mark.parametrize("k", [0.5, 1.0, 2.0, 10.0])
def test_bouts_are_averaged_finely_enough(k: float) -> None:
    # The same average over 200,000 drawn means.
    means = np.random.default_rng(5).gamma(k, 5 / k, 20_000)
    chances = [chance_of_ready(mean, 10, Confirm.TWO_OF_THREE) for mean in means]
    expected, error = np.mean(chances), np.std(chances) / math.sqrt(len(chances))
    assert chance_of_ready(5, 10, Confirm.TWO_OF_THREE, k) == pytest.approx(expected, abs=4 * error)


def test_two_of_three_windows_confirm_wherever_they_are() -> None:
    counts = ([10, 0, 10], [10, 10, 0], [0, 10, 10], [9, 30, 9])
    assert [confirmed(each, 10, Confirm.TWO_OF_THREE) for each in counts] == [True, True, True, False]


@pytest.mark.parametrize("counts", [[0, 0, 18], [0, 14, 13], [13, 12, 12]])
def test_the_sequential_test_is_passed_by_the_last_windows_together(counts: list[int]) -> None:
    fewer = [*counts[:2], counts[2] - 1]
    assert [confirmed(each, 10, Confirm.SEQUENTIAL) for each in (counts, fewer)] == [True, False]


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan])
def test_a_scatter_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^k must be a number above 0, .*, not {wrong}$"):
        chance_of_ready(5, 10, Confirm.TWO_OF_THREE, wrong)


@pytest.mark.parametrize("confirm", Confirm)
def test_a_mean_that_is_none_is_refused(confirm: Confirm) -> None:
    with pytest.raises(ValueError, match=r"^mean must be"):
        chance_of_ready(math.nan, 10, confirm)
