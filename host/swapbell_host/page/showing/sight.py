"""The plot of one station, gathered from the books."""

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from swapbell_host.books import lookback
from swapbell_host.jobs.entry import EVENTS, Act, Entry, standing
from swapbell_host.jobs.moment import moment
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.jobs.stages import stages
from swapbell_host.page.door import Door
from swapbell_host.page.plotting.plot import Mark, MarkKind, Pair, Plot, document, plot
from swapbell_host.page.plotting.stretch import Span, Stretch, stretch
from swapbell_host.page.visit import Download, Visit
from swapbell_models.fault import Mistake
from swapbell_models.readiness import Rule

if TYPE_CHECKING:
    from swapbell_host.count import Count

# Our choice: a calendar day that has begun may be asked for to its end, whatever its zone.
AHEAD_MAX = timedelta(days=2)


def station_of(visit: Visit) -> tuple[Site, Station]:
    """Return the station that an address names, and its site.

    Raises
    ------
    Mistake
        If there is none.
    """
    key = visit.path["site"], visit.path["station"]
    found = visit.house.servicebook.stations(visit.at).get(key)
    if found is None:
        raise Mistake("There is no such station. All of them stand on the pages Today and Plan.")
    return visit.house.servicebook.sites(visit.at)[found.site], found


def rule_of(visit: Visit, station: Station) -> Rule:
    """Return a station's readiness rule, with its place if that is known."""
    rule = visit.house.config.rules([station.key])[station.key]
    place = visit.house.servicebook.place(*station.key, visit.at) or rule.place
    return Rule(rule.visits, rule.window_s, rule.confirm, rule.silent_s, place)


def asked_stretch(visit: Visit, site: Site, station: Station) -> Stretch:
    """Return what the address asks to be shown: a day up to now if it does not say.

    Raises
    ------
    Mistake
        If it cannot be read.
    """
    try:
        span = Span(visit.query.get("span", Span.DAY.value))
        on = date.fromisoformat(visit.query["on"]) if visit.query.get("on") else None
        return stretch(span, on, site.clock, _began_at(visit, station), visit.at)
    except (ValueError, OverflowError) as error:
        raise Mistake("The address asks for no stretch of time that can be shown, such as ?span=week.") from error


def plotted(visit: Visit, site: Site, station: Station, pair: Pair) -> tuple[list["Count"], Plot]:
    """Return what a station counted in a stretch of time by five minutes, and its plot.

    Raises
    ------
    Mistake
        If it is too long to be plotted.
    """
    entries = visit.house.servicebook.entries(*station.key, visit.at)
    rule = rule_of(visit, station)
    counts = visit.house.countbook.span(*station.key, *pair, place=rule.place)
    course = stages(station, site.terms, entries, visit.at)
    marks = [*_done(entries), *_told(visit, station, pair)]
    try:
        return counts, plot(counts, pair, visit.at, rule, site.clock, course, marks)
    except ValueError as error:
        raise Mistake(f"plot: {error}") from error


def counts_json(visit: Visit) -> Download:
    """Answer with the plot of a stretch of time as JSON."""
    site, station = station_of(visit)
    to_at = _moment(visit, "to", site) or visit.at
    from_at = _moment(visit, "from", site) or to_at - timedelta(days=1)
    if not from_at < to_at <= visit.at + AHEAD_MAX:
        raise Mistake(f"from must lie before to, and to no more than {AHEAD_MAX.days} days ahead")
    _, shown = plotted(visit, site, station, (from_at, to_at))
    return Download(msgspec.json.encode(document(shown)), "application/json", f"{station.name}.json", inline=True)


def _moment(visit: Visit, name: str, site: Site) -> datetime | None:
    text = visit.query.get(name)
    try:
        return moment(text, site.clock) if text else None
    except ValueError as error:
        raise Mistake(f"{name}: {error}") from error


def _began_at(visit: Visit, station: Station) -> datetime:
    entries = visit.house.servicebook.entries(*station.key, visit.at)
    return min([station.made_at, *(entry.at for entry in entries)])


def _done(entries: tuple[Entry, ...]) -> list[Mark]:
    acts = EVENTS.keys() | {Act.SEEN}
    return [
        Mark(entry.at, MarkKind.DONE, f"{entry.act.value}, logged by {entry.by}")
        for entry in standing(entries)
        if entry.act in acts
    ]


def _told(visit: Visit, station: Station, pair: Pair) -> list[Mark]:
    found = lookback.noticed(visit.house.store, *station.key, *pair)
    return [Mark(each.raised_at, MarkKind.TOLD, each.kind.value) for each in found]


DOORS = (Door("/station/{site}/{station}/counts.json", counts_json),)
