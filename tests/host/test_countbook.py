"""Counts by five minutes are what the raw tallies come to, however they came and whatever is summed already."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import count
from unittest import mock

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from orchard import NOON_AT, SITE, STATION, STATIONS, tally, topic_of, visits
from sqlalchemy import create_engine, func, select, update

from swapbell_host.books import counting, reckoning
from swapbell_host.books.countbook import STRETCH, Countbook
from swapbell_host.books.counttables import counts
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.schema import from_us, to_us
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.count import Count, floor
from swapbell_host.intake import Arrival
from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.message import Subject, encode
from swapbell_models.phase import Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

NOW_AT = NOON_AT + timedelta(days=1)
LONG_AGO_AT, FAR_AHEAD_AT = NOON_AT - timedelta(days=400), NOON_AT + timedelta(days=400)
STRETCH_US = 300_000_000
# Where the sun of an invented orchard stands high at noon UTC.
PLACE = Place(48.0, 2.0, Hemisphere.NORTH)
_numbers = count()


def record(ledger: Ledger, *told: Tally) -> None:
    ledger.record([Arrival(topic_of(Subject.TALLY, each.station), encode(each)) for each in told], NOW_AT)


def shown(name: str, station: str = STATION, step: timedelta = STRETCH) -> list[Count]:
    with open_existing(ledger_url(name)) as store:
        return Countbook(store).span(SITE, station, LONG_AGO_AT, FAR_AHEAD_AT, step)


def counted(name: str, *told: Tally, step: timedelta = STRETCH) -> list[Count]:
    with Ledger(ledger_url(name), STATIONS, NOON_AT) as ledger:
        record(ledger, *told)
    return shown(name, step=step)


def stored(name: str) -> int:
    engine = create_engine(ledger_url(name))
    with engine.connect() as connection:
        found = connection.execute(select(func.count()).select_from(counts)).scalar_one()
    engine.dispose()
    return found


@contextmanager
def summing(enough: int, piece: int) -> Iterator[None]:
    """Sum after so many tallies, so many at a time."""
    with mock.patch.object(reckoning, "ENOUGH", enough), mock.patch.object(counting, "PIECE", piece):
        yield


def whole_us(seconds: float) -> int:
    return int(seconds * 1e6 + 0.5)


def begun_us(each: Tally, told: Iterable[Tally]) -> int | None:
    """Return when a tally truly began; nothing where nobody knows."""
    if each.clock is Clock.SYNCED:
        return to_us(each.from_at)
    synced = [other for other in told if other.boot == each.boot and other.clock is Clock.SYNCED]
    if not synced:
        return None
    first = min(synced, key=lambda other: other.seq)
    return to_us(first.from_at - timedelta(seconds=first.up_s)) + whole_us(each.up_s)


@dataclass
class Part:
    """What one boot's tallies come to in five minutes, and from when to when they lie there."""

    sums: list[int] = field(default_factory=lambda: [0] * 6)
    first: int = 1 << 62
    last: int = 0


