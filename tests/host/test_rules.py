"""Which change of a station deserves a word, and that it is said once."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace as retold
from tallies import edges, moment, tallies

from swapbell_host import rules
from swapbell_host.jobs.plan import Role
from swapbell_host.judging.bait import DUE_AHEAD
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.rules import ended, verdict
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.confirmation import Confirm
from swapbell_models.job import Job, Terms
from swapbell_models.message import Health, StationState
from swapbell_models.notice import Notice, NoticeKind, Urgency
from swapbell_models.phase import Phase
from swapbell_models.readiness import Reason, Rule, Step
from swapbell_models.tally import Hindrance, Sight

RULE = Rule()
REST = timedelta(hours=12)
BURST = [100 + 20.0 * k for k in range(12)]
BUSY = [22.0 * k for k in range(41)]
NOW = moment(900)
LONG_AGO = moment(-9e5)


def history(visits_s: list[float], *notices: PastNotice, phase: Phase = Phase.LURING) -> History:
    return History("valley", "gate", phase, tallies(visits_s, edges(900)), None, notices)


def judge(history: History, now: datetime, rule: Rule, listening_since: datetime | None = LONG_AGO) -> list[Notice]:
    """Judge for a host that has been listening for long."""
    return rules.news(verdict(history, now, rule), history, now, rule, listening_since)


def kinds(found: list[Notice]) -> list[NoticeKind]:
    return [notice.kind for notice in found]


def test_quiet_traffic_is_no_news() -> None:
    assert judge(history([400.0, 800.0]), NOW, RULE) == []


def test_a_first_full_window_is_a_heads_up() -> None:
    (told,) = judge(history(BURST), NOW, RULE)
    assert (told.kind, told.urgency, told.raised_at) == (NoticeKind.TOUCHED, Urgency.LOOK, moment(100 + 20 * 9))
    assert told.text.startswith("valley/gate: 12 visits in 5 min reach the rule of 10")


def test_a_confirmed_one_is_the_call_to_swap() -> None:
    (told,) = judge(history(BUSY), NOW, RULE)
    assert (told.kind, told.urgency, told.raised_at) == (NoticeKind.READY, Urgency.ACT, NOW)


def test_the_bare_rule_calls_at_the_first_full_window() -> None:
    assert kinds(judge(history(BURST), NOW, Rule(confirm=Confirm.FIRST))) == [NoticeKind.READY]


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase is not Phase.LURING])
@pytest.mark.parametrize("visits_s", [BURST, BUSY])
def test_only_a_luring_station_is_called_to_the_swap(phase: Phase, visits_s: list[float]) -> None:
    assert judge(history(visits_s, phase=phase), NOW, RULE) == []


def test_a_verdict_is_given_in_every_phase() -> None:
    assert verdict(history(BUSY, phase=Phase.VERIFYING), NOW, RULE).step is Step.READY


@pytest.mark.parametrize(("visits_s", "kind"), [(BURST, NoticeKind.TOUCHED), (BUSY, NoticeKind.READY)])
def test_what_is_open_is_not_raised_again(visits_s: list[float], kind: NoticeKind) -> None:
    assert judge(history(visits_s, PastNotice(kind, moment(-9e5))), NOW, RULE) == []


@pytest.mark.parametrize(
    ("visits_s", "kind", "rest"), [(BURST, NoticeKind.TOUCHED, REST), (BUSY, NoticeKind.READY, timedelta(days=1))]
)
def test_what_was_acknowledged_rests_and_is_then_raised_again(
    visits_s: list[float], kind: NoticeKind, rest: timedelta
) -> None:
    fresh = PastNotice(kind, moment(0), NOW - rest + timedelta(seconds=1))
    rested = PastNotice(kind, moment(0), NOW - rest)
    assert judge(history(visits_s, fresh), NOW, RULE) == []
    assert kinds(judge(history(visits_s, rested), NOW, RULE)) == [kind]


def test_ready_is_raised_while_touched_is_open() -> None:
    assert kinds(judge(history(BUSY, PastNotice(NoticeKind.TOUCHED, moment(0))), NOW, RULE)) == [NoticeKind.READY]


@pytest.mark.parametrize("acknowledged_at", [None, NOW - timedelta(hours=1)])
def test_who_heard_ready_need_not_hear_touched(acknowledged_at: datetime | None) -> None:
    assert judge(history(BURST, PastNotice(NoticeKind.READY, moment(0), acknowledged_at)), NOW, RULE) == []


def test_another_kind_that_is_open_keeps_nothing_back() -> None:
    assert kinds(judge(history(BURST, PastNotice(NoticeKind.SILENT, moment(0))), NOW, RULE)) == [NoticeKind.TOUCHED]


def test_the_same_evidence_makes_the_same_notice() -> None:
    # After a restart in the wrong moment the notice is raised again: the outbox knows it by its name.
    assert judge(history(BURST), NOW, RULE) == judge(history(BURST), NOW + timedelta(seconds=30), RULE)


@pytest.mark.parametrize("phase", Phase)
def test_silence_is_news_where_a_count_is_expected(phase: Phase) -> None:
    told = judge(history(BUSY, phase=phase), NOW + timedelta(minutes=11), RULE)
    expected = phase in {Phase.LURING, Phase.TOXIC, Phase.OVERDUE, Phase.VERIFYING}
    assert kinds(told) == ([NoticeKind.SILENT] if expected else [])


def test_a_station_that_never_counted_is_silent() -> None:
    (told,) = judge(History("valley", "gate", Phase.LURING), NOW, RULE)
    assert (told.kind, told.raised_at) == (NoticeKind.SILENT, NOW)
    assert "no count so far" in told.text


def test_silence_counts_from_when_the_host_began_to_listen() -> None:
    late = NOW + timedelta(hours=5)
    assert judge(history(BUSY), late, RULE, late - timedelta(seconds=600)) == []
    assert kinds(judge(history(BUSY), late, RULE, late - timedelta(seconds=601))) == [NoticeKind.SILENT]


def test_a_host_that_does_not_listen_calls_nobody_silent() -> None:
    assert judge(history(BUSY), NOW + timedelta(hours=5), RULE, None) == []


SILENCE = PastNotice(NoticeKind.SILENT, NOW - timedelta(minutes=20))


@pytest.mark.parametrize("acknowledged_at", [None, NOW + timedelta(minutes=15)])
def test_a_silence_is_told_once_while_it_lasts(acknowledged_at: datetime | None) -> None:
    told = PastNotice(NoticeKind.SILENT, NOW + timedelta(minutes=11), acknowledged_at)
    assert judge(history(BUSY, told), NOW + timedelta(minutes=60), RULE) == []
    assert ended(history(BUSY, told)) == []


@pytest.mark.parametrize("acknowledged_at", [None, NOW - timedelta(minutes=15)])
def test_a_second_silence_is_told_too(acknowledged_at: datetime | None) -> None:
    told = replace(SILENCE, acknowledged_at=acknowledged_at)
    assert kinds(judge(history(BUSY, told), NOW + timedelta(minutes=11), RULE)) == [NoticeKind.SILENT]


def test_an_open_silence_ends_when_counts_come_again() -> None:
    assert ended(history([], SILENCE)) == [SILENCE]


def hindered(from_s: float, blind_s: float = 10.0) -> History:
    """Return the history of a station whose counter could not count for so much of each tally since `from_s`."""
    sight = Sight(blind_s=blind_s, hindrance=Hindrance.SHAKE)
    told = tuple(
        retold(each, watched_s=15.0 - blind_s, sight=sight) if each.up_s >= from_s else each
        for each in tallies([], edges(900))
    )
    return replace(history([]), tallies=told)


@pytest.mark.parametrize("phase", Phase)
def test_a_counter_that_cannot_count_for_a_whole_look_is_news_where_a_count_is_expected(phase: Phase) -> None:
    told = judge(replace(hindered(0.0), phase=phase), NOW, RULE)
    expected = phase in {Phase.LURING, Phase.TOXIC, Phase.OVERDUE, Phase.VERIFYING}
    assert kinds(told) == ([NoticeKind.BLIND] if expected else [])
    assert all("the camera shakes" in each.text for each in told)


def test_a_counter_that_cannot_count_for_a_while_is_unjudged_and_no_news() -> None:
    assert judge(hindered(300.0), NOW, RULE) == []
    assert verdict(hindered(300.0), NOW, RULE).reason is Reason.BLIND


def test_a_blindness_is_told_once_and_ends_when_the_counter_counts_again() -> None:
    told = PastNotice(NoticeKind.BLIND, NOW - timedelta(minutes=1))
    assert judge(replace(hindered(0.0), notices=(told,)), NOW, RULE) == []
    assert ended(replace(hindered(0.0), notices=(told,))) == []
    assert ended(history([], told)) == [told]


def test_at_night_a_counter_that_sees_nothing_is_no_news() -> None:
    # At the tests' hour, 1 o'clock UTC in February, it is deep night there.
    night = replace(hindered(0.0), place=Place(51.5, 0.0, Hemisphere.NORTH))
    assert verdict(night, NOW, RULE).reason is Reason.DARK
    assert judge(night, NOW, RULE) == []


def test_the_ledger_s_place_goes_before_the_configuration_s() -> None:
    night, noon = Place(51.5, 0.0, Hemisphere.NORTH), Place(-43.5, 172.6, Hemisphere.SOUTH)
    assert verdict(history([]), NOW, Rule(place=night)).reason is Reason.DARK
    assert verdict(replace(history([]), place=noon), NOW, Rule(place=night)).reason is None


def test_what_a_person_acknowledged_does_not_end_again() -> None:
    assert ended(history([], replace(SILENCE, acknowledged_at=NOW))) == []


@pytest.mark.parametrize("kind", [NoticeKind.TOUCHED, NoticeKind.READY])
def test_only_a_silence_ends_by_itself(kind: NoticeKind) -> None:
    assert ended(history(BURST, PastNotice(kind, moment(0)))) == []


@pytest.mark.parametrize("kind", [NoticeKind.TOUCHED, NoticeKind.READY])
def test_a_call_to_swap_ends_when_the_station_lures_no_more(kind: NoticeKind) -> None:
    past = PastNotice(kind, moment(0))
    assert ended(history(BUSY, past, phase=Phase.TOXIC)) == [past]


def test_a_control_station_is_never_called_to_the_swap() -> None:
    assert judge(replace(history(BUSY), role=Role.CONTROL), NOW, RULE) == []


TOXIC_FOR = timedelta(days=3)


def with_bait_out(since: timedelta, *notices: PastNotice) -> History:
    """Return the history of a station whose toxic bait has been out for so long, and must come out after 3 days."""
    job = Job(NOW - since, Phase.TOXIC, swapped_at=NOW - since, terms=Terms(toxic=TOXIC_FOR)).at(NOW)
    return replace(history([], *notices, phase=job.phase), job=job)


@pytest.mark.parametrize(
    ("since", "said"),
    [
        (TOXIC_FOR - DUE_AHEAD - timedelta(seconds=1), []),
        (TOXIC_FOR - DUE_AHEAD, [NoticeKind.DUE_OUT]),
        (TOXIC_FOR - timedelta(seconds=1), [NoticeKind.DUE_OUT]),
        (TOXIC_FOR, [NoticeKind.LEFT_OUT]),
    ],
)
def test_toxic_bait_is_told_ahead_of_when_it_is_due_out_and_when_it_is_left_out(
    since: timedelta, said: list[NoticeKind]
) -> None:
    assert kinds(judge(with_bait_out(since), NOW, RULE)) == said


def test_bait_left_out_asks_to_act_and_says_since_when_and_what_ends_it() -> None:
    (told,) = judge(with_bait_out(TOXIC_FOR), NOW, RULE)
    assert told.urgency is Urgency.ACT
    assert told.text == (
        f"valley/gate: toxic bait has been out since {NOW - TOXIC_FOR:%Y-%m-%d %H:%M} UTC and was due out by "
        f"{NOW:%Y-%m-%d %H:%M} UTC. Take it out now, weigh it and log that it is withdrawn, or lost if "
        "nobody can find it: until then this comes again."
    )


def test_bait_left_out_comes_again_soon_after_each_acknowledgement() -> None:
    fresh = PastNotice(NoticeKind.LEFT_OUT, moment(0), NOW - rules.NAG + timedelta(seconds=1))
    rested = PastNotice(NoticeKind.LEFT_OUT, moment(0), NOW - rules.NAG)
    assert judge(with_bait_out(TOXIC_FOR, fresh), NOW, RULE) == []
    assert kinds(judge(with_bait_out(TOXIC_FOR, rested), NOW, RULE)) == [NoticeKind.LEFT_OUT]


def test_bait_left_out_is_told_although_somebody_knew_that_it_was_due() -> None:
    known = PastNotice(NoticeKind.DUE_OUT, moment(0), NOW - timedelta(minutes=1))
    assert kinds(judge(with_bait_out(TOXIC_FOR, known), NOW, RULE)) == [NoticeKind.LEFT_OUT]


@pytest.mark.parametrize("kind", [NoticeKind.DUE_OUT, NoticeKind.LEFT_OUT])
def test_only_the_logged_withdrawal_ends_what_is_told_of_bait(kind: NoticeKind) -> None:
    past = PastNotice(kind, moment(0))
    out = with_bait_out(TOXIC_FOR, past)
    assert ended(out) == []
    assert ended(replace(out, phase=Phase.WITHDRAWN)) == [past]


def test_what_ends_a_notice_is_said_for_every_kind() -> None:
    assert set(rules.ENDINGS) == set(NoticeKind)


def test_listening_for_long_makes_no_fresh_count_silent() -> None:
    assert judge(history([]), NOW, RULE, LONG_AGO) == []


def test_silence_tells_the_stations_last_word() -> None:
    lost = replace(history(BUSY), health=Health(station="gate", state=StationState.LOST))
    (told,) = judge(lost, NOW + timedelta(minutes=11), RULE)
    assert "no count since 2026-02-03 01:15 UTC (its last word: lost)" in told.text


def test_silence_tells_of_a_clock_that_is_ahead() -> None:
    ahead = replace(history([]), tallies=(), ahead_at=NOW + timedelta(minutes=42))
    (told,) = judge(ahead, NOW, RULE)
    assert "no count of the present so far. Counts come dated 42 min ahead of this host's clock" in told.text


@pytest.mark.parametrize(("state", "reason"), [(StationState.BLIND, Reason.BLIND), (StationState.WATCHING, None)])
def test_a_blind_station_is_not_judged(state: StationState, reason: Reason | None) -> None:
    seen = replace(history([]), health=Health(station="gate", state=state))
    assert verdict(seen, NOW, RULE).reason is reason


@settings(deadline=None, max_examples=30)
@given(st.lists(st.floats(0, 3599), max_size=150))
def test_over_an_hour_each_kind_is_said_at_most_once_and_touched_never_after_ready(visits_s: list[float]) -> None:
    told, past = tallies(visits_s, edges(3600)), list[PastNotice]()
    for n in range(1, len(told), 4):
        seen = History("valley", "gate", Phase.LURING, told[:n], None, tuple(past))
        past += [PastNotice(notice.kind, notice.raised_at) for notice in judge(seen, told[n - 1].to_at, RULE)]
    said = [notice.kind for notice in past]
    assert said in ([], [NoticeKind.TOUCHED], [NoticeKind.READY], [NoticeKind.TOUCHED, NoticeKind.READY])


@pytest.mark.parametrize("kind", [NoticeKind.SILENT, NoticeKind.BLIND, NoticeKind.SUPPLY, NoticeKind.HOLE])
def test_what_is_told_of_a_counter_ends_when_nobody_asks_it_to_count(kind: NoticeKind) -> None:
    told = PastNotice(kind, moment(0))
    silent = replace(history([], told), tallies=())
    assert ended(silent) == []
    assert ended(replace(silent, phase=Phase.CLOSED)) == [told]


@pytest.mark.parametrize("acknowledged_at", [None, NOW - timedelta(hours=23)])
def test_who_heard_that_a_swap_is_overdue_need_not_hear_that_it_is_ready(acknowledged_at: datetime | None) -> None:
    overdue = PastNotice(NoticeKind.SWAP_OVERDUE, moment(-9e5), acknowledged_at)
    assert judge(history(BUSY, overdue), NOW, RULE) == []


def test_who_heard_a_forecast_need_not_hear_a_touch_but_the_call() -> None:
    forecast = PastNotice(NoticeKind.FORECAST, moment(-9e4))
    assert judge(history(BURST, forecast), NOW, RULE) == []
    assert kinds(judge(history(BUSY, forecast), NOW, RULE)) == [NoticeKind.READY]


def test_what_a_station_is_short_of_is_told_beside_its_traffic() -> None:
    low = Health(station="gate", state=StationState.WATCHING, battery_percent=5.0)
    found = kinds(judge(replace(history(BUSY), health=low), NOW, RULE))
    assert found == [NoticeKind.READY, NoticeKind.SUPPLY]


def twofold(*notices: PastNotice) -> History:
    """Return what is known of a name under which two counters report."""
    one = tallies(BUSY, edges(900))
    return replace(history([], *notices), tallies=(*one, *(retold(tally, boot="b2") for tally in one)))


def test_two_counters_under_one_name_are_told_of_and_nobody_is_called_to_swap() -> None:
    (told,) = judge(twofold(), NOW, RULE)
    assert (told.kind, told.urgency) == (NoticeKind.TWOFOLD, Urgency.LOOK)
    assert "two counters report under this name" in told.text


def test_a_name_that_is_one_counters_again_ends_the_notice() -> None:
    told = PastNotice(NoticeKind.TWOFOLD, NOW - timedelta(minutes=1))
    assert ended(twofold(told)) == []
    assert ended(history([], told)) == [told]


def lured_at(at: datetime, *notices: PastNotice) -> History:
    """Return what is known of a station that draws many, its lure fresh since a moment."""
    return replace(history(BUSY, *notices), job=Job(at, Phase.LURING, at))


def test_fresh_lure_answers_a_call_and_ends_it() -> None:
    called = PastNotice(NoticeKind.READY, NOW - timedelta(minutes=30))
    answered = lured_at(NOW - timedelta(minutes=5), called)
    assert ended(answered) == [called]
    assert kinds(judge(answered, NOW, RULE)) == []


def test_traffic_since_the_fresh_lure_calls_again() -> None:
    called = PastNotice(NoticeKind.READY, NOW - timedelta(days=3))
    again = lured_at(NOW - timedelta(days=1), called)
    assert ended(again) == [called]
    assert kinds(judge(again, NOW, RULE)) == [NoticeKind.READY]
