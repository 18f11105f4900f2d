"""Who is told of which notice, when, and why; and what goes into one message."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from telling import DAY, HOUR, KIM, MINUTE, NOW, ROBIN, WATCHERS, ZONE, entry, word

from swapbell_host.alerting.outbox import OpenNotice, Told, Why
from swapbell_host.alerting.policy import Case, Due, Person, Watchers, cases, current, due
from swapbell_host.alerting.posting import posts
from swapbell_host.alerting.schedule import COURSES, FLAPS, NIGHT, SPACING, course, day_of
from swapbell_host.judging.bait import DUE_AHEAD
from swapbell_models.notice import URGENCY, NoticeKind, Urgency

READY, LEFT_OUT, SILENT, TOUCHED = (
    NoticeKind.READY,
    NoticeKind.LEFT_OUT,
    NoticeKind.SILENT,
    NoticeKind.TOUCHED,
)
# Ten in the evening, when Kim is quiet.
NIGHT_AT = NOW + 12 * HOUR


def whom(case: Case, now: datetime) -> list[tuple[str, Why]]:
    return [(each.person.name, each.why) for each in due(case, now)]


def told_first(kind: NoticeKind, at: datetime = NOW, *, taken: bool = True) -> Case:
    of = entry(kind)
    return Case(of, WATCHERS, (word(of, KIM, at, taken=taken),))


def test_every_kind_has_a_course_and_a_call_is_what_asks_to_act() -> None:
    assert set(COURSES) == set(NoticeKind)
    assert {kind for kind in COURSES if course(kind).call} == {
        kind for kind, urgency in URGENCY.items() if urgency is Urgency.ACT
    }


def test_toxic_bait_due_out_is_in_a_round_up_half_a_day_before_and_again_on_the_last_day() -> None:
    assert timedelta(hours=12) + DAY <= DUE_AHEAD
    assert whom(told_first(NoticeKind.DUE_OUT), NOW + 12 * HOUR) == []
    assert whom(told_first(NoticeKind.DUE_OUT), NOW + DAY) == [("Kim", Why.AGAIN)]


def test_a_call_to_swap_is_not_repeated_on_the_day_on_which_the_swap_is_overdue() -> None:
    said_first = [word(entry(READY), person, NOW) for person in (KIM, ROBIN)]
    case = Case(entry(READY), WATCHERS, tuple(said_first))
    assert (whom(case, NOW + DAY), len(whom(case, NOW + 2 * DAY))) == ([], 2)


def test_the_contact_is_told_first() -> None:
    assert whom(Case(entry(READY), WATCHERS), NOW) == [("Kim", Why.FIRST)]


def test_every_address_of_the_house_is_told() -> None:
    assert whom(Case(entry(READY), Watchers((KIM, ROBIN), (), ZONE)), NOW) == [
        ("Kim", Why.FIRST),
        ("Robin", Why.FIRST),
    ]


def test_a_word_that_waits_is_not_begun_anew() -> None:
    assert whom(told_first(READY, taken=False), NOW + MINUTE) == []


def test_a_call_that_nobody_answers_goes_to_the_second_after_two_hours() -> None:
    case = told_first(READY)
    assert ("Robin", Why.BEHIND) not in whom(case, NOW + 2 * HOUR - MINUTE)
    assert ("Robin", Why.BEHIND) in whom(case, NOW + 2 * HOUR)


def test_toxic_bait_left_out_goes_to_the_second_after_one_hour() -> None:
    assert ("Robin", Why.BEHIND) in whom(told_first(LEFT_OUT), NOW + HOUR)


def test_a_fault_that_was_taken_goes_to_nobody_else() -> None:
    assert [name for name, _ in whom(told_first(SILENT), NOW + 5 * DAY)] == ["Kim"]


@pytest.mark.parametrize(
    ("kind", "after"), [(READY, HOUR), (LEFT_OUT, HOUR), (NoticeKind.DUE_OUT, DAY), (SILENT, DAY)]
)
def test_what_does_not_reach_the_first_goes_to_the_second(kind: NoticeKind, after: timedelta) -> None:
    case = told_first(kind, taken=False)
    assert whom(case, NOW + after / 2) == []
    assert whom(case, NOW + after) == [("Robin", Why.BEHIND)]


def test_hours_in_which_the_first_is_quiet_do_not_count_for_an_answer() -> None:
    case = told_first(READY, NOW + 10 * HOUR)  # eight in the evening, an hour before it is quiet
    assert whom(case, NOW + 19 * HOUR) == []
    assert ("Robin", Why.BEHIND) in whom(case, NOW + 21 * HOUR)


def test_a_second_who_is_told_hears_of_it_once_until_the_next_day() -> None:
    case = told_first(READY)
    case = replace(case, told=(*case.told, word(case.entry, ROBIN, NOW + 2 * HOUR, why=Why.BEHIND)))
    assert "Robin" not in [name for name, _ in whom(case, NOW + 3 * HOUR)]


@pytest.mark.parametrize("kind", [kind for kind in NoticeKind if kind is not LEFT_OUT])
def test_nobody_is_told_in_quiet_hours(kind: NoticeKind) -> None:
    assert whom(Case(entry(kind), WATCHERS), NIGHT_AT) == []


def test_toxic_bait_left_out_breaks_quiet_hours_once() -> None:
    assert whom(Case(entry(LEFT_OUT), WATCHERS), NIGHT_AT) == [("Kim", Why.FIRST)]
    assert ("Kim", Why.AGAIN) not in whom(told_first(LEFT_OUT, NIGHT_AT), NIGHT_AT + 4 * HOUR)


def test_a_call_that_is_raised_anew_is_a_reminder_of_the_last_one() -> None:
    earlier, later = entry(LEFT_OUT, 1), entry(LEFT_OUT, 2)
    words = [word(earlier, KIM, NIGHT_AT)]
    (case,) = cases([later], [], words, lambda *_: WATCHERS, NIGHT_AT + 4 * HOUR)
    assert whom(case, NIGHT_AT + 4 * HOUR) == []
    assert whom(case, NIGHT_AT + 12 * HOUR) == [("Kim", Why.AGAIN), ("Robin", Why.BEHIND)]
    (case,) = cases([later], [], words, lambda *_: WATCHERS, NIGHT_AT + DAY)
    assert whom(case, NIGHT_AT + DAY) == [("Kim", Why.FIRST)]


def test_where_nobody_stands_behind_the_first_is_told_again_in_time() -> None:
    case = replace(told_first(READY), watchers=Watchers((KIM,), (), ZONE))
    assert whom(case, NOW + 2 * HOUR - MINUTE) == []
    assert whom(case, NOW + 2 * HOUR) == [("Kim", Why.AGAIN)]


def test_what_lies_on_the_shelf_is_told_to_nobody_until_then_and_then_again() -> None:
    case = told_first(SILENT)
    shelved = replace(case, entry=replace(case.entry, shelved_until=NOW + 2 * HOUR))
    assert whom(shelved, NOW + HOUR) == []
    assert whom(shelved, NOW + 2 * HOUR) == [("Kim", Why.AGAIN)]


def test_what_was_put_off_comes_again_at_its_time_although_the_station_was_named_that_day() -> None:
    of = replace(entry(SILENT), shelved_until=NOW + 2 * HOUR)
    told = [word(of, KIM, NOW)]
    found = due(Case(of, WATCHERS, tuple(told)), NOW + 2 * HOUR)
    assert len(posts(found, told, frozenset(), NOW + 2 * HOUR)) == 1


def test_a_word_by_a_clock_that_was_a_year_ahead_holds_no_reminder_back() -> None:
    of, ahead = entry(LEFT_OUT), NOW + 365 * DAY
    wrong = replace(word(of, KIM, ahead), telling_id=1)
    assert whom(Case(of, WATCHERS, (wrong,)), NOW) == [("Kim", Why.AGAIN), ("Robin", Why.BEHIND)]
    right = [replace(word(of, each, NOW), telling_id=2) for each in (KIM, ROBIN)]
    assert whom(Case(of, WATCHERS, (wrong, *right)), NOW + HOUR) == []
    assert len(whom(Case(of, WATCHERS, (wrong, *right)), NOW + 4 * HOUR)) == 2


def test_a_fault_is_brought_to_mind_after_one_three_and_seven_days() -> None:
    of, days = entry(SILENT), [0]
    said = [word(of, KIM, NOW)]
    for day in range(1, 20):
        if whom(Case(of, WATCHERS, tuple(said)), NOW + day * DAY):
            said.append(word(of, KIM, NOW + day * DAY))
            days.append(day)
    assert days == [0, 1, 4, 11, 18]


def test_news_is_told_once() -> None:
    assert whom(told_first(TOUCHED), NOW + 30 * DAY) == []


def test_ready_holds_the_word_of_touched_at_the_same_station_alone() -> None:
    open_ = [entry(TOUCHED, 1), entry(READY, 2), entry(TOUCHED, 3, "south")]
    assert [each.id for each in current(open_)] == [2, 3]


def flapping(times: int, *told: Told, still: bool = False) -> list[Case]:
    spells = [entry(SILENT, number) for number in range(1, times + 1)]
    now_open = [entry(SILENT, times + 1)] if still else []
    return cases(now_open, spells, told, lambda *_: WATCHERS, NOW)


def test_what_comes_and_goes_seldom_is_told_only_while_it_is_there() -> None:
    assert flapping(FLAPS - 1) == []
    assert [case.flaps for case in flapping(FLAPS - 1, still=True)] == [0]


def test_what_comes_and_goes_often_is_told_although_it_is_over() -> None:
    (case,) = flapping(FLAPS)
    assert (case.flaps, whom(case, NOW)) == (FLAPS, [("Kim", Why.FIRST)])


def test_what_comes_and_goes_is_not_told_anew_with_each_spell() -> None:
    earlier = word(entry(SILENT, 1), KIM, NOW)
    (case,) = flapping(FLAPS + 4, earlier, still=True)
    assert whom(case, NOW + HOUR) == []
    assert whom(case, NOW + DAY) == [("Kim", Why.AGAIN)]


def test_a_warning_of_visitors_is_a_call_where_somebody_is_called_to_swap() -> None:
    warning = entry(NoticeKind.VISITORS, 1)
    alone, elsewhere, here = (
        cases([warning, *others], [], [], lambda *_: WATCHERS, NOW)[0].course.call
        for others in ([], [entry(READY, 2, "south")], [entry(READY, 2)])
    )
    assert (alone, elsewhere, here) == (False, False, True)


def test_a_warning_of_visitors_is_a_call_for_whoever_answered_that_the_swap_is_seen_to() -> None:
    warning, told = entry(NoticeKind.VISITORS, 1), word(entry(READY, 2), KIM, NOW)
    on_the_way, a_day_later, elsewhere = (
        cases([warning], [], [each], lambda *_: WATCHERS, at)[0].course.call
        for each, at in [(told, NOW + HOUR), (told, NOW + DAY), (word(entry(READY, 2, "south"), KIM, NOW), NOW)]
    )
    assert (on_the_way, a_day_later, elsewhere) == (True, False, False)


def test_a_call_never_flaps() -> None:
    spells = [entry(LEFT_OUT, number) for number in range(1, 10)]
    assert cases([], spells, [], lambda *_: WATCHERS, NOW) == []


def dues(*entries: OpenNotice) -> list[Due]:
    return [Due(KIM, Case(each, WATCHERS), Why.FIRST) for each in entries]


def sent(now: datetime, told: list[Told], *entries: OpenNotice, waits: bool = False) -> list[int]:
    found = posts(dues(*entries), told, frozenset({"Kim"} if waits else ()), now)
    return [each.case.entry.id for post in found for each in post.dues]


def test_what_is_due_to_one_person_is_one_message() -> None:
    many = [entry(READY, number, f"s{number}") for number in range(1, 41)]
    (post,) = posts(dues(*many), [], frozenset(), NOW)
    assert len(post.dues) == 40


def test_a_round_up_comes_once_a_day() -> None:
    heard = [word(entry(SILENT, 1, "south"), KIM, NOW - HOUR)]
    assert sent(NOW, heard, entry(SILENT, 2)) == []
    assert sent(NOW + DAY, heard, entry(SILENT, 2)) == [2]


def test_a_round_up_waits_for_the_morning() -> None:
    assert sent(NOW - 5 * HOUR, [], entry(SILENT)) == []  # five
    assert sent(NOW - 4 * HOUR, [], entry(SILENT)) == [1]  # six, when Kim's night ends
    assert sent(NOW + 10 * HOUR, [], entry(SILENT)) == []  # eight in the evening


def test_a_call_takes_the_round_up_along() -> None:
    heard = [word(entry(SILENT, 1, "south"), KIM, NOW - HOUR)]
    assert sent(NOW, heard, entry(READY, 2), entry(SILENT, 3, "west")) == [2, 3]


def test_a_station_is_named_once_a_day_unless_it_calls() -> None:
    heard = [word(entry(TOUCHED), KIM, NOW - HOUR)]
    assert sent(NOW, heard, entry(READY, 2, "west"), entry(SILENT, 3)) == [2]
    assert sent(NOW, heard, entry(READY, 2)) == [2]


def test_calls_of_a_day_are_spaced_ever_wider() -> None:
    heard, at, gaps = list[Told](), NOW, list[timedelta]()
    for number in range(5):
        while not sent(at, heard, entry(READY, number, f"s{number}")):
            at += MINUTE
        gaps.append(at - heard[-1].made_at if heard else timedelta())
        heard.append(word(entry(READY, number, f"s{number}"), KIM, at))
    assert gaps == [timedelta(), *SPACING, SPACING[-1]]


def test_toxic_bait_left_out_waits_for_no_later_spacing() -> None:
    heard = [word(entry(READY, k, f"s{k}"), KIM, NOW + k * MINUTE) for k in range(5)]
    assert sent(NOW + 4 * MINUTE + SPACING[0], heard, entry(LEFT_OUT, 9)) == [9]


def test_a_warning_before_a_swap_waits_for_no_later_spacing() -> None:
    heard = [word(entry(READY, k, f"s{k}"), KIM, NOW + k * MINUTE) for k in range(5)]
    (warning,) = cases([entry(NoticeKind.VISITORS, 9, "s4")], [], heard, lambda *_: WATCHERS, NOW)
    at = NOW + 4 * MINUTE + SPACING[0]
    assert not posts([Due(KIM, warning, Why.FIRST)], heard, frozenset(), at - MINUTE)
    assert posts([Due(KIM, warning, Why.FIRST)], heard, frozenset(), at)


def test_a_call_that_was_put_off_waits_for_no_spacing() -> None:
    of = replace(entry(READY), shelved_until=NOW + HOUR)
    told = [word(of, KIM, NOW), word(entry(READY, 2, "south"), KIM, NOW + 59 * MINUTE)]
    found = due(Case(of, WATCHERS, tuple(told[:1])), NOW + HOUR)
    assert len(posts(found, told, frozenset(), NOW + HOUR)) == 1


def test_what_is_due_joins_a_message_that_waits() -> None:
    heard = [word(entry(READY, 1, "south"), KIM, NOW, taken=False)]
    assert sent(NOW + MINUTE, heard, entry(READY, 2), entry(SILENT, 3, "west"), waits=True) == [2, 3]


@given(st.integers(0, 365 * 24 * 60), st.integers(0, 48 * 60))
def test_a_persons_day_never_goes_back(begun: int, minutes: int) -> None:
    earlier = NOW.astimezone(UTC) + begun * MINUTE
    assert day_of(earlier + minutes * MINUTE, NIGHT, ZONE) >= day_of(earlier, NIGHT, ZONE)


def test_whoever_is_no_person_is_told_everything_at_once() -> None:
    here, heard = Person("here", quiet=None), [word(entry(SILENT, 1), Person("here"), NIGHT_AT)]
    (post,) = posts([Due(here, Case(entry(SILENT, 2), WATCHERS), Why.FIRST)], heard, frozenset(), NIGHT_AT)
    assert len(post.dues) == 1
