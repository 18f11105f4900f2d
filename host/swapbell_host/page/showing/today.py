"""Today: the stations in the order in which they need a person, why, by when, and what the counters say."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from swapbell_host.alerting.outbox import OpenNotice
from swapbell_host.alerting.policy import current
from swapbell_host.board import Seen
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.jobs.sightings import sighting
from swapbell_host.needs import Case, Need
from swapbell_host.page.door import Door
from swapbell_host.page.showing.glance import Glance, glance
from swapbell_host.page.visit import Page, Visit
from swapbell_host.page.working.notices import Card, card
from swapbell_host.page.working.telling import troubles
from swapbell_host.tasks import Task, tasks
from swapbell_models.fault import Mistake
from swapbell_models.sitewide import SiteVerdict

# What cannot wait: shown as the notices are that ask somebody to act.
ACTS = frozenset({Need.LEFT_OUT.value, Need.SWAP.value, Need.LOOK_FIRST.value})
# Our choice: more than this nobody sees to in a day; what follows is listed in a line each.
CARDS_MAX = 60
# Our choice: beyond this, those that need nobody are only counted, and listed site by site when asked for.
LINES_MAX = 100
# Our choice: the host looks at every station three times a minute; after three minutes it does not look any more.
HALTED = timedelta(minutes=3)


@dataclass(frozen=True, slots=True)
class Line:
    """One station.

    Attributes
    ----------
    zone, site
        Its site's time zone, and the verdict on that; nothing if it stands for itself there.
    glance
        What the counter says; nothing if it was not judged since the host began.
    notices
        The open ones.
    """

    task: Task
    zone: str
    site: SiteVerdict | None
    phase: str
    glance: Glance | None
    notices: tuple[Card, ...]

    @property
    def urgent(self) -> bool:
        """Whether it cannot wait."""
        return self.task.first.need.value in ACTS


@dataclass(frozen=True, slots=True)
class Group:
    """Stations that stand together: those of one site, or of all sites that cannot wait.

    Attributes
    ----------
    verdict
        What the mean of the site's stations says, in words; empty where none waits for its swap.
    cards, more
        The stations that need somebody, in the order of their tasks: the first at length, the others in a line each.
    idle, unlisted
        Those that need nobody now, and how many of them are not listed.
    """

    name: str
    verdict: str = ""
    cards: tuple[Line, ...] = ()
    more: tuple[Line, ...] = ()
    idle: tuple[Line, ...] = ()
    unlisted: int = 0


def today(visit: Visit) -> Page:
    """Show what needs a person today; of one site only, with all of its stations, where the address names it."""
    looks, site = visit.house.board.all(), visit.query.get("site")
    if site is not None and site not in visit.house.servicebook.sites(visit.at):
        raise Mistake("There is no such site. All of them stand on the page Plan.")
    found = [line for line in lines(visit) if site in {None, line.task.station.site}]
    values = {
        "troubles": troubles(visit),
        "acts": ACTS,
        "site": site,
        "zone": _zone(line.zone for line in found),
        "groups": list(groups(found, whole=site is not None or len(found) <= LINES_MAX)),
        "urgent": sum(line.urgent for line in found),
        "pressing": sum(not line.task.idle for line in found),
        "stations": len(found),
        "halted_at": halted_at(looks.values(), visit.at),
        "judged": sum(line.glance is not None for line in found),
    }
    return Page("today.html", values)


def _zone(zones: Iterable[str]) -> str:
    """Return the zone of what is said of the whole host: that of its sites, or UTC where they have several."""
    (zone, *others) = set(zones) or {"UTC"}
    return "UTC" if others else zone


def halted_at(looks: Iterable[Seen], now: datetime) -> datetime | None:
    """Return when the host judged last, if it should have judged again since; nothing if all is well."""
    last_at = max((seen.at for seen in looks), default=now)
    return last_at if now - last_at > HALTED else None


def lines(visit: Visit) -> list[Line]:
    """Return every station, the one that needs somebody most first."""
    told = open_notices(visit)
    known, sites = cases(visit, told), visit.house.servicebook.sites(visit.at)
    found = ((each, known[each.station.key]) for each in tasks(known.values(), visit.at))
    return [_line(each, case, sites[each.station.site], told[each.station.key], visit.at) for each, case in found]


def groups(found: Sequence[Line], *, whole: bool) -> Iterator[Group]:
    """Yield what stands together: where there are several sites, first what cannot wait; then site by site.

    Parameters
    ----------
    found : sequence of Line
        The one that needs somebody most first: so stand the sites, too.
    whole : bool
        Whether those that need nobody are listed.
    """
    order = list(dict.fromkeys(line.task.station.site for line in found))
    urgent = [line for line in found if line.urgent] if len(order) > 1 else []
    if urgent:
        yield Group("", "", tuple(urgent[:CARDS_MAX]), tuple(urgent[CARDS_MAX:]))
    left = CARDS_MAX - len(urgent)
    by_site = sorted(found, key=lambda line: order.index(line.task.station.site))
    for name, same in groupby(by_site, lambda line: line.task.station.site):
        group = _group(name, list(same), {id(line) for line in urgent}, max(left, 0), whole=whole)
        left -= len(group.cards)
        yield group


def _group(name: str, own: Sequence[Line], before: set[int], cards: int, *, whole: bool) -> Group:
    verdict = own[0].site
    pressing = tuple(line for line in own if not line.task.idle and id(line) not in before)
    idle = tuple(line for line in own if line.task.idle)
    shown = idle if whole else ()
    words = verdict.words if verdict else ""
    return Group(name, words, pressing[:cards], pressing[cards:], shown, len(idle) - len(shown))


def open_notices(visit: Visit) -> defaultdict[Key, list[OpenNotice]]:
    """Return the open notices of every station, without those whose word another one holds."""
    found = defaultdict[Key, list[OpenNotice]](list)
    for entry in current(visit.house.notebook.open_notices()):
        found[entry.notice.site, entry.notice.station].append(entry)
    return found


def cases(visit: Visit, told: Mapping[Key, Sequence[OpenNotice]]) -> dict[Key, Case]:
    """Return what is known of every station, given its open notices."""
    house = visit.house
    wholes = {site: house.board.site(site) for site in house.servicebook.sites(visit.at)}
    stations = house.servicebook.stations(visit.at)
    return {key: case(visit, station, told.get(key, ()), wholes[key[0]]) for key, station in stations.items()}


def case(visit: Visit, station: Station, told: Sequence[OpenNotice], whole: SiteVerdict | None) -> Case:
    """Return what is known of a station, given its open notices and the verdict on its site."""
    book, now = visit.house.servicebook, visit.at
    return Case(
        station,
        book.job(*station.key, now),
        visit.house.board.of(*station.key),
        tuple(entry.notice for entry in told if not entry.shelved(now)),
        frozenset(entry.notice.kind for entry in told if entry.shelved(now)),
        whole,
        sighting(book.entries(*station.key, now)),
    )


def _line(task: Task, known: Case, site: Site, told: Sequence[OpenNotice], now: datetime) -> Line:
    shown = glance(known.seen) if known.seen else None
    return Line(task, site.zone, known.site, known.job.phase.value, shown, tuple(card(entry, now) for entry in told))


DOORS = (Door("/", today),)
