from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.rota import ROUND_S, SLOW_ROUND, SOON_S, Rota, Rounds

STATIONS = [("orchard", f"s{n}") for n in range(100)]
SPOKE = ("orchard", "s7")


def test_who_speaks_is_judged_at_once() -> None:
    assert SPOKE in Rota(STATIONS, 0.0).due([SPOKE], 0.0)


def test_who_speaks_much_is_judged_once_in_a_while() -> None:
    rota = Rota(STATIONS, 0.0)
    rota.due([SPOKE], 0.0)
    assert rota.due([SPOKE], 0.5 * SOON_S) == []
    assert rota.due([], SOON_S).count(SPOKE) == 1


def test_who_is_silent_is_judged_in_turn() -> None:
    rota = Rota(STATIONS, 0.0)
    seen = [station for n in range(20) for station in rota.due([], (n + 1) * ROUND_S / 20.0)]
    assert sorted(seen) == sorted(STATIONS)


def test_after_a_long_pause_everyone_is_judged_once() -> None:
    assert sorted(Rota(STATIONS, 0.0).due([], 100.0 * ROUND_S)) == sorted(STATIONS)


def test_who_speaks_often_needs_no_turn() -> None:
    rota = Rota([SPOKE], 0.0)
    turns = [bool(rota.due([SPOKE] if n % 14 == 0 else [], float(n))) for n in range(100)]
    assert [n for n, looked in enumerate(turns) if looked] == list(range(0, 100, 14))


@given(st.lists(st.integers(1, 400), max_size=8))
def test_nobody_waits_longer_than_two_rounds(pauses: list[int]) -> None:
    rota, spoke_at = Rota(STATIONS, 0.0), {sum(pauses[: n + 1]) for n in range(len(pauses))}
    looked_at = [0.0]
    looked_at += [n / 4 for n in range(1600) if SPOKE in rota.due([SPOKE] if n in spoke_at else [], n / 4)]
    assert max(b - a for a, b in pairwise([*looked_at, 400.0])) <= 2.0 * ROUND_S


START_AT = datetime(2026, 2, 3, tzinfo=UTC)


def test_everyone_is_reviewed_once_in_an_hour_and_one_at_a_time() -> None:
    rounds = Rounds(STATIONS, START_AT)
    seen = [each for n in range(1, 3601) if (each := rounds.due(START_AT + timedelta(seconds=n)))]
    assert sorted(seen) == sorted(STATIONS)


def test_a_single_station_is_reviewed_within_a_minute_and_then_by_the_hour() -> None:
    rounds = Rounds([SPOKE], START_AT)
    assert rounds.due(START_AT + timedelta(seconds=59)) is None
    assert rounds.due(START_AT + timedelta(seconds=60)) == SPOKE
    assert rounds.due(START_AT + timedelta(seconds=60) + SLOW_ROUND - timedelta(seconds=1)) is None
    assert rounds.due(START_AT + timedelta(seconds=60) + SLOW_ROUND) == SPOKE


def test_thousands_are_reviewed_a_few_in_a_second() -> None:
    rounds = Rounds([("orchard", f"s{n}") for n in range(100_000)], START_AT)
    seen = [rounds.due(START_AT + timedelta(seconds=0.05 * n)) for n in range(1, 201)]
    assert sum(each is not None for each in seen) == 50


def test_a_clock_that_is_set_back_keeps_nobody_waiting() -> None:
    rounds = Rounds([SPOKE], START_AT)
    rounds.due(START_AT + timedelta(seconds=60))
    rounds.due(START_AT - timedelta(days=30))
    assert rounds.due(START_AT - timedelta(days=30) + SLOW_ROUND) == SPOKE


def test_where_there_is_no_station_it_is_nobodys_turn() -> None:
    assert Rounds([], START_AT).due(START_AT + timedelta(days=1)) is None
