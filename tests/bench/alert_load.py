"""What people are told in an invented season of 50 stations, held against what happened, and whether it is borne.

There is bad weather, links flap, cameras and batteries fail, the broker, the host and the mail server are away for
hours, and people answer late or not at all. Run with the tests on the path, as
``PYTHONPATH=tests python tests/bench/alert_load.py [DAYS] [STATIONS] [SEED]``. The rules, the policy and the outbox
are the real ones. Traffic, faults and people are drawn, and so are the moments of the kinds of notice that need the
ledger's longer memory. Waiting times are between a notice and its first word to anybody.
"""

import sys
import tempfile
from pathlib import Path

from alertload.audit import audit
from alertload.play import Play, Season
from alertload.report import Report

# What must hold over a season.
A_DAY_MAX = 3.0


def played(season: Season) -> Report:
    """Play a season in a folder of its own, and return what came of it."""
    with tempfile.TemporaryDirectory() as folder:
        play = Play(season, Path(folder))
        play.run()
        return audit(play)


def holds(report: Report) -> bool:
    """Tell whether nothing was missed and nobody told too much."""
    bearable = all(report.a_day(person) <= A_DAY_MAX for person in report.messages)
    return bearable and not (report.missed or report.repeats or report.woken)


if __name__ == "__main__":
    given = dict(enumerate(map(int, sys.argv[1:])))
    outcomes = list[bool]()
    for shared in (False, True):
        season = Season(given.get(0, 90), given.get(1, 50), given.get(2, 1), shared=shared)
        whose = "each the contact of half of the stations" if shared else "one the contact of all, the other behind"
        sys.stdout.write(f"{season.stations} stations, {season.days} days, invented; two people, {whose}\n")
        found = played(season)
        outcomes.append(holds(found))
        sys.stdout.write("\n".join(found.lines()) + "\n\n")
        sys.stdout.flush()
    sys.exit(0 if all(outcomes) else 1)
