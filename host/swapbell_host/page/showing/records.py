"""Records: what can be handed over of each site and station, what it lacks, and where to fill that in."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode

from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Page, Visit
from swapbell_host.sheets import gathering
from swapbell_host.sheets.field import Field, Origin
from swapbell_host.sheets.record import Record
from swapbell_host.sheets.regimes import NOT_LEGAL_ADVICE, Deadline

# What is answered only once the bait is in, or gone: which act says it.
LATER = {"in_at": Act.WITHDRAWN, "mass_in_g": Act.WITHDRAWN, "disposed_at": Act.DISPOSED, "disposal": Act.DISPOSED}


@dataclass(frozen=True, slots=True)
class Gaps:
    """Fields of a record that nobody answered, and that are filled in at one place.

    Attributes
    ----------
    way, words
        Where; the address is empty where nobody can yet.
    required, other
        The fields that some rules ask for, each with whose; and those that only the trade asks for.
    """

    way: str
    words: str
    required: tuple[str, ...]
    other: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Application:
    """The record of one application, as far as it goes.

    Attributes
    ----------
    of_site, own
        What is missing: once for the whole site, and of this application alone.
    """

    number: str
    station: str
    out_at: datetime
    in_at: datetime | None
    lost_at: datetime | None
    of_site: tuple[Gaps, ...]
    own: tuple[Gaps, ...]
    deadlines: tuple[Deadline, ...]

    @property
    def required(self) -> int:
        """How many fields are missing that rules ask for."""
        return sum(len(each.required) for each in (*self.of_site, *self.own))


@dataclass(frozen=True, slots=True)
class Logged:
    """One entry of the service log, and what became of it."""

    entry: Entry
    corrected_by: int | None


def show(visit: Visit) -> Answer:
    """Show what there is of one site."""
    sites = visit.house.servicebook.sites(visit.at)
    name = visit.query.get("site", next(iter(sites), ""))
    site = sites.get(name) or (visit.house.planbook.site(name) if name else None)
    values: dict[str, object] = {"sites": sites, "site": site, "advice": NOT_LEGAL_ADVICE}
    if site:
        mine = [each for key, each in visit.house.servicebook.stations(visit.at).items() if key[0] == site.name]
        values |= {"stations": mine, "made": _applications(visit, site, mine)}
    return Page("records.html", values)


def show_station(visit: Visit) -> Answer:
    """Show all that was ever logged of a station, with what was corrected, and what its records lack."""
    station = visit.house.planbook.station(visit.path["site"], visit.path["station"])
    site = visit.house.planbook.site(station.site)
    logged = visit.house.servicebook.entries(*station.key, visit.at)
    values = {
        "site": site,
        "station": station,
        "zone": site.clock,
        "logged": list(shown(logged)),
        "made": _applications(visit, site, [station]),
        "advice": NOT_LEGAL_ADVICE,
    }
    return Page("recordstation.html", values)


def shown(logged: Sequence[Entry]) -> Iterator[Logged]:
    """Yield every entry with the number of the one that took its place."""
    later = {each.corrects: each.id for each in logged}
    return (Logged(each, later.get(each.id)) for each in logged)


def _applications(visit: Visit, site: Site, stations: Sequence[Station]) -> list[Application]:
    """Return the records of some stations, the newest first."""
    house = visit.house
    made = gathering.records(house.store, house.servicebook, site, stations, visit.at)
    return [_application(each) for each in reversed(made)]


def _application(made: Record) -> Application:
    of_site, own = ([each.field for each in made.missing if each.field.of_site is whole] for whole in (True, False))
    application = made.application
    return Application(
        application.number,
        application.swap.station,
        application.out_at,
        application.in_at,
        application.outcome.at if application.outcome and application.is_lost else None,
        _gaps(made, of_site),
        _gaps(made, own),
        made.deadlines,
    )


def _gaps(made: Record, missing: Sequence[Field]) -> tuple[Gaps, ...]:
    """Return what is missing by where it is filled in."""
    places = dict[tuple[str, str], list[Field]]()
    for field in missing:
        places.setdefault(_where(made, field), []).append(field)
    return tuple(
        Gaps(
            *place,
            tuple(f"{each.label} ({_asked_by(each)})" for each in fields if each.serves),
            tuple(each.label for each in fields if not each.serves),
        )
        for place, fields in places.items()
    )


def _asked_by(field: Field) -> str:
    return ", ".join(regime.value.short for regime in field.serves)


def _where(made: Record, field: Field) -> tuple[str, str]:
    """Return the address at which a field is filled in, and what that is."""
    site, station = made.application.swap.site, made.application.swap.station
    log = f"/station/{site}/{station}/log"
    if field.of_site:
        return f"/plan/site?{urlencode({'name': site})}", f"among the details of {site}, once for all of it"
    if field.origin is Origin.PLAN:
        return f"/plan/station?{urlencode({'site': site, 'name': station})}", f"with the plan of {station}"
    if (act := LATER.get(field.key)) is not None:
        return _later(made, act, log)
    if field.origin in {Origin.DETAILS, Origin.LOG}:
        return _correction(made.application.swap, log)
    return "", "worked out once the rest is known"


def _later(made: Record, act: Act, log: str) -> tuple[str, str]:
    """Return where something is said that belongs to the end of an application: its entry, or a new one."""
    logged = {each.act: each for each in (made.application.outcome, made.application.disposed) if each}
    if entry := logged.get(act):
        return _correction(entry, log)
    return f"{log}?{urlencode({'act': act.value})}", f"when it is {act.value}"


def _correction(entry: Entry, log: str) -> tuple[str, str]:
    asked = urlencode({"act": entry.act.value, "corrects": entry.id})
    return f"{log}?{asked}", f"by correcting entry {entry.id}, {entry.act.value}"


DOORS = (Door("/records", show), Door("/records/{site}/{station}", show_station))
