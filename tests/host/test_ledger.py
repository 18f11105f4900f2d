import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import UNSET, UnsetType
from msgspec.structs import replace
from orchard import NOON_AT, SITE, STATION, STATIONS, TALLY_S, tally, topic_of, visits
from sqlalchemy import create_engine, func, select

from swapbell_host.alerting.outbox import Why
from swapbell_host.books.ledger import Ledger, ReceiptTo, Recorded
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.schema import METADATA, crossings, health, rejected, tallies
from swapbell_host.books.sequence import Hole
from swapbell_host.books.servicebook import STALE, Servicebook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.intake import SEQ_MAX, Arrival
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Station
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.fault import Breakdown
from swapbell_models.message import Health, Held, Receipt, StationState, Subject, encode
from swapbell_models.notice import Notice, NoticeKind, Urgency
from swapbell_models.phase import Phase
from swapbell_models.tally import Clock, Hindrance, Sight, Tally

NOW_AT = NOON_AT + timedelta(minutes=30)


@contextmanager
def opened(name: str, now: datetime = NOW_AT) -> Iterator[Ledger]:
    with Ledger(ledger_url(name), STATIONS, now) as ledger:
        yield ledger


@pytest.fixture
def ledger(ledger_name: str) -> Iterator[Ledger]:
    with opened(ledger_name) as ledger:
        yield ledger


def arrival(message: Tally | Health) -> Arrival:
    subject = Subject.TALLY if isinstance(message, Tally) else Subject.HEALTH
    return Arrival(topic_of(subject, message.station), encode(message))


def record(ledger: Ledger, *messages: Tally | Health, at: datetime = NOW_AT) -> Recorded:
    return ledger.record([arrival(message) for message in messages], at)


def through(recorded: Recorded) -> dict[str, int]:
    return {receipt.boot: receipt.through for _, _, receipt in recorded.receipts}


def kept(ledger: Ledger, now: datetime = NOW_AT) -> list[Tally]:
    return list(ledger.history(SITE, STATION, now).tallies)


def rows(name: str, table: str) -> int:
    engine = create_engine(ledger_url(name))
    with engine.connect() as connection:
        count = connection.execute(select(func.count()).select_from(METADATA.tables[table])).scalar_one()
    engine.dispose()
    return count


def column(name: str, which: object) -> list[object]:
    engine = create_engine(ledger_url(name))
    with engine.connect() as connection:
        found = list(connection.execute(select(which)).scalars())  # type: ignore[call-overload]
    engine.dispose()
    return found


def test_a_batch_is_there_after_a_restart(ledger_name: str) -> None:
    told = [tally(1, crossings=visits(0.25, 3.5)), tally(2, watched_s=7.125)]
    with opened(ledger_name) as ledger:
        record(ledger, *told)
    with opened(ledger_name) as ledger:
        assert kept(ledger) == told


SEEN = Sight(light=97.5, detail=21.0, noise=2.25, shake_mm=0.5, moving=0.125, dropped=3, blind_s=4.0)


@pytest.mark.parametrize(
    "sight", [SEEN, replace(SEEN, hindrance=Hindrance.MOVING), Sight(blind_s=0.0), Sight(), UNSET]
)
def test_what_a_counter_says_of_its_sight_is_there_after_a_restart(
    ledger_name: str, sight: Sight | UnsetType
) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1, sight=sight))
    with opened(ledger_name) as ledger:
        assert kept(ledger) == [tally(1, sight=sight)]


def test_how_sure_a_counter_is_of_a_crossing_is_there_after_a_restart(ledger_name: str) -> None:
    sure, unknown = visits(1.0, 2.0)
    told = tally(1, crossings=(replace(sure, confidence=0.75), unknown))
    with opened(ledger_name) as ledger:
        record(ledger, told)
    with opened(ledger_name) as ledger:
        assert kept(ledger) == [told]


def test_a_tally_sent_again_with_the_same_sight_is_no_clash(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1, sight=SEEN))
    with opened(ledger_name) as ledger:
        assert record(ledger, tally(1, sight=SEEN)).rejected == 0


def test_a_receipt_covers_what_is_written_down(ledger: Ledger) -> None:
    assert through(record(ledger, tally(1), tally(2), tally(4))) == {"b1": 2}