def reference(told: Sequence[Tally], step: timedelta = STRETCH) -> list[Count]:
    """Return the counts, tally by tally and crossing by crossing."""
    parts: defaultdict[int, defaultdict[str, Part]] = defaultdict(lambda: defaultdict(Part))
    kinds = [(Direction.IN, SizeClass.WASP), (Direction.OUT, SizeClass.WASP)]
    kinds += [(Direction.IN, SizeClass.SMALL), (Direction.IN, SizeClass.LARGE)]
    for each in told:
        begun = begun_us(each, told)
        if begun is None:
            continue
        length = max(whole_us(each.seconds), 1)
        for stretch in range(begun // STRETCH_US, (begun + length - 1) // STRETCH_US + 1):
            first, last = max(begun, stretch * STRETCH_US), min(begun + length, (stretch + 1) * STRETCH_US)
            part = parts[stretch][each.boot]
            part.first, part.last = min(part.first, first), max(part.last, last)
            part.sums[4] += last - first
            part.sums[5] += whole_us(each.watched_s) * (last - first) // length
        for crossing in each.crossings:
            at = begun + min(whole_us(crossing.at_s), length - 1)
            for n, kind in enumerate(kinds):
                parts[at // STRETCH_US][each.boot].sums[n] += (crossing.direction, crossing.size) == kind
    return _stepped({stretch: _told(stretch, parts) for stretch in parts}, step)


def _told(stretch: int, parts: Mapping[int, Mapping[str, Part]]) -> list[int]:
    """Return what is told of five minutes: nothing but how much is claimed, where two counters claim it."""
    over = {n: _overlap(parts[n]) for n in (stretch - 1, stretch, stretch + 1) if n in parts}
    if over[stretch] > 0 and sum(each for each in over.values() if each > 0) > 60_000_000:
        boots = parts[stretch].values()
        return [0] * 6 + [max(boot.last for boot in boots) - min(boot.first for boot in boots)]
    return [*map(sum, zip(*(part.sums for part in parts[stretch].values()), strict=True)), 0]


def _overlap(boots: Mapping[str, Part]) -> int:
    """Return how long the claims of at most two boots overlap [us]; below 0 if a gap lies between them."""
    if len(boots) == 1:
        return 0
    one, other = boots.values()
    return min(one.last, other.last) - max(one.first, other.first)


def lacking(told: Iterable[Tally]) -> set[tuple[str, int]]:
    """Return the seqs from 1 to the last of each boot that have not come."""
    came = {(each.boot, each.seq) for each in told}
    last = {boot: max(seq for name, seq in came if name == boot) for boot, _ in came}
    return {(boot, seq) for boot in last for seq in range(1, last[boot])} - came


def _stepped(sums: dict[int, list[int]], step: timedelta) -> list[Count]:
    each = step // STRETCH
    wider: defaultdict[int, list[list[int]]] = defaultdict(list)
    for stretch, row in sums.items():
        wider[stretch // each].append(row)
    found = []
    for n, rows in sorted(wider.items()):
        *bodies, span, watched, claimed = map(sum, zip(*rows, strict=True))
        found.append(Count(from_us(n * each * STRETCH_US), *bodies, span / 1e6, watched / 1e6, claimed / 1e6))
    return found


@st.composite
def tallies_of(draw: st.DrawFn, station: str) -> list[Tally]:
    """Draw tallies of two boots in any order: any length and clock, at any time, whatever their seqs."""
    names = draw(st.lists(st.tuples(st.sampled_from(["b1", "b2"]), st.integers(0, 40)), max_size=14, unique=True))
    return [draw(_tally(station, boot, seq)) for boot, seq in names]


@st.composite
def _tally(draw: st.DrawFn, station: str, boot: str, seq: int) -> Tally:
    seconds = draw(st.sampled_from([15.0, 1e-7, 300.0, 3600.0]) | st.floats(0.001, 3600.0))
    bodies = st.builds(
        Crossing,
        at_s=st.floats(0.0, seconds),
        direction=st.sampled_from(Direction),
        size=st.sampled_from(SizeClass),
        length_mm=st.just(13.0),
    )
    return Tally(
        station=station,
        boot=boot,
        seq=seq,
        from_at=NOON_AT + timedelta(microseconds=draw(st.integers(-3_600_000_000, 3_600_000_000))),
        up_s=draw(st.floats(0.0, 1e5)),
        clock=draw(st.sampled_from(Clock)),
        seconds=seconds,
        watched_s=seconds * draw(st.floats(0.0, 1.0)),
        crossings=tuple(draw(st.lists(bodies, max_size=4))),
    )


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def shared_ledger(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the name of a ledger that all examples share, each with a station of its own."""
    if request.param == "sqlite":
        return str(tmp_path_factory.mktemp("counts") / "ledger.sqlite")
    name: str = request.getfixturevalue("cluster").database()
    return name


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_counts_are_what_the_raw_tallies_come_to(shared_ledger: str, data: st.DataObject) -> None:
    station = f"s{next(_numbers)}"
    told = data.draw(tallies_of(station))
    known: list[Tally] = []
    with summing(enough=data.draw(st.integers(1, 5)), piece=data.draw(st.integers(1, 5))):
        while len(known) < len(told):
            batch = told[len(known) : len(known) + data.draw(st.integers(1, 6))]
            again = data.draw(st.lists(st.sampled_from(known), max_size=2)) if known else []
            with Ledger(ledger_url(shared_ledger), {(SITE, station): Phase.LURING}, NOW_AT) as ledger:
                record(ledger, *batch, *again)
                for _ in range(data.draw(st.integers(0, 3))):
                    record(ledger)
                holes = ledger.holes(SITE, station)
            known += batch
            assert {(boot, seq) for boot, first, last, _ in holes for seq in range(first, last + 1)} == lacking(known)
            step = STRETCH * data.draw(st.sampled_from([1, 1, 3, 12]))
            assert shown(shared_ledger, station, step) == reference(known, step)


def test_a_stretch_without_a_tally_is_not_there(ledger_name: str) -> None:
    found = counted(ledger_name, tally(1), tally(60))
    assert [each.from_at for each in found] == [NOON_AT, NOON_AT + timedelta(minutes=10)]


def test_a_stretch_tells_who_came_and_how_long_somebody_watched(ledger_name: str) -> None:
    wasp = visits(1.0)[0]
    out = Crossing(at_s=2.0, direction=Direction.OUT, size=SizeClass.WASP, length_mm=13.0)
    ant = Crossing(at_s=3.0, direction=Direction.IN, size=SizeClass.SMALL, length_mm=4.0)
    found = counted(ledger_name, tally(1, crossings=(wasp, out, ant), watched_s=7.5), tally(2, crossings=(wasp,)))
    assert found == [Count(NOON_AT, visits=2, outs=1, small=1, large=0, seconds=30.0, watched_s=22.5)]


def test_a_tally_across_a_border_is_shared_out(ledger_name: str) -> None:
    early = tally(1, start_at=NOON_AT - timedelta(seconds=5), crossings=visits(1.0, 6.0, 7.0))
    first, second = counted(ledger_name, early)
    assert (first.visits, first.seconds, second.visits, second.seconds) == (1, 5.0, 2, 10.0)


def test_what_was_counted_without_a_clock_is_there_when_the_clock_is_set(ledger_name: str) -> None:
    free = [tally(seq, clock=Clock.FREE, from_at=LONG_AGO_AT, crossings=visits(1.0)) for seq in (1, 2)]
    assert counted(ledger_name, *free) == []
    assert counted(ledger_name, tally(3)) == [Count(NOON_AT, 2, 0, 0, 0, 45.0, 45.0)]


def test_the_sums_are_filled_as_the_host_goes_on(ledger_name: str) -> None:
    with summing(enough=20, piece=20), Ledger(ledger_url(ledger_name), STATIONS, NOON_AT) as ledger:
        record(ledger, *(tally(seq) for seq in range(1, 61)))
        for _ in range(4):
            record(ledger)
    assert stored(ledger_name) == 3


def test_a_boot_that_is_over_is_summed_to_its_end(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), STATIONS, NOON_AT) as ledger:
        record(ledger, tally(1), tally(2))
        record(ledger, tally(1, boot="b2"))
        record(ledger)
    assert stored(ledger_name) == 1


def test_a_wider_step_begins_on_the_hour(ledger_name: str) -> None:
    late = tally(1, start_at=NOON_AT + timedelta(minutes=50), crossings=visits(1.0))
    found = counted(ledger_name, tally(1, boot="b2"), late, step=timedelta(hours=1))
    assert [(each.from_at, each.visits) for each in found] == [(NOON_AT, 1)]


def test_only_stretches_within_the_span_are_told(ledger_name: str) -> None:
    counted(ledger_name, *(tally(seq) for seq in range(1, 61)))
    with open_existing(ledger_url(ledger_name)) as store:
        found = Countbook(store).span(SITE, STATION, NOON_AT + STRETCH, NOON_AT + 2 * STRETCH)
    assert [each.from_at for each in found] == [NOON_AT + STRETCH]


def run(boot: str, from_s: float, to_s: float, start_at: datetime = NOON_AT) -> list[Tally]:
    """Return a boot that reports each 15 s from a moment to another, and sees a wasp come in each time."""
    begun_at, number = start_at + timedelta(seconds=from_s), int((to_s - from_s) / 15.0)
    return [tally(seq, start_at=begun_at, boot=boot, crossings=visits(1.0)) for seq in range(1, number + 1)]


def test_what_two_counters_claim_under_one_name_is_no_number_but_a_gap(ledger_name: str) -> None:
    found = counted(ledger_name, *run("b1", 0, 900), *run("b2", 300, 600))
    assert [(each.visits, each.watched_s, each.twofold_s) for each in found] == [
        (20, 300.0, 0.0),
        (0, 0.0, 300.0),
        (20, 300.0, 0.0),
    ]


def test_a_wider_step_keeps_what_one_counter_alone_claims(ledger_name: str) -> None:
    (found,) = counted(ledger_name, *run("b1", 0, 900), *run("b2", 300, 600), step=timedelta(hours=1))
    assert found == Count(NOON_AT, 40, 0, 0, 0, seconds=600.0, watched_s=600.0, twofold_s=300.0)


def test_little_of_a_stretch_is_enough_for_two_counters_to_claim(ledger_name: str) -> None:
    (found,) = counted(ledger_name, *run("b1", 100, 190), *run("b2", 115, 205))
    assert (found.visits, found.watched_s, found.twofold_s) == (0, 0.0, 105.0)


def test_the_first_and_last_moments_of_two_counters_are_a_gap_too(ledger_name: str) -> None:
    found = counted(ledger_name, *run("b1", 0, 900), *run("b2", 270, 630))
    assert [each.visits for each in found] == [0, 0, 0]


def test_two_minutes_over_a_border_are_two_counters(ledger_name: str) -> None:
    found = counted(ledger_name, *run("b1", 0, 360), *run("b2", 240, 600))
    assert [(each.visits, each.twofold_s) for each in found] == [(0, 300.0), (0, 300.0)]


def test_five_minutes_say_the_same_whatever_is_asked_around_them(ledger_name: str) -> None:
    every = counted(ledger_name, *run("b1", 0, 360), *run("b2", 240, 600))
    with open_existing(ledger_url(ledger_name)) as store:
        alone = [Countbook(store).span(SITE, STATION, each.from_at, each.from_at + STRETCH) for each in every]
    assert [each for (each,) in alone] == every


def test_a_counter_that_starts_anew_is_one_counter(ledger_name: str) -> None:
    (found,) = counted(ledger_name, *run("b1", 0, 90), *run("b2", 90, 180), *run("b3", 195, 300))
    assert (found.visits, found.watched_s, found.twofold_s) == (19, 285.0, 0.0)


def test_a_start_by_a_clock_that_was_set_back_a_little_is_one_counter(ledger_name: str) -> None:
    (found,) = counted(ledger_name, *run("b1", 0, 120), *run("b2", 60, 180))
    assert (found.visits, found.twofold_s) == (16, 0.0)


def test_the_backlog_of_a_second_counter_makes_a_gap_of_what_was_a_number(ledger_name: str) -> None:
    with summing(enough=2, piece=5), Ledger(ledger_url(ledger_name), STATIONS, NOON_AT) as ledger:
        record(ledger, *run("b1", 0, 300))
        for _ in range(5):
            record(ledger)
        assert [each.visits for each in shown(ledger_name)] == [20]
        record(ledger, *reversed(run("b2", 0, 300)))
        for _ in range(5):
            record(ledger)
        assert [(each.visits, each.twofold_s) for each in shown(ledger_name)] == [(0, 300.0)]


def test_a_clock_that_is_set_later_shows_two_counters_where_they_were(ledger_name: str) -> None:
    free = [replace(each, clock=Clock.FREE, from_at=LONG_AGO_AT) for each in run("b2", 0, 300)]
    assert [each.visits for each in counted(ledger_name, *run("b1", 0, 300), *free)] == [20]
    (found, later) = counted(ledger_name, tally(21, boot="b2"))
    assert (found.visits, found.twofold_s, later.visits) == (0, 300.0, 0)


def test_two_counters_are_told_in_what_an_older_ledger_summed(ledger_name: str) -> None:
    with summing(enough=1, piece=100), Ledger(ledger_url(ledger_name), STATIONS, NOON_AT) as ledger:
        record(ledger, *run("b1", 0, 300), *run("b2", 0, 300), *run("b3", 300, 450), *run("b4", 450, 600))
        for _ in range(6):
            record(ledger)
    assert stored(ledger_name) == 4
    engine = create_engine(ledger_url(ledger_name))
    with engine.begin() as connection:
        connection.execute(update(counts).values(first_at=None, last_at=None))
    engine.dispose()
    assert [(each.visits, each.twofold_s) for each in shown(ledger_name)] == [(0, 300.0), (20, 0.0)]


def test_the_five_minutes_over_dawn_count_as_far_as_it_is_light(ledger_name: str) -> None:
    dawn_at = daylight(PLACE, NOON_AT.date()).foraging[0]
    start_at = floor(dawn_at, STRETCH)
    counted(ledger_name, *run("b1", 0, 600, start_at))
    with open_existing(ledger_url(ledger_name)) as store:
        found = Countbook(store).span(SITE, STATION, start_at, start_at + 2 * STRETCH, place=PLACE)
    light_s = 300.0 - (dawn_at - start_at).total_seconds()
    assert 0.0 < light_s < 300.0
    assert [each.watched_s for each in found] == pytest.approx([light_s, 300.0])


def test_nobody_watches_at_night_whatever_the_counter_says(ledger_name: str) -> None:
    dusk_at = daylight(PLACE, NOON_AT.date()).foraging[1]
    start_at = floor(dusk_at, STRETCH) - STRETCH
    counted(ledger_name, *run("b1", 0, 900, start_at))
    with open_existing(ledger_url(ledger_name)) as store:
        found = Countbook(store).span(SITE, STATION, start_at, start_at + 3 * STRETCH, place=PLACE)
        (wide,) = Countbook(store).span(SITE, STATION, start_at, start_at + 3 * STRETCH, 12 * STRETCH, PLACE)
    light_s = (dusk_at - start_at).total_seconds()
    assert [each.visits for each in found] == [20, 20, 20]
    assert [each.watched_s for each in found] == pytest.approx([300.0, light_s - 300.0, 0.0])
    assert (wide.visits, wide.watched_s) == (60, pytest.approx(light_s))


@pytest.mark.parametrize("step", [timedelta(), timedelta(minutes=7), -STRETCH])
def test_a_step_that_is_no_multiple_of_five_minutes_is_refused(sqlite_ledger: str, step: timedelta) -> None:
    with open_existing(ledger_url(sqlite_ledger)) as store, pytest.raises(ValueError, match="no multiple"):
        Countbook(store).span(SITE, STATION, NOON_AT, NOW_AT, step)
