"""Who was seen at the lure: the last word of it counts, and only of the lure that hangs now."""

from datetime import UTC, datetime, timedelta

import pytest

from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.sightings import WORDS_MAX, seen_ago, seen_words, sighting

HUNG_AT = datetime(2026, 2, 3, 1, 0, tzinfo=UTC)


def said(
    hours: float, words: str | None = None, act: Act = Act.SEEN, number: int = 0, corrects: int | None = None
) -> Entry:
    at, number = HUNG_AT + timedelta(hours=hours), number or round(10 * hours) + 1
    return Entry(
        site="hill", station="gate", act=act, at=at, by="Kim", id=number, logged_at=at, non_targets=words,
        corrects=corrects,
    )  # fmt: skip


LURED = said(0.0, act=Act.LURED)


def seen(*entries: Entry) -> str | None:
    found = sighting([LURED, *entries])
    return found.non_targets if found else None


def test_the_latest_sighting_is_told() -> None:
    assert seen() is None
    assert seen(said(1.0, "2 ants"), said(2.0, "3 honey bees"), said(3.0)) == "3 honey bees"


@pytest.mark.parametrize("words", ["none", "None.", " no ", "0", "nothing", "none seen", "Only wasps."])
def test_whoever_looks_last_and_sees_none_ends_it(words: str) -> None:
    assert seen(said(1.0, "3 honey bees"), said(2.0, words)) is None
    assert seen(said(1.0, words), said(2.0, "3 honey bees")) == "3 honey bees"


@pytest.mark.parametrize("words", ["no bees", "No bees seen."])
def test_who_says_only_that_no_bees_came_warns_of_nobody_and_clears_nobody(words: str) -> None:
    assert seen(said(1.0, words)) is None
    assert seen(said(1.0, "2 hornets"), said(2.0, words)) == "2 hornets"


@pytest.mark.parametrize("words", ["no bees, but a hornet", "none but ants", "not sure"])
def test_what_is_not_plainly_none_is_told_as_it_was_written(words: str) -> None:
    assert seen(said(1.0, words)) == words


def test_fresh_lure_takes_no_bees_away() -> None:
    assert seen(said(1.0, "3 honey bees"), said(2.0, act=Act.REFRESHED)) == "3 honey bees"
    assert seen(said(2.0, "3 honey bees", act=Act.REFRESHED)) == "3 honey bees"


def test_what_was_seen_at_an_earlier_bait_counts_no_more() -> None:
    assert seen(said(1.0, "3 honey bees"), said(9.0, act=Act.SWAPPED), said(40.0, act=Act.RELURED)) is None


def test_what_was_corrected_counts_no_more() -> None:
    wrong = said(1.0, "3 honey bees", number=7)
    assert seen(wrong, said(1.0, "3 hover flies", number=8, corrects=7)) == "3 hover flies"
    assert seen(wrong, said(1.0, act=Act.STRUCK_OUT, number=8, corrects=7)) is None


def test_it_is_said_who_logged_it_when_and_why_it_matters() -> None:
    assert seen_ago(said(1.0, "3 honey\nbees."), HUNG_AT + timedelta(hours=3)) == (
        "3 honey bees (logged 2 h ago by Kim): what visits the lure takes toxic bait, too; see its label"
    )


def test_of_several_sentences_none_is_lost_where_only_the_first_is_shown() -> None:
    told = seen_words(said(1.0, "Mr. Smith came by. 3 honey bees."), "now")
    assert told.partition(". ")[0].startswith("Mr; Smith came by; 3 honey bees (logged now by Kim)")


def test_a_long_story_is_cut() -> None:
    assert seen_words(said(1.0, "x" * 4000), "now").startswith(f"{'x' * WORDS_MAX}... (logged now by Kim)")