def test_each_boot_has_its_own_receipt(ledger: Ledger) -> None:
    assert through(record(ledger, tally(1), tally(1, boot="b2"))) == {"b1": 1, "b2": 1}


def test_a_tally_that_came_before_is_not_written_twice(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1), tally(1))
        record(ledger, tally(1))
    assert (rows(ledger_name, "tallies"), rows(ledger_name, "rejected")) == (1, 0)


def test_a_tally_that_came_before_is_answered_again(ledger: Ledger) -> None:
    record(ledger, tally(1), tally(2))
    assert through(record(ledger, tally(1))) == {"b1": 2}


def test_a_receipt_survives_a_restart(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1), tally(2), tally(4))
    with opened(ledger_name) as ledger:
        assert through(record(ledger, tally(3))) == {"b1": 4}


def test_seqs_may_run_backwards(ledger: Ledger) -> None:
    record(ledger, tally(3), tally(2))
    assert through(record(ledger, tally(1))) == {"b1": 3}


def test_two_stations_of_one_name_are_noticed(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1))
        assert record(ledger, tally(1, crossings=visits(1.0))).rejected == 1
        assert kept(ledger) == [tally(1)]
    assert "two stations may share one name" in str(column(ledger_name, rejected.c.reason)[0])


def test_two_stations_of_one_name_are_noticed_in_one_batch(ledger: Ledger) -> None:
    assert record(ledger, tally(1), tally(1, crossings=visits(1.0))).rejected == 1


def test_what_is_rejected_is_kept_with_its_reason(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), b"\xff\x00<tally/>")], NOW_AT)
    assert column(ledger_name, rejected.c.payload) == [b"\xff\x00<tally/>"]


@pytest.mark.parametrize("clock", ["\\u0000", "\\ud800", "\\u001b[2J", "x" * 10_000])
def test_a_reason_may_quote_anything(ledger_name: str, clock: str) -> None:
    payload = encode(tally(1)).replace(b"synced", clock.encode())
    with opened(ledger_name) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), payload)], NOW_AT)
    reason = str(column(ledger_name, rejected.c.reason)[0])
    assert reason.isprintable()
    assert len(reason) <= 500


def test_the_same_bad_message_again_is_one_row(ledger_name: str) -> None:
    bad = Arrival(topic_of(Subject.TALLY), b"<tally/>")
    with opened(ledger_name) as ledger:
        ledger.record([bad, bad], NOW_AT)
        ledger.record([bad], NOW_AT)
    assert rows(ledger_name, "rejected") == 1


def test_ten_megabytes_are_noted_but_not_kept(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), b"x" * 10_000_000)], NOW_AT)
    assert column(ledger_name, rejected.c.payload_bytes) == [10_000_000]
    assert column(ledger_name, rejected.c.payload) == [b"x" * 1024]


def test_a_receipt_covers_what_was_rejected_but_kept(ledger_name: str) -> None:
    strange = encode(tally(2)).replace(b"synced", b"sundial")
    with opened(ledger_name) as ledger:
        record(ledger, tally(1))
        assert through(ledger.record([Arrival(topic_of(Subject.TALLY), strange)], NOW_AT)) == {"b1": 2}
    with opened(ledger_name) as ledger:
        assert through(record(ledger, tally(3))) == {"b1": 3}


AHEAD = tally(1, start_at=NOW_AT + timedelta(minutes=42))


def test_what_is_dated_ahead_is_kept_and_judged_when_its_time_has_come(ledger_name: str) -> None:
    later_at = NOW_AT + timedelta(minutes=43)
    with opened(ledger_name) as ledger:
        assert through(record(ledger, AHEAD)) == {"b1": 1}
        assert kept(ledger) == []
        assert ledger.history(SITE, STATION, NOW_AT).ahead_at == AHEAD.to_at
        assert kept(ledger, later_at) == [AHEAD]
    assert (rows(ledger_name, "tallies"), rows(ledger_name, "rejected")) == (1, 0)
    with opened(ledger_name, later_at) as ledger:
        assert kept(ledger, later_at) == [AHEAD]


