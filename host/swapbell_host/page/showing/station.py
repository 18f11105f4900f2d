"""Station: what one station needs, what it counts, on what its verdict stands, and all that was done."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from swapbell_host.books import lookback
from swapbell_host.jobs.entry import Entry, expected
from swapbell_host.jobs.plan import Station
from swapbell_host.page.door import Door
from swapbell_host.page.plotting.picture import picture
from swapbell_host.page.plotting.rows import rows
from swapbell_host.page.plotting.stretch import Span, Stretch
from swapbell_host.page.plotting.words import summary
from swapbell_host.page.showing.evidence import evidence
from swapbell_host.page.showing.glance import glance
from swapbell_host.page.showing.sight import asked_stretch, plotted, rule_of, station_of
from swapbell_host.page.showing.today import ACTS, case, open_notices
from swapbell_host.page.showing.wellbeing import wellbeing
from swapbell_host.page.visit import Page, Visit
from swapbell_host.page.working.notices import card
from swapbell_host.tasks import task


@dataclass(frozen=True, slots=True)
class Logged:
    """One entry of the service log.

    Attributes
    ----------
    corrected_by
        The number of the entry that took its place; nothing if it stands.
    facts
        What it says beside who, what and when: labels and words.
    """

    entry: Entry
    corrected_by: int | None
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Way:
    """A link to another stretch of time."""

    words: str
    to: str
    here: bool = False


def station(visit: Visit) -> Page:
    """Show one station."""
    site, shown = station_of(visit)
    job = visit.house.servicebook.job(*shown.key, visit.at)
    seen, told = visit.house.board.of(*shown.key), open_notices(visit)[shown.key]
    values = {
        "acts": ACTS,
        "site": site,
        "station": shown,
        "zone": site.zone,
        "place": visit.house.servicebook.place(*shown.key, visit.at),
        "rule": rule_of(visit, shown),
        "job": job,
        "expects": expected(job, shown.role),
        "task": task(case(visit, shown, told, visit.house.board.site(shown.site)), visit.at),
        "glance": glance(seen) if seen else None,
        "evidence": evidence(seen) if seen else None,
        "notices": [card(entry, visit.at) for entry in told],
        "log": log(visit.house.servicebook.entries(*shown.key, visit.at)),
        "word": (word := lookback.last_word(visit.house.store, *shown.key)),
        "wellbeing": wellbeing(word.health) if word else (),
    }
    return Page("station.html", values | _plot(visit))


def _plot(visit: Visit) -> dict[str, object]:
    """Return the values of the plot."""
    site, shown = station_of(visit)
    asked = asked_stretch(visit, site, shown)
    counts, plot = plotted(visit, site, shown, (asked.from_at, asked.to_at))
    return {
        "stretch": asked,
        "plot": plot,
        "picture": picture(plot),
        "summary": summary(counts, plot),
        "rows": rows(counts, site.clock, plot.from_at, plot.until_at),
        "document": f"{_address(shown)}/counts.json?from={_utc(asked.from_at)}&to={_utc(asked.to_at)}",
        "spans": ways(shown, asked),
        "turns": turns(shown, asked),
    }


def log(entries: Sequence[Entry]) -> list[Logged]:
    """Return all that was ever logged, also what was corrected, the latest first."""
    later = {entry.corrects: entry.id for entry in entries if entry.corrects is not None}
    latest_first = sorted(entries, key=lambda each: (each.at, each.id), reverse=True)
    return [Logged(entry, later.get(entry.id), tuple(_facts(entry))) for entry in latest_first]


def _facts(entry: Entry) -> Iterator[tuple[str, str]]:
    if entry.mass_g is not None:
        yield "mass", f"{entry.mass_g:g} g"
    if entry.place is not None:
        yield "now at", f"{entry.place.latitude_deg:.5f}, {entry.place.longitude_deg:.5f}"
    words = {
        "weather": entry.weather,
        "non-targets": entry.non_targets,
        "incident": entry.incident,
        "note": entry.note,
        **{name.replace("_", " "): text for name, text in entry.details.items()},
    }
    yield from ((label, text) for label, text in words.items() if text)


def ways(shown: Station, asked: Stretch) -> list[Way]:
    """Return the links to the other spans that end where this one does."""
    return [Way(span.value, _way(shown, span, asked.on), span is asked.span) for span in Span]


def turns(shown: Station, asked: Stretch) -> list[Way]:
    """Return the links to the same span before and after, and to now."""
    found = [Way("earlier", _way(shown, asked.span, asked.earlier))] if asked.earlier else []
    found += [Way("later", _way(shown, asked.span, asked.later))] if asked.later else []
    return [*found, Way("now", _way(shown, asked.span, None))] if asked.on else found


def _way(shown: Station, span: Span, on: date | None) -> str:
    until = f"&on={on}" if on else ""
    return f"{_address(shown)}?span={span.value}{until}#counts"


def _address(shown: Station) -> str:
    return f"/station/{shown.site}/{shown.name}"


def _utc(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


DOORS = (Door("/station/{site}/{station}", station),)
