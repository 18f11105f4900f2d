"""Today: the stations in the order in which they need a person, why, by when, and what the counters say."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.alerting.outbox import OpenNotice
from swapbell_host.alerting.policy import current
from swapbell_host.board import Seen, site_verdict
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.page.door import Door
from swapbell_host.page.glance import Glance, glance
from swapbell_host.page.notices import Card, card
from swapbell_host.page.visit import Page, Visit
from swapbell_host.tasks import Case, Need, Task, tasks
from swapbell_models.job import Job

# What cannot wait: shown as the notices are that ask somebody to act.
ACTS = frozenset({Need.LEFT_OUT.value, Need.SWAP.value})


@dataclass(frozen=True, slots=True)
class Line:
    """One station.

    Attributes
    ----------
    glance
        What the counter says; nothing if it was not judged since the host began.
    notices
        The open ones.
    """

    task: Task
    phase: str
    glance: Glance | None
    notices: tuple[Card, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """One site.

    Attributes
    ----------
    verdict
        What the mean of its stations says, in words; empty where none waits for its swap.
    pressing, idle
        The stations that need somebody, and those that need nobody now, each in the order of their tasks.
    """

    site: Site
    verdict: str
    pressing: tuple[Line, ...]
    idle: tuple[Line, ...]


def today(visit: Visit) -> Page:
    """Show what needs a person today."""
    looks = visit.house.board.all()
    found = groups(visit, looks)
    values = {
        "acts": ACTS,
        "groups": found,
        "urgent": sum(line.task.first.need.value in ACTS for group in found for line in group.pressing),
        "pressing": sum(len(group.pressing) for group in found),
        "stations": sum(len(group.pressing) + len(group.idle) for group in found),
        "judged": len(looks),
    }
    return Page("today.html", values)


def groups(visit: Visit, looks: Mapping[Key, Seen]) -> list[Group]:
    """Return every site with its stations; the one whose station is the most pressing comes first."""
    book, told = visit.house.servicebook, open_notices(visit)
    cases = {
        key: case(station, book.job(*key, visit.at), looks.get(key), told[key], visit.at)
        for key, station in book.stations(visit.at).items()
    }
    by_site = defaultdict[str, list[Line]](list)
    for each in tasks(cases.values(), visit.at):
        key = each.station.key
        by_site[key[0]].append(_line(each, cases[key], told[key], visit))
    sites = book.sites(visit.at)
    return [_group(sites[name], lines, looks) for name, lines in by_site.items()]


def open_notices(visit: Visit) -> defaultdict[Key, list[OpenNotice]]:
    """Return the open notices of every station, without those whose word another one holds."""
    found = defaultdict[Key, list[OpenNotice]](list)
    for entry in current(visit.house.notebook.open_notices()):
        found[entry.notice.site, entry.notice.station].append(entry)
    return found


def case(station: Station, job: Job, seen: Seen | None, told: Sequence[OpenNotice], now: datetime) -> Case:
    """Return what is known of a station at `now` (aware UTC)."""
    notices = tuple(entry.notice for entry in told if not entry.shelved(now))
    return Case(station, job, seen, notices, frozenset(entry.notice.kind for entry in told if entry.shelved(now)))


def _line(task: Task, known: Case, told: Sequence[OpenNotice], visit: Visit) -> Line:
    shown = glance(known.seen) if known.seen else None
    return Line(task, known.job.phase.value, shown, tuple(card(entry, visit.at) for entry in told))


def _group(site: Site, lines: Sequence[Line], looks: Mapping[Key, Seen]) -> Group:
    own = (looks.get(line.task.station.key) for line in lines)
    verdict = site_verdict(seen for seen in own if seen)
    pressing = tuple(line for line in lines if not line.task.idle)
    return Group(site, verdict.words if verdict else "", pressing, tuple(line for line in lines if line.task.idle))


DOORS = (Door("/", today),)
