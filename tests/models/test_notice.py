"""What a notice says: the evidence, the chance that it was luck, and the cautions, in few words."""

from dataclasses import replace
from datetime import timedelta

import pytest
from tallies import blind_between, edges, moment, tallies

from swapbell_models.confirmation import Confirm
from swapbell_models.message import StationState
from swapbell_models.notice import (
    NoticeKind,
    Urgency,
    blind_words,
    lapse,
    notice,
    ready_words,
    silent_words,
    touched_words,
)
from swapbell_models.readiness import Rule, Verdict, assess
from swapbell_models.tally import Hindrance

# Our choice: what a phone shows without scrolling.
PHONE_CHARACTERS = 512
BURST = [600 + 20.0 * k for k in range(13)]
BUSY = [22.0 * k for k in range(41)]


def verdict(visits_s: list[float], rule: Rule, gap: tuple[float, float] = (0.0, 0.0)) -> Verdict:
    return assess(tallies(visits_s, edges(900), blind_between(*gap)), moment(900), rule)


def test_touched_tells_the_count_the_rule_and_the_chance_of_luck() -> None:
    words = touched_words(verdict(BURST, Rule()), Rule())
    assert "13 visits in 5 min reach the rule of 10, not confirmed yet" in words
    assert "with really only 5 per 5 min, luck would show as many in 2% of looks of 15 min" in words
    assert words.endswith("Get ready, but wait.")


def test_every_hindrance_has_words_for_what_to_look_for() -> None:
    for hindrance in Hindrance:
        words = notice("orchard", "north", NoticeKind.BLIND, moment(0), blind_words(moment(0), hindrance)).text
        assert words.startswith("orchard/north: cannot count since 2026-02-03 01:00 UTC or longer: ")
        assert len(words) <= PHONE_CHARACTERS


def test_a_blindness_without_a_reason_says_so() -> None:
    assert "it does not say why. That no visits are counted proves nothing." in blind_words(moment(0), None)


@pytest.mark.parametrize(
    ("lucky", "told"), [(0.0105, "in 1% of"), (0.01, "in 1% of"), (0.0099, "in less than 1% of")]
)
def test_a_chance_of_one_in_a_hundred_is_told(lucky: float, told: str) -> None:
    assert told in touched_words(replace(verdict(BURST, Rule()), lucky=lucky), Rule())


@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (-5, "0 s"),
        (0.9, "0 s"),
        (59, "59 s"),
        (60, "1 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (86_399, "23 h"),
        (86_400, "1 d"),
        (7 * 86_400, "7 d"),
    ],
)
def test_a_length_of_time_is_told_in_its_largest_whole_unit(seconds: float, told: str) -> None:
    assert lapse(timedelta(seconds=seconds)) == told


def test_a_chance_below_one_in_a_hundred_is_told_without_digits() -> None:
    crowd = [600 + 10.0 * k for k in range(20)]
    assert "in less than 1% of looks" in touched_words(verdict(crowd, Rule()), Rule())


@pytest.mark.parametrize(
    ("confirm", "proof"),
    [
        (
            Confirm.TWO_OF_THREE,
            "confirmed by two of three windows (luck at half the rule: less than 1%, in bouts 12%)",
        ),
        (
            Confirm.SEQUENTIAL,
            "confirmed by the sequential test (luck at half the rule: less than 1%, in bouts 6%)",
        ),
        (Confirm.FIRST, "luck would show as many in "),
    ],
)
def test_ready_tells_the_counts_the_rate_with_its_limits_and_the_proof(confirm: Confirm, proof: str) -> None:
    words = ready_words(verdict(BUSY, Rule(confirm=confirm)), Rule(confirm=confirm))
    # Garwood (1936): 41 events have the exact limits 29.42 and 55.62 (SciPy's chi2.ppf), here over three windows.
    assert words.startswith(
        "ready for the swap: visits per 5 min, oldest to newest: 14, 14, 13 (rule: 10), "
        "13.7 per 5 min (95% limits 9.8 to 18.5); "
    )
    assert proof in words


@pytest.mark.parametrize(
    "caution",
    [
        "The label, local law and licensed practice come first",
        "protection",
        "bees",
        "Length alone cannot tell a wasp",
    ],
)
def test_ready_carries_the_cautions(caution: str) -> None:
    assert caution in ready_words(verdict(BUSY, Rule()), Rule())


def test_what_was_not_watched_is_said() -> None:
    visits_s = [at_s for at_s in BUSY if at_s > 300]
    words = ready_words(verdict(visits_s, Rule(), gap=(0, 450)), Rule())
    assert "oldest to newest: none watched, at least 14, 13 (rule" in words


def test_a_window_with_gaps_and_no_visit_is_not_counted_as_empty() -> None:
    words = ready_words(verdict([at_s for at_s in BUSY if at_s >= 300], Rule(), gap=(100, 200)), Rule())
    assert "oldest to newest: not fully watched, 14, 13 (rule" in words


def test_silent_tells_since_when_and_the_last_word() -> None:
    words = silent_words(moment(900), StationState.LOST)
    assert words.startswith("no count since 2026-02-03 01:15 UTC (its last word: lost).")
    assert silent_words(None, None).startswith("no count so far. ")
    assert "silence does not mean that no wasps come" in words


def test_a_notice_names_its_station_first() -> None:
    told = notice("valley", "gate-7", NoticeKind.READY, moment(900), "ready")
    assert (told.text, told.urgency) == ("valley/gate-7: ready", Urgency.ACT)


def test_only_a_swap_that_is_due_and_bait_left_out_ask_to_act() -> None:
    asked = {kind: notice("s", "t", kind, moment(0), "").urgency for kind in NoticeKind}
    assert [kind for kind, urgency in asked.items() if urgency is Urgency.ACT] == [
        NoticeKind.READY,
        NoticeKind.LEFT_OUT,
        NoticeKind.SWAP_OVERDUE,
    ]


@pytest.mark.parametrize("confirm", Confirm)
def test_every_notice_fits_a_phone(confirm: Confirm) -> None:
    rule = Rule(confirm=confirm)
    words = [
        ready_words(verdict(BUSY, rule), rule),
        touched_words(verdict(BURST, rule), rule),
        silent_words(None, None),
    ]
    longest = max(len(notice("s" * 20, "t" * 20, NoticeKind.READY, moment(0), text).text) for text in words)
    assert longest <= PHONE_CHARACTERS
