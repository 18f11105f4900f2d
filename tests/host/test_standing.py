from dataclasses import replace
from datetime import timedelta

from orchard import NOON_AT, SITE, STATION, tally, visits

from swapbell_host.judging.history import History
from swapbell_host.rules import verdict
from swapbell_host.standing import REPEAT, Standings, standing
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.message import Standing
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.tally import Hindrance, Sight

WATCHED = History(SITE, STATION, Phase.LURING, tuple(tally(seq, crossings=visits(1.0)) for seq in range(1, 21)))
SILENT = replace(WATCHED, tallies=())
NOW_AT = NOON_AT + timedelta(minutes=5)


def shown(standings: Standings, history: History, after_s: float = 0.0, connection: int = 1) -> Standing | None:
    now = NOW_AT + timedelta(seconds=after_s)
    return standings.news(history, verdict(history, now, Rule()), now, connection)


def test_a_standing_says_what_was_counted_and_how_much_was_watched() -> None:
    said = standing(WATCHED, verdict(WATCHED, NOW_AT, Rule()), NOW_AT)
    assert (said.visits, said.watched_s, said.verdict, said.reason) == (20, 300.0, "touched", "")


HINDERED = tuple(
    tally(seq, watched_s=5.0, sight=Sight(blind_s=10.0, hindrance=Hindrance.SHAKE)) for seq in range(1, 21)
)


def test_a_standing_says_what_blinds_the_counter() -> None:
    blind = replace(WATCHED, tallies=HINDERED)
    said = standing(blind, verdict(blind, NOW_AT, Rule()), NOW_AT)
    assert (said.verdict, said.reason, said.hindrance) == ("unjudged", "blind", Hindrance.SHAKE)


def test_a_standing_at_night_tells_of_no_visits() -> None:
    quiet = replace(WATCHED, tallies=tuple(tally(seq) for seq in range(1, 21)))
    # Noon in UTC is midnight there.
    night = Rule(place=Place(-41.3, 173.2, Hemisphere.SOUTH))
    said = standing(quiet, verdict(quiet, NOW_AT, night), NOW_AT)
    assert (said.verdict, said.reason, said.visits, said.watched_s) == ("unjudged", "dark", None, 0.0)


def test_no_data_is_not_zero() -> None:
    said = standing(SILENT, verdict(SILENT, NOW_AT, Rule()), NOW_AT)
    assert (said.visits, said.verdict, said.reason) == (None, "unjudged", "silent")


def test_old_visits_are_not_the_last_five_minutes() -> None:
    later_at = NOW_AT + timedelta(hours=1)
    assert standing(WATCHED, verdict(WATCHED, later_at, Rule()), later_at).visits is None


def test_the_same_is_not_said_twice() -> None:
    standings = Standings()
    assert shown(standings, WATCHED)
    assert shown(standings, WATCHED, after_s=1.0) is None


def test_the_same_is_said_again_within_a_minute() -> None:
    standings = Standings()
    shown(standings, WATCHED)
    assert shown(standings, WATCHED, after_s=REPEAT.total_seconds())


def test_each_tally_is_news() -> None:
    standings = Standings()
    shown(standings, replace(WATCHED, tallies=WATCHED.tallies[:-1]))
    assert shown(standings, WATCHED)


def test_a_broker_that_comes_back_is_told_again() -> None:
    standings = Standings()
    shown(standings, WATCHED, connection=1)
    assert shown(standings, WATCHED, connection=2)


def test_a_new_phase_is_news() -> None:
    standings = Standings()
    assert shown(standings, WATCHED)
    said = shown(standings, replace(WATCHED, phase=Phase.TOXIC), after_s=1.0)
    assert said is not None
    assert said.phase is Phase.TOXIC