def test_what_is_dated_ahead_hides_no_present(ledger_name: str) -> None:
    now = NOON_AT + timedelta(days=3)
    with opened(ledger_name) as ledger:
        record(ledger, tally(1), tally(2, start_at=NOON_AT + timedelta(days=300)))
        assert kept(ledger, now) == [tally(1)]


def health_of(*oldest: Held, state: StationState = StationState.WATCHING) -> Health:
    return Health(station=STATION, state=state, oldest=oldest)


def test_what_the_spool_lost_is_not_waited_for(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1), tally(5))
        assert through(record(ledger, health_of(Held(boot="b1", seq=5)))) == {"b1": 5}
    with opened(ledger_name) as ledger:
        assert through(record(ledger, tally(6))) == {"b1": 6}


def test_what_was_thought_lost_is_taken_when_it_comes(ledger: Ledger) -> None:
    record(ledger, health_of(Held(boot="b1", seq=3)))
    record(ledger, tally(2))
    assert kept(ledger) == [tally(2)]


def test_holes_are_listed(ledger: Ledger) -> None:
    record(ledger, tally(1), tally(4), tally(8), health_of(Held(boot="b1", seq=3)))
    assert ledger.holes(SITE, STATION) == [Hole("b1", 2, 2, True), Hole("b1", 3, 3, False), Hole("b1", 5, 7, False)]


def test_a_tail_that_the_spool_dropped_is_a_hole(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, tally(1), health_of(Held(boot="b1", seq=8, last=7)))
    with opened(ledger_name) as ledger:
        assert ledger.holes(SITE, STATION) == [Hole("b1", 2, 7, True)]


def test_a_tail_that_the_spool_still_holds_is_awaited(ledger: Ledger) -> None:
    record(ledger, tally(1), health_of(Held(boot="b1", seq=2, last=7)))
    assert ledger.holes(SITE, STATION) == [Hole("b1", 2, 7, False)]


@pytest.mark.parametrize(("seq", "last"), [(2, SEQ_MAX), (SEQ_MAX, SEQ_MAX), (SEQ_MAX, 0)])
def test_a_spool_that_claims_to_be_half_a_year_ahead_is_not_believed(ledger: Ledger, seq: int, last: int) -> None:
    assert through(record(ledger, tally(1), health_of(Held(boot="b1", seq=seq, last=last)))) == {"b1": 1}
    assert ledger.holes(SITE, STATION) == []


def test_a_strange_message_that_claims_to_be_half_a_year_ahead_is_not_believed(ledger_name: str) -> None:
    strange = Arrival(topic_of(Subject.TALLY), b'{"boot": "b1", "seq": 2000000000}', retained=True)
    with opened(ledger_name) as ledger:
        record(ledger, tally(1))
        ledger.record([strange], NOW_AT)
        assert ledger.holes(SITE, STATION) == []


def test_a_station_says_the_same_in_one_row(ledger_name: str) -> None:
    words = [StationState.WATCHING, StationState.WATCHING, StationState.BLIND, StationState.WATCHING]
    with opened(ledger_name) as ledger:
        for state in words:
            record(ledger, health_of(state=state))
    assert column(ledger_name, health.c.state) == ["watching", "blind", "watching"]


def test_the_last_word_survives_a_restart(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, health_of(), health_of(state=StationState.LOST))
    with opened(ledger_name) as ledger:
        assert ledger.history(SITE, STATION, NOW_AT).health == health_of(state=StationState.LOST)


def test_a_retained_word_that_is_known_is_no_news(ledger_name: str) -> None:
    retained = Arrival(topic_of(Subject.HEALTH), encode(health_of()), retained=True)
    with opened(ledger_name) as ledger:
        record(ledger, health_of())
        ledger.record([retained], NOW_AT + timedelta(hours=1))
    assert column(ledger_name, health.c.last_at) == [NOW_AT]


def test_a_free_clock_is_set_right_at_reading_and_kept_as_it_came(ledger_name: str) -> None:
    spring_at = NOON_AT - timedelta(days=300)
    with opened(ledger_name) as ledger:
        record(ledger, tally(1, start_at=spring_at, clock=Clock.FREE))
        assert kept(ledger) == []
        record(ledger, tally(2))
        assert [each.from_at for each in kept(ledger)] == [NOON_AT, NOON_AT + timedelta(seconds=TALLY_S)]
    assert column(ledger_name, tallies.c.from_at) == [spring_at, NOON_AT + timedelta(seconds=TALLY_S)]


