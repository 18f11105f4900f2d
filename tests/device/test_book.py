"""The book: no crossing lost or doubled, no second watched that was not, no gap passed over."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from swapbell_device.book import GAP_S, PAUSE_TOLD_S, SETTLE_S, Book
from swapbell_device.look import Look
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Hindrance, Tally

STARTED_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
Frames = Sequence[tuple[float, Sequence[Crossing]]]


def crossing(at_s: float, length_mm: float = 12.0) -> Crossing:
    return Crossing(at_s=at_s, direction=Direction.IN, size=SizeClass.WASP, length_mm=length_mm)


def book(seconds: float = 15.0) -> Book:
    return Book("north", "b1", STARTED_AT, Clock.SYNCED, seconds)


def tallies(frames: Frames, seconds: float = 15.0) -> list[Tally]:
    kept = book(seconds)
    cut = [tally for at_s, crossings in frames for tally in kept.add(crossings, at_s)]
    return [*cut, *kept.close()]


def steady(to_s: float, fps: float = 10.0) -> list[tuple[float, Sequence[Crossing]]]:
    return [(number / fps, ()) for number in range(round(to_s * fps) + 1)]


def test_a_minute_of_frames_makes_four_tallies() -> None:
    cut = tallies(steady(60.0))
    assert [(tally.seq, tally.up_s, tally.seconds, tally.watched_s) for tally in cut] == [
        (1, 0.0, 15.0, 15.0),
        (2, 15.0, 15.0, 15.0),
        (3, 30.0, 15.0, 15.0),
        (4, 45.0, 15.0, 15.0),
    ]


def test_a_tally_says_when_it_began() -> None:
    assert tallies(steady(20.0))[1].from_at == STARTED_AT + timedelta(seconds=15)


def test_the_last_tally_ends_with_the_last_frame() -> None:
    assert tallies(steady(17.5))[-1].seconds == 2.5


def looked(looks: Sequence[Look], to_s: float = 45.0) -> list[Tally]:
    """Return the tallies of even frames, with looks at some."""
    kept, found = book(), {look.at_s: look for look in looks}
    cut = [tally for at_s, _ in steady(to_s) for tally in kept.add((), at_s, found.get(at_s))]
    return [*cut, *kept.close()]


FINE = Look(1.0, light=120.0, detail=4.0, noise=1.5, shake_mm=0.0, moving=0.0, came=30)


def test_what_the_counter_cannot_see_is_not_watched() -> None:
    dark, light = replace(FINE, at_s=10.0, light=1.0, detail=0.0), replace(FINE, at_s=22.0)
    one, other, last = looked([FINE, dark, light])
    assert [tally.watched_s for tally in (one, other, last)] == [10.0, 8.0, 15.0]
    assert [tally.sight.blind_s for tally in (one, other, last) if tally.sight] == [5.0, 7.0]
    assert other.sight
    assert other.sight.hindrance is Hindrance.LIGHT


def test_time_in_which_a_hand_covers_the_view_is_not_watched() -> None:
    kept = book()
    cut = [tally for at_s, _ in steady(20.0) for tally in kept.add((), at_s, covered=5.0 < at_s <= 9.0)]
    (told,) = (tally for tally in cut if tally.seq == 1)
    assert told.watched_s == 11.0
    assert told.sight
    assert (told.sight.blind_s, told.sight.hindrance) == (4.0, Hindrance.COVERED)


def test_a_tally_tells_of_the_looks_in_it() -> None:
    one, other = looked([FINE, replace(FINE, at_s=16.0, light=60.0)], 30.0)
    assert [tally.sight.light for tally in (one, other) if tally.sight] == [120.0, 60.0]


def test_a_tally_without_a_look_tells_nothing_of_its_sight() -> None:
    assert [tally.sight for tally in looked([])] == [UNSET] * 3


def hanging(from_s: float, to_s: float, end_s: float = 40.0) -> tuple[Book, list[Tally]]:
    """Return the tallies of even frames that are all the same for a while."""
    kept = book()
    return kept, [tally for at_s, _ in steady(end_s) for tally in kept.add((), at_s, lives=not from_s < at_s <= to_s)]


def test_time_is_not_watched_before_another_picture_shows_that_the_camera_lives() -> None:
    kept, told = hanging(12.0, 99.0, 15.9)
    told += [*kept.miss(16.0), *kept.miss(32.0), *kept.close()]
    assert [tally.watched_s for tally in told] == [12.0, 0.0, 0.0]
    assert [tally.sight.blind_s for tally in told if tally.sight] == [3.0, 15.0, 2.0]
    assert {tally.sight.hindrance for tally in told if tally.sight} == {Hindrance.CAMERA}


def test_a_tally_waits_until_it_is_known_whether_the_camera_lived() -> None:
    assert hanging(12.0, 99.0, 18.0)[1] == []


def test_a_picture_that_stood_for_a_while_was_watched_if_another_follows() -> None:
    _, told = hanging(12.0, 15.5)
    assert [tally.watched_s for tally in told] == [15.0, 15.0]


def test_who_ends_while_the_camera_may_hang_did_not_watch() -> None:
    kept, told = hanging(12.0, 99.0, 14.0)
    assert [tally.watched_s for tally in [*told, *kept.close()]] == [12.0]


@given(st.lists(st.tuples(st.integers(1, 400), st.booleans()), max_size=20))
def test_each_second_is_watched_or_blind(told: list[tuple[int, bool]]) -> None:
    looks = [replace(FINE, at_s=tenth / 10.0, moving=0.9 if bad else 0.0) for tenth, bad in told]
    for tally in looked(looks):
        blind_s = tally.sight.blind_s if tally.sight else 0.0
        assert tally.watched_s + (blind_s or 0.0) == pytest.approx(tally.seconds, abs=0.01)


def test_a_crossing_told_while_the_counter_cannot_count_is_kept() -> None:
    kept = book()
    kept_tallies = [*kept.add((), 0.0, replace(FINE, at_s=0.0, moving=0.9)), *kept.add([crossing(0.1)], 0.1)]
    assert [len(tally.crossings) for tally in [*kept_tallies, *kept.close()]] == [1]


def test_a_tally_is_told_once_it_has_settled() -> None:
    kept = book()
    before = [tally for at_s, _ in steady(15.0 + SETTLE_S - 0.1) for tally in kept.add((), at_s)]
    assert before == []
    assert [tally.seq for tally in kept.add((), 15.0 + SETTLE_S)] == [1]


def test_a_crossing_confirmed_after_the_interval_ended_belongs_to_that_interval() -> None:
    first, second = tallies([*steady(16.0), (16.1, [crossing(14.9)])])
    assert [c.at_s for c in first.crossings] == [14.9]
    assert second.crossings == ()


def test_a_crossing_confirmed_very_late_moves_to_the_oldest_open_tally() -> None:
    _, second = tallies([*steady(25.0), (25.1, [crossing(14.9)])])
    assert [c.at_s for c in second.crossings] == [0.0]


def test_crossings_stand_in_time_order_in_their_tally() -> None:
    (only,) = tallies([*steady(5.0), (5.1, [crossing(4.0), crossing(3.0)])])
    assert [c.at_s for c in only.crossings] == [3.0, 4.0]


def test_frames_too_far_apart_watch_nothing_in_between() -> None:
    (only,) = tallies([*steady(5.0), *((9.0 + at_s, c) for at_s, c in steady(1.0))])
    assert only.watched_s == 6.0


def test_a_slow_but_regular_camera_watches_all_the_time() -> None:
    assert tallies(steady(15.0, fps=1.0 / GAP_S))[0].watched_s == 15.0


def test_a_pause_is_told_by_tallies_that_watched_nothing() -> None:
    cut = tallies([*steady(10.0), *((50.0 + at_s, c) for at_s, c in steady(10.0))])
    assert [tally.watched_s for tally in cut] == [10.0, 0.0, 0.0, 10.0]


def test_a_pause_of_days_is_passed_over_and_shows_in_the_times() -> None:
    days_s = 3.0 * 86400.0
    before, after = tallies([*steady(10.0), *((days_s + at_s, c) for at_s, c in steady(10.0))])
    assert after.from_at - before.from_at == timedelta(days=3)
    assert (before.seq, after.seq) == (1, 2)
    assert (before.watched_s, after.watched_s) == (10.0, 10.0)


def test_time_running_backwards_is_not_watched_twice() -> None:
    (only,) = tallies([*steady(5.0), (4.9, ()), (5.0, ()), (5.1, ())])
    assert only.watched_s == 5.1


@pytest.mark.parametrize("frames", [[], [(0.0, ())]], ids=["no frame", "one frame"])
def test_without_time_there_is_no_tally(frames: Frames) -> None:
    assert tallies(frames) == []


def test_a_crossing_on_the_very_border_of_the_last_tally_is_kept() -> None:
    cut = tallies([*steady(14.9), (15.0, [crossing(15.0)])])
    assert sum(len(tally.crossings) for tally in cut) == 1


@st.composite
def watched(draw: st.DrawFn) -> Frames:
    """Frames with short steps, gaps and rare jumps; each confirms crossings of the past few seconds."""
    step = st.floats(0.01, 0.3) | st.floats(0.3, 60.0) | st.just(PAUSE_TOLD_S * 30)
    at_s, frames, mark = 0.0, list[tuple[float, list[Crossing]]](), 1.0
    for gap_s in draw(st.lists(step, max_size=60)):
        at_s += gap_s
        ages_s = draw(st.lists(st.floats(0.0, 8.0), max_size=3))
        found = [crossing(max(0.0, at_s - age_s), length_mm=mark + number) for number, age_s in enumerate(ages_s)]
        mark += len(found)
        frames.append((at_s, found))
    return frames


@given(watched(), st.sampled_from([0.5, 7.0, 15.0, 60.0]))
def test_every_crossing_is_in_exactly_one_tally(frames: Frames, seconds: float) -> None:
    told = sorted(c.length_mm for tally in tallies(frames, seconds) for c in tally.crossings)
    assert told == sorted(c.length_mm for _, crossings in frames for c in crossings)


@given(watched(), st.sampled_from([0.5, 7.0, 15.0, 60.0]))
def test_no_more_is_watched_than_passed(frames: Frames, seconds: float) -> None:
    cut = tallies(frames, seconds)
    passed_s = frames[-1][0] - frames[0][0] if frames else 0.0
    assert sum(tally.watched_s for tally in cut) <= passed_s + 0.001 * len(cut)


@given(watched(), st.sampled_from([0.5, 7.0, 15.0, 60.0]))
def test_tallies_are_numbered_from_one_and_never_overlap(frames: Frames, seconds: float) -> None:
    cut = tallies(frames, seconds)
    assert [tally.seq for tally in cut] == list(range(1, len(cut) + 1))
    assert all(earlier.to_at <= later.from_at for earlier, later in pairwise(cut))


@given(watched())
def test_a_crossing_confirmed_in_time_keeps_its_time(frames: Frames) -> None:
    told = {c.length_mm: tally.up_s + c.at_s for tally in tallies(frames) for c in tally.crossings}
    for at_s, crossings in frames:
        for found in crossings:
            if at_s - found.at_s < SETTLE_S and frames[0][0] <= found.at_s and at_s < PAUSE_TOLD_S:
                assert told[found.length_mm] == pytest.approx(found.at_s, abs=0.002)


def test_a_board_that_learns_the_time_dates_what_follows_and_leaves_what_was_told() -> None:
    book = Book("north", "b1", STARTED_AT, Clock.FREE, 15.0)
    before = [tally for second in range(40) for tally in book.miss(float(second))]
    book.set_clock(STARTED_AT + timedelta(days=300))
    after = [tally for second in range(40, 60) for tally in book.miss(float(second))]
    assert [(tally.clock, tally.up_s) for tally in before] == [(Clock.FREE, 0.0), (Clock.FREE, 15.0)]
    assert [(tally.clock, tally.from_at, tally.up_s) for tally in after] == [
        (Clock.SYNCED, STARTED_AT + timedelta(days=300, seconds=30), 30.0)
    ]


def test_the_seqs_go_on_when_the_time_is_learned() -> None:
    book = Book("north", "b1", STARTED_AT, Clock.FREE, 15.0)
    seqs = [tally.seq for second in range(40) for tally in book.miss(float(second))]
    book.set_clock(STARTED_AT)
    assert seqs + [tally.seq for second in range(40, 90) for tally in book.miss(float(second))] == [1, 2, 3, 4, 5]
