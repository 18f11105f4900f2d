"""A site is swapped together, when the mean of its stations reaches the rule."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tallies import moment

from swapbell_models.confirmation import Confirm
from swapbell_models.readiness import Reason, Rule, Step, Verdict
from swapbell_models.sitewide import SiteVerdict, assess_site
from swapbell_models.traffic import Window

RULE = Rule()
ORDER = list(Step)
QUIET = (0, 0, 0)
looks = st.lists(st.tuples(*[st.integers(0, 25)] * 3), min_size=1, max_size=6)


def station(*counts: int, reason: Reason | None = None) -> Verdict:
    """Return the verdict on a station with these counts in its look's windows."""
    windows = tuple(Window(moment(300 * n), moment(300 * n + 300), count, 300.0) for n, count in enumerate(counts))
    return Verdict(Step.UNJUDGED if reason else Step.QUIET, reason, windows)


def site(*stations: Sequence[int], rule: Rule = RULE) -> SiteVerdict:
    """Return the verdict on a site whose stations were all watched."""
    return assess_site([station(*counts) for counts in stations], rule)


def test_a_site_is_ready_when_the_mean_of_its_stations_is() -> None:
    busy = site((0, 4, 18), (3, 17, 2), (0, 10, 10))
    assert busy.step is Step.READY
    assert busy.means == pytest.approx((1.0, 31 / 3, 10.0))
    assert site((0, 4, 18), (3, 17, 2), (0, 10, 9)).step is Step.TOUCHED


def test_a_mean_that_just_reaches_the_rule_once_is_a_touch() -> None:
    assert site((0, 0, 20), QUIET).step is Step.TOUCHED
    assert site((0, 0, 19), QUIET).step is Step.BUILDING


def test_one_busy_station_does_not_carry_its_neighbours() -> None:
    assert site((20, 20, 20), QUIET, QUIET).step is Step.BUILDING
    assert site((20, 20, 20), QUIET, QUIET, QUIET, QUIET).step is Step.QUIET


def test_half_the_rule_on_average_is_building() -> None:
    assert site((0, 0, 10), QUIET).step is Step.BUILDING
    assert site((0, 0, 9), QUIET).step is Step.QUIET


@given(looks, st.sampled_from(Confirm))
def test_a_site_of_alike_stations_stands_where_each_of_them_stands(
    counts: list[tuple[int, int, int]], confirm: Confirm
) -> None:
    rule = Rule(confirm=confirm)
    same = site(*[counts[0]] * 3, rule=rule)
    if confirm is not Confirm.SEQUENTIAL:
        assert same.step is site(counts[0], rule=rule).step
    assert same.means == counts[0]


@given(looks, looks)
def test_more_visits_never_lower_the_step(
    counts: list[tuple[int, int, int]], more: list[tuple[int, int, int]]
) -> None:
    busier = [
        tuple(a + b for a, b in zip(one, other, strict=True))
        for one, other in zip(counts, (more * len(counts))[: len(counts)], strict=True)
    ]
    assert ORDER.index(site(*counts).step) <= ORDER.index(site(*busier).step)


def test_many_stations_tell_by_sequential_test_what_one_cannot() -> None:
    # Wald (1947) over means of 8 and 12: one station needs 18 in a window, ten of them together 106.
    rule = Rule(confirm=Confirm.SEQUENTIAL)
    assert site((0, 0, 11), rule=rule).step is Step.TOUCHED
    assert site(*[(0, 0, 11)] * 10, rule=rule).step is Step.READY


@pytest.mark.parametrize("reason", Reason)
def test_a_station_that_cannot_be_judged_is_left_out_of_the_mean(reason: Reason) -> None:
    found = assess_site([station(10, 20, 20), station(3, 3, 3, reason=reason)], RULE)
    assert (found.step, found.reason, found.means, found.unjudged) == (Step.READY, None, (10.0, 20.0, 20.0), 1)


def test_few_visits_prove_nothing_while_a_station_says_nothing() -> None:
    found = assess_site([station(1, 2, 3), Verdict(Step.UNJUDGED, Reason.SILENT)], RULE)
    assert (found.step, found.reason) == (Step.UNJUDGED, Reason.SILENT)
    assert found.means == (1.0, 2.0, 3.0)


def test_a_site_where_nobody_tells_anything_is_unjudged() -> None:
    found = assess_site([Verdict(Step.UNJUDGED, Reason.SILENT)] * 2, RULE)
    assert (found.step, found.reason, found.means) == (Step.UNJUDGED, Reason.SILENT, ())
    assert found.words == "unjudged: none of its 2 stations can be judged"


def test_the_verdict_is_told_with_its_means_and_the_rule() -> None:
    told = site((0, 4, 18), (4, 18, 2)).words
    assert told == (
        "ready: a mean of 2.0, 11.0, 10.0 visits in each 5 min, oldest first (rule: 10) over its 2 stations"
    )


def test_the_verdict_names_how_many_stations_it_stands_on() -> None:
    found = assess_site([station(1, 2, 3), Verdict(Step.UNJUDGED, Reason.SILENT)], RULE)
    assert found.words == (
        "unjudged: a mean of 1.0, 2.0, 3.0 visits in each 5 min, oldest first (rule: 10) over the 1 of its 2 "
        "stations that can be judged"
    )


@pytest.mark.parametrize("step", Step)
def test_every_station_of_a_site_that_is_ready_is_called(step: Step) -> None:
    assert site((20, 20, 20), (20, 20, 20)).called(step) is Step.READY


@pytest.mark.parametrize("others", [QUIET, (20, 0, 0)])
def test_before_its_site_is_ready_a_station_goes_by_its_own_traffic(others: tuple[int, ...]) -> None:
    whole = site((20, 4, 4), others)
    assert whole.step is not Step.READY
    assert [whole.called(step) for step in Step] == list(Step)


def test_a_site_without_stations_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^verdicts must be of one station or more, not 0$"):
        assess_site([], RULE)