def test_a_boot_that_learnt_the_time_before_a_restart_still_knows_it(ledger_name: str) -> None:
    hours_later_at = NOW_AT + timedelta(hours=3)
    with opened(ledger_name) as ledger:
        record(ledger, tally(1), tally(1, boot="b2"))
    with opened(ledger_name, hours_later_at) as ledger:
        seq = 1 + int(3 * 3600 / TALLY_S)
        record(ledger, tally(seq, start_at=NOON_AT - timedelta(days=300), clock=Clock.FREE), at=hours_later_at)
        assert kept(ledger, hours_later_at)[-1].from_at == NOON_AT + timedelta(hours=3)


def test_only_the_last_hour_is_judged_and_always_the_last_tally(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        record(ledger, *[tally(seq) for seq in range(1, 11)])
        assert kept(ledger, NOON_AT + timedelta(hours=1, seconds=7 * TALLY_S)) == [tally(8), tally(9), tally(10)]
    with opened(ledger_name, NOON_AT + timedelta(days=9)) as ledger:
        assert kept(ledger, NOON_AT + timedelta(days=9)) == [tally(10)]


def test_as_much_is_judged_as_the_rule_looks_at(sqlite_ledger: str) -> None:
    now, told = NOON_AT + timedelta(hours=2), [tally(1), tally(2)]
    for _ in ("at once", "after a restart"):
        with Ledger(ledger_url(sqlite_ledger), STATIONS, now, kept=timedelta(hours=3)) as ledger:
            record(ledger, *told)
            assert kept(ledger, now) == told


def test_a_batch_that_fails_leaves_nothing(ledger_name: str) -> None:
    with opened(ledger_name) as first, opened(ledger_name) as second:
        record(second, tally(3, crossings=visits(1.0)))
        record(first, tally(1))
        with pytest.raises(Breakdown, match="another host writes to it"):
            record(second, tally(2, crossings=visits(1.0)), tally(1))
    assert (rows(ledger_name, "tallies"), rows(ledger_name, "crossings")) == (2, 1)


NOTICE = Notice(SITE, STATION, NoticeKind.READY, Urgency.ACT, NOON_AT, "Time to swap.")


def test_a_notice_is_raised_once(ledger: Ledger) -> None:
    assert ledger.notebook.raise_notice(NOTICE, NOW_AT)
    assert not ledger.notebook.raise_notice(NOTICE, NOW_AT)


def test_a_notice_is_open_until_somebody_acknowledges_it(ledger_name: str) -> None:
    with opened(ledger_name) as ledger:
        ledger.notebook.raise_notice(NOTICE, NOW_AT)
        ledger.tellings.put("Kim", {1: Why.FIRST}, NOW_AT, NOW_AT)
        ledger.tellings.taken(1, NOW_AT)
    with opened(ledger_name) as ledger:
        (still_open,) = ledger.notebook.open_notices()
        assert (still_open.notice, still_open.told_at, still_open.times_told) == (NOTICE, NOW_AT, 1)
        assert ledger.notebook.acknowledge(1, NOW_AT, "Kim")
        assert not ledger.notebook.acknowledge(1, NOW_AT, "Kim")
        assert ledger.notebook.open_notices() == []


def test_a_notice_that_ended_is_neither_open_nor_acknowledged(ledger: Ledger) -> None:
    ledger.notebook.raise_notice(NOTICE, NOW_AT)
    assert ledger.notebook.end(1, NOW_AT)
    assert not ledger.notebook.acknowledge(1, NOW_AT)
    assert ledger.notebook.open_notices() == []
    assert ledger.history(SITE, STATION, NOW_AT).notices == ()
    assert [past.ended_at for past in ledger.notebook.ended_notices(NOON_AT)] == [NOW_AT]


def test_history_knows_what_was_raised_and_acknowledged(ledger: Ledger) -> None:
    ledger.notebook.raise_notice(NOTICE, NOW_AT)
    assert [past.acknowledged_at for past in ledger.history(SITE, STATION, NOW_AT).notices] == [None]
    ledger.notebook.acknowledge(1, NOW_AT)
    assert [past.acknowledged_at for past in ledger.history(SITE, STATION, NOW_AT).notices] == [NOW_AT]


def test_an_acknowledgement_by_another_program_is_seen_within_a_second(ledger_name: str) -> None:
    with opened(ledger_name) as host, opened(ledger_name) as other:
        host.notebook.raise_notice(NOTICE, NOW_AT)
        host.history(SITE, STATION, NOW_AT)
        other.notebook.acknowledge(1, NOW_AT)
        second_later = host.history(SITE, STATION, NOW_AT + timedelta(seconds=1))
    assert second_later.notices[0].acknowledged_at == NOW_AT


def test_a_station_stands_in_the_phase_that_the_person_states(sqlite_ledger: str) -> None:
    with Ledger(ledger_url(sqlite_ledger), {(SITE, STATION): Phase.TOXIC}, NOW_AT) as ledger:
        assert ledger.history(SITE, STATION, NOW_AT).phase is Phase.TOXIC


@given(
    batches=st.lists(st.lists(st.integers(1, 12), max_size=8), max_size=6),
    restarts=st.sets(st.integers(0, 5)),
)
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_each_tally_is_kept_exactly_once(
    blank_ledger: Path, tmp_path_factory: pytest.TempPathFactory, batches: list[list[int]], restarts: set[int]
) -> None:
    name = str(shutil.copy(blank_ledger, tmp_path_factory.mktemp("ledger") / "ledger.sqlite"))
    ledger = Ledger(ledger_url(name), STATIONS, NOW_AT)
    for number, seqs in enumerate(batches):
        record(ledger, *[tally(seq, crossings=visits(1.0)) for seq in seqs])
        if number in restarts:
            ledger = Ledger(ledger_url(name), STATIONS, NOW_AT)
    came = {seq for seqs in batches for seq in seqs}
    assert [each.seq for each in kept(ledger)] == sorted(came)
    assert rows(name, crossings.name) == len(came)


def test_a_station_that_is_added_to_the_plan_is_admitted_within_a_second(ledger_name: str) -> None:
    url = ledger_url(ledger_name)
    with Ledger(url, STATIONS, NOON_AT) as ledger, open_existing(url, writing=True) as store:
        told = arrival(tally(1, station="east"))
        assert ledger.record([told], NOON_AT).rejected == 1
        assert not ledger.admit(NOON_AT)
        Planbook(store).add_station(Station(SITE, "east", NOON_AT))
        assert ledger.admit(NOON_AT + STALE)
        assert not ledger.admit(NOON_AT + STALE)
        assert ledger.record([told], NOON_AT).receipts == (ReceiptTo(SITE, "east", Receipt(boot="b1", through=1)),)
        assert ledger.history(SITE, "east", NOON_AT + STALE).phase is Phase.PLANNED


def test_a_station_is_judged_by_the_sun_of_the_place_that_its_plan_tells(ledger_name: str) -> None:
    url, here = ledger_url(ledger_name), Place(-42.9, 147.3, Hemisphere.SOUTH)
    with Ledger(url, STATIONS, NOON_AT) as ledger, open_existing(url, writing=True) as store:
        Planbook(store).add_station(Station(SITE, "east", NOON_AT, place=here))
        assert ledger.admit(NOON_AT + STALE)
        assert ledger.history(SITE, "east", NOON_AT + STALE).place == here
        assert ledger.history(SITE, STATION, NOON_AT + STALE).place is None


def test_a_station_is_judged_by_the_phase_that_its_log_tells(ledger_name: str) -> None:
    url = ledger_url(ledger_name)
    with Ledger(url, STATIONS, NOON_AT) as ledger, open_existing(url, writing=True) as store:
        draft = Draft(site=SITE, station=STATION, act=Act.SWAPPED, at=NOON_AT, by="Kim")
        Servicebook(store).add(draft, NOON_AT)
        assert ledger.history(SITE, STATION, NOON_AT + STALE).phase is Phase.TOXIC
        assert ledger.history(SITE, STATION, NOON_AT + timedelta(days=3)).phase is Phase.OVERDUE
