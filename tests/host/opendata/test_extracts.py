"""What can be had of the ledger, row by row."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from exported import MADE_AT, at, body, control, log, plan, record
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard import NOON_AT, TALLY_S

from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.jobs.entry import Act
from swapbell_host.jobs.plan import Station, located
from swapbell_host.opendata import extracts, reading
from swapbell_host.opendata.choosing import Choice, choose
from swapbell_host.opendata.extracts import Extract
from swapbell_host.opendata.table import Cell
from swapbell_models.fault import Mistake
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Direction, Hindrance, Sight, Tally

ALL = Choice()
Take = Callable[..., Extract]


@contextmanager
def opened(name: str) -> Iterator[Store]:
    with open_existing(ledger_url(name)) as store:
        yield store


def rows(name: str, take: Take, choice: Choice = ALL, **how: object) -> list[dict[str, Cell]]:
    with opened(name) as store:
        found = take(store, choose(store, choice), **how)
        return [dict(zip(found.table.names, row, strict=True)) for piece in found.rows for row in piece]


def column(name: str, take: Take, wanted: str, choice: Choice = ALL, **how: object) -> list[Cell]:
    return [row[wanted] for row in rows(name, take, choice, **how)]


@pytest.fixture
def name(tmp_path: Path) -> str:
    found = str(tmp_path / "ledger.sqlite")
    plan(found)
    return found


def test_a_stretch_without_a_tally_is_not_there(name: str) -> None:
    record(name, [at(0.0, 1), at(900.0, 2)])
    assert column(name, extracts.counts, "from_utc") == [NOON_AT, NOON_AT + timedelta(minutes=15)]


def test_stretches_in_which_a_span_begins_or_ends_are_there_whole(name: str) -> None:
    record(name, [at(TALLY_S * k, k + 1, body(1.0)) for k in range(720)])
    asked = Choice(begin=f"{NOON_AT + timedelta(minutes=92)}", end=f"{NOON_AT + timedelta(minutes=122)}")
    found = rows(name, extracts.counts, asked, step=timedelta(hours=1))
    assert [(row["from_utc"], row["visits"], row["watched"]) for row in found] == [
        (NOON_AT + timedelta(hours=hour), 240, "whole") for hour in (1, 2)
    ]


def test_a_stretch_that_was_watched_in_part_says_so(name: str) -> None:
    record(name, [at(TALLY_S * k, k + 1) for k in range(20)] + [at(300.0, 21)])
    assert column(name, extracts.counts, "watched") == ["whole", "partly"]


def test_where_nothing_was_watched_no_count_is_zero(name: str) -> None:
    record(name, [at(0.0, 1, watched_s=0.0), at(300.0, 2)])
    assert column(name, extracts.counts, "visits") == [None, 0]
    assert column(name, extracts.counts, "watched") == ["not", "partly"]
    assert column(name, extracts.tallies, "in_wasp") == [None, 0]


def test_what_was_counted_while_unwatched_is_kept(name: str) -> None:
    record(name, [at(0.0, 1, body(1.0), watched_s=0.0)])
    assert column(name, extracts.counts, "visits") == [1]
    assert column(name, extracts.tallies, "in_wasp") == [1]


def twice(name: str) -> None:
    """Let two counters of one name count for five minutes, and one of them for five more."""
    record(name, [at(TALLY_S * k, k + 1, body(1.0)) for k in range(40)])
    record(name, [at(TALLY_S * k, k + 1, body(1.0), boot="b2") for k in range(20)])


def test_what_two_counters_claim_is_no_number_but_a_gap(name: str) -> None:
    twice(name)
    assert column(name, extracts.counts, "visits") == [None, 20]
    assert column(name, extracts.counts, "watched") == ["not", "whole"]
    assert column(name, extracts.counts, "twofold_s") == [300.0, 0.0]


def test_what_two_counters_sent_is_there_as_it_came_each_with_its_boot(name: str) -> None:
    twice(name)
    found = column(name, extracts.tallies, "boot")
    assert (found.count("b1"), found.count("b2")) == (40, 20)
    assert set(column(name, extracts.tallies, "in_wasp")) == {1}
    assert len(rows(name, extracts.crossings)) == 60


# Where the noon of the ledger is midnight.
FAR_SIDE = located(-42.9, 179.0)


def test_at_night_nobody_watches_and_what_was_seen_stays(tmp_path: Path) -> None:
    name = str(tmp_path / "night.sqlite")
    plan(name, Station("orchard", "north", MADE_AT, place=FAR_SIDE))
    record(name, [at(0.0, 1, body(1.0)), at(300.0, 2)])
    assert column(name, extracts.counts, "visits") == [1, None]
    assert column(name, extracts.counts, "watched_s") == [0.0, 0.0]
    assert column(name, extracts.counts, "dark_s") == [300.0, 300.0]


def test_a_raw_tally_of_the_night_says_what_its_counter_said_and_that_it_was_dark(tmp_path: Path) -> None:
    name = str(tmp_path / "night.sqlite")
    plan(name, Station("orchard", "north", MADE_AT, place=FAR_SIDE))
    record(name, [at(0.0, 1), at(43200.0, 2)])
    assert column(name, extracts.tallies, "watched_s") == [15.0, 15.0]
    assert column(name, extracts.tallies, "foraging_light") == ["no", "yes"]


def test_without_a_place_no_time_is_dark(tmp_path: Path) -> None:
    name = str(tmp_path / "nowhere.sqlite")
    plan(name, Station("orchard", "north", MADE_AT))
    record(name, [at(0.0, 1)])
    assert column(name, extracts.counts, "dark_s") == [None]
    assert column(name, extracts.counts, "watched_s") == [15.0]
    assert column(name, extracts.tallies, "foraging_light") == [None]


def test_it_is_dark_where_a_station_hung_then(name: str) -> None:
    log(name, act=Act.MOVED, at=NOON_AT + timedelta(minutes=10), place=FAR_SIDE)
    record(name, [at(0.0, 1), at(1200.0, 2)])
    assert column(name, extracts.counts, "dark_s") == [0.0, 300.0]


def test_local_times_follow_the_clock_when_it_is_set_back(name: str) -> None:
    # Summer time ends in New Zealand on the first Sunday in April at 03:00 (Time Act 1974, Time Order 2007).
    change_at = datetime(2026, 4, 4, 14, 0, tzinfo=NOON_AT.tzinfo)
    record(name, [at((change_at - NOON_AT).total_seconds() + s, n) for n, s in enumerate((-60.0, 60.0), 1)])
    assert column(name, extracts.tallies, "from_local") == ["2026-04-05T02:59:00+13:00", "2026-04-05T02:01:00+12:00"]


def test_each_row_says_where_the_job_stood(name: str) -> None:
    log(name, act=Act.LURED, at=NOON_AT - timedelta(hours=1))
    log(name, act=Act.SWAPPED, at=NOON_AT + timedelta(minutes=10), mass_g=85.0)
    record(name, [at(0.0, 1), at(900.0, 2), at(4 * 86_400.0, 3), at(-5 * 86_400.0, 1, boot="b0")])
    assert column(name, extracts.tallies, "phase") == [None, "luring", "toxic", "overdue"]


def test_a_struck_out_entry_moves_no_phase(name: str) -> None:
    log(name, act=Act.LURED, at=NOON_AT - timedelta(hours=1))
    log(name, act=Act.STRUCK_OUT, at=NOON_AT - timedelta(hours=1), corrects=1)
    record(name, [at(0.0, 1)])
    assert column(name, extracts.tallies, "phase") == ["planned"]


def test_the_time_asked_for_is_by_the_sites_clock(name: str) -> None:
    record(name, [at(0.0, 1, body(1.0), body(14.0)), at(15.0, 2, body(1.0))])
    choice = Choice(begin="2026-03-15 01:00:10", end="2026-03-15 01:00:16")  # 13 h before UTC
    assert column(name, extracts.crossings, "at_utc", choice) == [
        NOON_AT + timedelta(seconds=14),
    ]
    assert column(name, extracts.tallies, "seq", choice) == [2]


def test_counts_of_an_hour_are_the_sum_of_its_stretches(name: str) -> None:
    record(name, [at(60.0 * k, k + 1, body(1.0)) for k in range(90)])
    assert column(name, extracts.counts, "visits", step=timedelta(hours=1)) == [60, 30]


@pytest.mark.parametrize("minutes", [0, 7, -5])
def test_a_step_that_is_no_multiple_of_five_minutes_is_refused(name: str, minutes: int) -> None:
    with pytest.raises(Mistake, match="multiple of 5 min"):
        rows(name, extracts.counts, step=timedelta(minutes=minutes))


def test_a_free_clock_that_was_set_later_is_repaired(name: str) -> None:
    record(name, [at(0.0, 1, clock=Clock.FREE, from_at=MADE_AT), at(15.0, 2)])
    assert column(name, extracts.tallies, "clock") == ["repaired", "synced"]
    assert column(name, extracts.tallies, "from_utc") == [NOON_AT, NOON_AT + timedelta(seconds=15)]


def test_a_time_that_nobody_knows_is_empty(name: str) -> None:
    record(name, [at(0.0, 1, body(2.0), clock=Clock.FREE)])
    for take, when in ((extracts.tallies, "from_utc"), (extracts.crossings, "at_utc")):
        (row,) = rows(name, take)
        assert (row[when], row["phase"], row["clock"]) == (None, None, "unknown")


def test_what_nobody_can_place_in_a_span_is_left_out_and_said(name: str) -> None:
    record(name, [at(0.0, 1, clock=Clock.FREE)])
    choice = Choice(begin="2026-01-01")
    assert rows(name, extracts.tallies, choice) == []
    with opened(name) as store:
        assert extracts.tallies(store, choose(store, choice)).remarks == (
            "1 tallies came from counters that never knew the time of day; they are left out",
        )


def test_a_crossing_has_all_that_the_counter_told(name: str) -> None:
    record(name, [at(0.0, 1, body(2.0, Direction.OUT, SizeClass.LARGE))])
    (row,) = rows(name, extracts.crossings)
    told = row["direction"], row["size"], row["length_mm"], row["confidence"], row["boot"], row["seq"], row["n"]
    assert told == ("out", "large", 13.5, 0.875, "b1", 1, 0)


def test_a_tally_has_how_well_the_counter_saw(name: str) -> None:
    record(name, [at(0.0, 1, sight=Sight(light=99.0, dropped=0, hindrance=Hindrance.SHAKE))])
    (row,) = rows(name, extracts.tallies)
    assert (row["light"], row["dropped"], row["hindrance"], row["noise"]) == (99.0, 0, "shake", None)


def test_one_station_can_be_asked_for(tmp_path: Path) -> None:
    name = str(tmp_path / "ledger.sqlite")
    plan(name, Station("orchard", "north", MADE_AT), control())
    record(name, {"north": [at(0.0, 1)], "far": [at(0.0, 1, station="far")]})
    assert column(name, extracts.counts, "role", Choice(station="far")) == ["control"]
    assert column(name, extracts.counts, "station") == ["far", "north"]


@pytest.mark.parametrize(
    ("choice", "words"),
    [
        (Choice(site="nowhere"), "nowhere"),
        (Choice(station="nobody"), "nobody"),
        (Choice(begin="soon"), "soon"),
        (Choice(begin="2026-03-02", end="2026-03-01"), "not after it begins"),
    ],
)
def test_what_cannot_be_chosen_is_refused_in_one_line(name: str, choice: Choice, words: str) -> None:
    with pytest.raises(Mistake, match=words) as refusal, opened(name) as store:
        choose(store, choice)
    assert "\n" not in str(refusal.value)


def test_boots_come_in_the_order_in_which_they_started(name: str) -> None:
    record(
        name,
        [at(300.0, 1, boot="later", up_s=0.0), at(0.0, 1, boot="early"), at(0.0, 1, boot="adrift", clock=Clock.FREE)],
    )
    assert column(name, extracts.tallies, "boot") == ["early", "later", "adrift"]


@pytest.mark.parametrize("piece", [1, 2, 3, 7])
def test_pieces_join_without_a_seam(name: str, piece: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "PIECE_TALLIES", piece)
    monkeypatch.setattr(extracts, "PIECE", piece * timedelta(minutes=5))
    record(name, [at(300.0 * k, k + 1, body(1.0)) for k in range(6)])
    assert column(name, extracts.tallies, "seq") == [1, 2, 3, 4, 5, 6]
    assert column(name, extracts.counts, "visits") == [1] * 6


BODIES = st.builds(body, st.floats(0.0, TALLY_S), st.sampled_from(Direction), st.sampled_from(SizeClass))
TALLIES = st.lists(
    st.tuples(st.lists(BODIES, max_size=3), st.floats(0.0, TALLY_S).map(lambda s: round(s, 3)), st.booleans()),
    min_size=1,
    max_size=12,
)


@given(TALLIES, st.sampled_from([5, 15, 60]))
@settings(max_examples=25)
def test_no_visit_and_no_watched_second_is_lost_or_made_up(
    told: list[tuple[list[object], float, bool]], minutes: int
) -> None:
    with TemporaryDirectory() as folder:
        name = str(Path(folder) / "ledger.sqlite")
        plan(name)
        sent = [
            at(97.0 * n, n + 1, *bodies, watched_s=watched_s)
            for n, (bodies, watched_s, kept) in enumerate(told)
            if kept
        ]
        record(name, sent)
        counts = rows(name, extracts.counts, step=timedelta(minutes=minutes))
        crossings, tallies = rows(name, extracts.crossings), rows(name, extracts.tallies)
    assert len(tallies) == len(sent)
    assert len(crossings) == sum(len(each.crossings) for each in sent)
    assert total(counts, "visits") == total(tallies, "in_wasp") == visits(sent)
    watched_s = sum(each.watched_s for each in sent)
    assert total(counts, "watched_s") == pytest.approx(watched_s, abs=1e-4)
    assert total(tallies, "watched_s") == pytest.approx(watched_s)


def visits(sent: list[Tally]) -> int:
    return sum(len(each.visits_at()) for each in sent)


def total(found: list[dict[str, Cell]], name: str) -> float:
    values = [row[name] for row in found]
    return sum(value for value in values if isinstance(value, int | float))


def test_either_database_gives_the_same(ledger_name: str) -> None:
    sent = [
        at(0.0, 1, body(1.0), body(2.0, Direction.OUT), clock=Clock.FREE, from_at=MADE_AT),
        at(15.0, 2, body(3.0), sight=Sight(light=80.0)),
        at(900.0, 3, watched_s=0.0),
        at(0.0, 1, boot="adrift", clock=Clock.FREE),
    ]
    record(ledger_name, sent)
    assert column(ledger_name, extracts.counts, "visits") == [2, None]
    assert column(ledger_name, extracts.tallies, "clock") == ["repaired", "synced", "synced", "unknown"]
    assert column(ledger_name, extracts.crossings, "at_utc") == [NOON_AT + timedelta(seconds=s) for s in (1, 2, 18)]
    span = Choice(begin="2026-03-14 12:00:02", end="2026-03-14 12:10")
    assert column(ledger_name, extracts.crossings, "direction", span) == ["out", "in"]
    assert column(ledger_name, extracts.counts, "from_utc", span) == [NOON_AT]
