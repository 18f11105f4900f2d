"""What needs a person: every station once, in one order, toxic bait that was left out before all else."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace as retold
from tallies import edges, moment, tallies

from swapbell_host import rules
from swapbell_host.board import Seen
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Role, Station
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.needs import RANK, Call, Case, Need
from swapbell_host.tasks import AHEAD, Task, task, tasks
from swapbell_models.job import Job
from swapbell_models.notice import Notice, NoticeKind, notice
from swapbell_models.phase import Event, Phase
from swapbell_models.readiness import Reason, Rule, Step, Verdict
from swapbell_models.sitewide import SiteVerdict, assess_site
from swapbell_models.tally import Hindrance, Sight
from swapbell_models.traffic import Window

NOW = moment(900)
PLANNED_AT = NOW - timedelta(days=60)
BUSY = [22.0 * k for k in range(41)]
BURST = [100 + 20.0 * k for k in range(12)]

# The ways that lead a job into each phase.
WAYS = {
    Phase.PLANNED: (),
    Phase.LURING: (Event.LURED,),
    Phase.TOXIC: (Event.LURED, Event.SWAPPED),
    Phase.WITHDRAWN: (Event.LURED, Event.SWAPPED, Event.WITHDRAWN),
    Phase.VERIFYING: (Event.LURED, Event.SWAPPED, Event.WITHDRAWN, Event.DISPOSED, Event.RELURED),
    Phase.CLOSED: (Event.LURED, Event.CLOSED),
    Phase.ABANDONED: (Event.GIVEN_UP,),
}


def station(name: str = "north", role: Role = Role.BAIT) -> Station:
    return Station("orchard", name, PLANNED_AT, role)


def job(phase: Phase, ago: timedelta) -> Job:
    """Return a job that came into a phase so long ago, each step of it then."""
    made = Job(PLANNED_AT)
    for event in WAYS[phase]:
        made = made.after(event, NOW - ago)
    return made.at(NOW)


def seen(visits_s: list[float], *notices: PastNotice, sight: Sight | None = None) -> Seen:
    history = History("orchard", "north", Phase.LURING, tallies(visits_s, edges(900)), None, notices)
    return Seen(history, rules.verdict(history, NOW, Rule()), NOW)


def told(kind: NoticeKind, words: str = "as it was told") -> Notice:
    return notice("orchard", "north", kind, NOW - timedelta(hours=1), words)


def luring(*notices: Notice, look: Seen | None = None, role: Role = Role.BAIT) -> Task:
    return task(Case(station(role=role), job(Phase.LURING, timedelta(hours=5)), look, notices), NOW)


def needs(found: Task) -> list[Need]:
    return [call.need for call in found.calls]


moments_ago = st.timedeltas(timedelta(), timedelta(days=40))
kinds = st.frozensets(st.sampled_from(NoticeKind))
looks = st.sampled_from([None, seen([]), seen(BURST), seen(BUSY)])


@st.composite
def cases(draw: st.DrawFn) -> list[Case]:
    names = draw(st.lists(st.integers(0, 10**6).map(str), max_size=12, unique=True))
    return [
        Case(
            station(name, draw(st.sampled_from(Role))),
            job(draw(st.sampled_from(list(WAYS))), draw(moments_ago)),
            draw(looks),
            tuple(told(kind) for kind in draw(kinds)),
            draw(kinds),
        )
        for name in names
    ]


@given(cases())
def test_no_station_is_lost_and_none_comes_twice(known: list[Case]) -> None:
    assert sorted(each.station.key for each in tasks(known, NOW)) == sorted(case.station.key for case in known)


@given(cases(), st.randoms(use_true_random=False))
def test_the_order_is_one_whatever_order_they_came_in(known: list[Case], random: Random) -> None:
    found = tasks(known, NOW)
    random.shuffle(known)
    assert tasks(known, NOW) == found
    assert all(one.order < next_one.order for one, next_one in pairwise(found))


@given(cases())
def test_toxic_bait_left_out_comes_before_all_else(known: list[Case]) -> None:
    overdue = {case.station.key for case in known if case.job.phase is Phase.OVERDUE}
    first = tasks(known, NOW)[: len(overdue)]
    assert {each.station.key for each in first} == overdue
    assert all(each.first.need is Need.LEFT_OUT for each in first)


@given(cases())
def test_every_station_has_a_reason_in_words(known: list[Case]) -> None:
    assert all(call.words for each in tasks(known, NOW) for call in each.calls)


@given(cases())
def test_what_a_station_needs_stands_in_the_same_order(known: list[Case]) -> None:
    for each in tasks(known, NOW):
        assert [RANK[need] for need in needs(each)] == sorted(RANK[need] for need in needs(each))


@given(cases())
def test_nothing_is_needed_only_where_nothing_else_is(known: list[Case]) -> None:
    for each in tasks(known, NOW):
        assert each.idle == (needs(each) in [[Need.NOTHING], [Need.ENDED]])


@given(cases())
def test_a_control_station_is_never_to_be_swapped_by_its_own_counts(known: list[Case]) -> None:
    bare = [Case(station(str(n), Role.CONTROL), each.job, each.seen) for n, each in enumerate(known)]
    assert not any(Need.SWAP in needs(each) for each in tasks(bare, NOW))


def test_the_longest_overdue_comes_first() -> None:
    late, later = (Case(station(name), job(Phase.TOXIC, timedelta(days=days))) for name, days in (("a", 4), ("b", 6)))
    found = tasks([late, later], NOW)
    assert [each.station.name for each in found] == ["b", "a"]
    assert found[0].first.by_at == NOW - timedelta(days=3)


def test_a_confirmed_rule_calls_to_swap_since_it_was_reached() -> None:
    found = luring(look=seen(BUSY))
    assert found.first.need is Need.SWAP
    assert found.first.since_at is not None
    assert found.first.since_at < NOW


def test_a_call_to_swap_outlives_the_traffic_until_the_swap_is_logged() -> None:
    ready = PastNotice(NoticeKind.READY, NOW - timedelta(hours=3), NOW - timedelta(hours=2))
    found = luring(look=seen([], ready))
    assert (found.first.need, found.first.since_at) == (Need.SWAP, NOW - timedelta(hours=3))
    swapped = task(Case(station(), job(Phase.TOXIC, timedelta(minutes=1)), seen([], ready)), NOW)
    assert needs(swapped) == [Need.NOTHING]


@pytest.mark.parametrize("kind", [NoticeKind.READY, NoticeKind.SWAP_OVERDUE])
def test_a_call_to_swap_is_answered_by_fresh_lure_until_the_rule_is_reached_again(kind: NoticeKind) -> None:
    refreshed = job(Phase.LURING, timedelta(hours=5)).after(Event.REFRESHED, NOW - timedelta(minutes=30))
    past = PastNotice(kind, NOW - timedelta(hours=1))
    assert Need.SWAP not in needs(task(Case(station(), refreshed, seen([], past), (told(kind),)), NOW))
    assert needs(task(Case(station(), refreshed, seen(BUSY, past), (told(kind),)), NOW))[0] is Need.SWAP


BEES = Entry(
    site="orchard", station="north", act=Act.SEEN, at=NOW - timedelta(hours=2), by="Kim", id=4,
    logged_at=NOW, non_targets="3 honey bees in the lure",
)  # fmt: skip
SEEN = "3 honey bees in the lure (logged 2 h ago by Kim): what visits the lure takes toxic bait, too; see its label"


def test_nobody_is_called_to_swap_where_others_were_counted() -> None:
    found = luring(told(NoticeKind.VISITORS), look=seen(BUSY))
    assert needs(found) == [Need.LOOK_FIRST, Need.VISITORS]
    assert found.first.words == (
        "other visitors were warned of: look who they are before anything is swapped. By its counts: the rule is "
        "reached and confirmed"
    )


@pytest.mark.parametrize(
    ("notices", "look"),
    [
        ((), seen(BUSY)),
        ((), seen([], PastNotice(NoticeKind.READY, NOW - timedelta(hours=3)))),
        ((told(NoticeKind.READY),), None),
        ((told(NoticeKind.SWAP_OVERDUE),), seen(BUSY)),
    ],
)
def test_nobody_is_called_to_swap_where_bees_were_seen(notices: tuple[Notice, ...], look: Seen | None) -> None:
    case = Case(station(), job(Phase.LURING, timedelta(hours=5)), look, notices, sighting=BEES)
    found = task(case, NOW)
    assert needs(found) == [Need.LOOK_FIRST]
    assert found.first.words.startswith(f"{SEEN}. By its counts: ")


def test_who_was_seen_is_not_said_again_by_its_notice() -> None:
    warned = notice("orchard", "north", NoticeKind.VISITORS, BEES.at, "do not swap: 3 honey bees")
    other = notice("orchard", "north", NoticeKind.VISITORS, NOW, "30 large ones")
    case = Case(station(), job(Phase.LURING, timedelta(hours=5)), seen(BUSY), (warned,), sighting=BEES)
    assert needs(task(case, NOW)) == [Need.LOOK_FIRST]
    assert "other visitors" not in task(case, NOW).first.words
    both = task(replace(case, notices=(other,)), NOW)
    assert needs(both) == [Need.LOOK_FIRST, Need.VISITORS]
    assert "other visitors were warned of" in both.first.words


def site_of(*counts: int) -> SiteVerdict:
    windows = [tuple(Window(NOW, NOW + timedelta(minutes=5), each, 300.0) for _ in range(3)) for each in counts]
    return assess_site([Verdict(Step.QUIET, windows=each) for each in windows], Rule())


_silent = History("orchard", "north", Phase.LURING)
UNHEARD = Seen(_silent, rules.verdict(_silent, NOW, Rule()), NOW)


def in_site(look: Seen, site: SiteVerdict) -> Task:
    return task(Case(station(), job(Phase.LURING, timedelta(hours=5)), look, site=site), NOW)


def test_a_station_that_is_ready_before_its_site_is_called_and_told_how_the_site_stands() -> None:
    found = in_site(seen(BUSY), site_of(14, 4, 5, 2))
    assert needs(found) == [Need.SWAP]
    assert found.first.words == (
        "the rule is reached and confirmed. The site as a whole is building: a mean of 6.2, 6.2, 6.2 visits in each "
        "5 min, oldest first (rule: 10) over its 4 stations. Its stations share nests: better swap them together, "
        "once it is ready"
    )


@pytest.mark.parametrize(
    ("look", "own"),
    [
        (seen(BUSY), "the rule is reached and confirmed"),
        (seen(BURST), "its site is ready, although fewer come here"),
        (UNHEARD, "its site is ready, although nobody can say how many come here"),
        (seen([]), "its site is ready, although fewer come here"),
    ],
)
def test_every_station_is_swapped_with_a_site_that_is_ready(look: Seen, own: str) -> None:
    found = in_site(look, site_of(14, 12))
    assert needs(found)[0] is Need.SWAP
    assert found.first.words == (
        f"{own}. The site as a whole is ready: a mean of 13.0, 13.0, 13.0 visits in each 5 min, oldest first (rule: "
        "10) over its 2 "
        "stations. Swap its stations together, but none that others visit"
    )


def test_who_was_called_to_swap_stays_called_when_the_site_falls_back() -> None:
    found = in_site(seen(BURST, PastNotice(NoticeKind.READY, NOW - timedelta(hours=3))), site_of(9, 9))
    assert needs(found) == [Need.SWAP]
    assert "The site as a whole is now building: a mean of 9.0" in found.first.words


def test_a_touch_is_a_heads_up_and_no_call() -> None:
    assert needs(luring(look=seen(BURST))) == [Need.COMING]


def test_toxic_bait_that_comes_out_soon_is_told_half_a_day_ahead() -> None:
    ago = timedelta(days=3) - AHEAD
    due = task(Case(station(), job(Phase.TOXIC, ago)), NOW)
    early = task(Case(station(), job(Phase.TOXIC, ago - timedelta(minutes=1))), NOW)
    assert (needs(due), needs(early)) == ([Need.DUE_OUT], [Need.NOTHING])
    assert early.first.by_at == NOW + AHEAD + timedelta(minutes=1)


def test_after_the_withdrawal_the_rest_is_disposed_of_and_fresh_lure_hung() -> None:
    found = task(Case(station(), job(Phase.WITHDRAWN, timedelta(hours=1))), NOW)
    assert needs(found) == [Need.DISPOSE, Need.VERIFY]


@pytest.mark.parametrize(
    ("days", "day"), [(3.9, None), (4.0, 4), (4.9, 4), (5.0, None), (7.5, 7), (14.2, 14), (28.1, 28)]
)
def test_the_traffic_is_looked_at_on_its_days_after_the_swap(days: float, day: int | None) -> None:
    swapped_at = NOW - timedelta(days=days)
    lured = Job(PLANNED_AT).after(Event.LURED, swapped_at).after(Event.SWAPPED, swapped_at)
    verifying = lured.after(Event.WITHDRAWN, swapped_at).after(Event.DISPOSED, swapped_at)
    found = task(Case(station(), verifying.after(Event.RELURED, NOW - timedelta(hours=1))), NOW)
    words = [call.words for call in found.calls if call.words.startswith("day ")]
    assert [each.split()[1] for each in words] == ([] if day is None else [str(day)])


def test_stale_lure_is_refreshed() -> None:
    assert needs(task(Case(station(), job(Phase.LURING, timedelta(days=4))), NOW)) == [Need.REFRESH]


def test_a_planned_station_is_to_be_hung_out() -> None:
    assert needs(task(Case(station(), Job(PLANNED_AT)), NOW)) == [Need.HANG]


@pytest.mark.parametrize("phase", [Phase.CLOSED, Phase.ABANDONED])
def test_an_ended_job_needs_nobody(phase: Phase) -> None:
    assert needs(task(Case(station(), job(phase, timedelta(days=1))), NOW)) == [Need.ENDED]


def lost(days: float) -> Case:
    swapped = job(Phase.TOXIC, timedelta(days=40))
    gone = swapped.after(Event.LOST, NOW - timedelta(days=days))
    return Case(station(), gone.at(NOW))


def test_lost_bait_is_looked_for_as_long_as_its_site_would_be_watched() -> None:
    found = task(lost(27.9), NOW)
    assert (needs(found), found.first.since_at) == ([Need.LOST], NOW - timedelta(days=27.9))
    assert "toxic bait was logged as lost here: look for it" in found.first.words
    later = task(lost(28.0), NOW)
    assert needs(later) == [Need.ENDED]
    assert later.first.words == "the job is abandoned; its toxic bait was never found"


def test_a_silent_counter_is_to_be_seen_to_since_its_last_count() -> None:
    late = Seen(seen([]).history, rules.verdict(seen([]).history, NOW + timedelta(hours=2), Rule()), NOW)
    found = luring(look=late)
    assert (found.first.need, found.first.since_at) == (Need.COUNTER, NOW)


def test_what_the_look_says_is_not_said_again_by_its_notice() -> None:
    late = Seen(seen([]).history, rules.verdict(seen([]).history, NOW + timedelta(hours=2), Rule()), NOW)
    assert len(luring(told(NoticeKind.SILENT), look=late).calls) == 1


def test_of_the_same_need_the_earlier_deadline_comes_first_whoever_has_waited_longer() -> None:
    early = Call(Need.DISPOSE, "early", NOW, NOW)
    late = Call(Need.DISPOSE, "late", NOW + timedelta(hours=1), NOW - timedelta(hours=9))
    assert early.order < late.order < Call(Need.DISPOSE, "some day").order


def test_a_counter_that_could_not_count_for_a_moment_calls_nobody() -> None:
    sight = Sight(blind_s=15.0, hindrance=Hindrance.SHAKE)
    told_of = tallies([], edges(900))
    shaken = (*told_of[:40], *(retold(each, watched_s=0.0, sight=sight) for each in told_of[40:]))
    history = History("orchard", "north", Phase.LURING, shaken)
    look = Seen(history, rules.verdict(history, NOW, Rule()), NOW)
    assert look.verdict.reason is Reason.BLIND
    assert needs(luring(look=look)) == [Need.NOTHING]


def test_a_counter_that_cannot_count_says_why() -> None:
    sight = Sight(blind_s=15.0, hindrance=Hindrance.SHAKE)
    shaken = tuple(retold(each, watched_s=0.0, sight=sight) for each in tallies([], edges(900)))
    history = History("orchard", "north", Phase.LURING, shaken)
    found = luring(look=Seen(history, rules.verdict(history, NOW, Rule()), NOW))
    assert found.first.need is Need.COUNTER
    assert "the camera shakes" in found.first.words


def test_a_planned_station_that_is_silent_is_no_counter_to_see_to() -> None:
    history = History("orchard", "north", Phase.PLANNED)
    look = Seen(history, rules.verdict(history, NOW, Rule()), NOW)
    assert needs(task(Case(station(), Job(PLANNED_AT), look), NOW)) == [Need.HANG]


def test_a_notice_speaks_where_the_look_does_not() -> None:
    found = luring(told(NoticeKind.SUPPLY, "the battery is at 5 %"))
    assert (found.first.need, found.first.words) == (Need.COUNTER, "the battery is at 5 %")
    assert found.first.since_at == NOW - timedelta(hours=1)


def test_what_holds_an_earlier_word_stands_alone() -> None:
    found = luring(told(NoticeKind.SWAP_OVERDUE), told(NoticeKind.TOUCHED), look=seen(BUSY))
    assert [call.kind for call in found.calls] == [NoticeKind.SWAP_OVERDUE]


def test_what_is_shelved_calls_nobody() -> None:
    hidden = Case(
        station(), job(Phase.LURING, timedelta(hours=5)), seen(BURST), shelved=frozenset({NoticeKind.TOUCHED})
    )
    assert needs(task(hidden, NOW)) == [Need.NOTHING]


def test_toxic_bait_left_out_cannot_be_shelved_from_sight() -> None:
    hidden = Case(station(), job(Phase.TOXIC, timedelta(days=4)), shelved=frozenset(NoticeKind))
    assert task(hidden, NOW).first.need is Need.LEFT_OUT


@pytest.mark.parametrize("phase", [Phase.TOXIC, Phase.VERIFYING, Phase.CLOSED])
def test_a_notice_that_the_log_answered_calls_nobody(phase: Phase) -> None:
    answered = Case(station(), job(phase, timedelta(hours=1)), notices=(told(NoticeKind.READY),))
    assert task(answered, NOW).idle


def test_every_kind_of_notice_names_a_need() -> None:
    for kind in NoticeKind:
        assert luring(told(kind)).first.words
