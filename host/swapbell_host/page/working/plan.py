"""The plan: sites, their stations and the people to be told, with the way from each station to the next."""

from collections.abc import Iterator
from dataclasses import dataclass

from swapbell_host.intake import Station as Key
from swapbell_host.jobs.account import Right
from swapbell_host.jobs.entry import expected
from swapbell_host.jobs.plan import Contact, Station
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Page, Visit
from swapbell_host.page.working.planforms import days
from swapbell_host.walk import nearest
from swapbell_models.calendar.course import Course
from swapbell_models.calendar.place import Place
from swapbell_models.job import Due, Job


@dataclass(frozen=True, slots=True)
class Row:
    """One station as the plan shows it."""

    station: Station
    job: Job
    due: Due | None
    place: Place | None
    nearest: tuple[Key, Course] | None


@dataclass(frozen=True, slots=True)
class Person:
    """A contact, of whose address only the kind is shown: the rest may hold a password."""

    name: str
    kind: str
    second: str | None
    quiet: str


def show(visit: Visit) -> Answer:
    """Show the sites, the stations of one of them, and the people."""
    book, at = visit.house.servicebook, visit.at
    sites = book.sites(at)
    asked = visit.query.get("site", next(iter(sites), ""))
    site = sites.get(asked) or (visit.house.planbook.site(asked) if asked else None)
    values = {
        "sites": sites,
        "site": site,
        "days": days(site.terms) if site else {},
        "rows": list(_rows(visit, site.name)) if site else [],
        "people": [_person(each) for each in visit.house.planbook.contacts().values()],
        "may_work": visit.caller.right is Right.WORK,
    }
    return Page("plan.html", values)


def _rows(visit: Visit, site: str) -> Iterator[Row]:
    book, at = visit.house.servicebook, visit.at
    stations = {key: each for key, each in book.stations(at).items() if key[0] == site}
    places = {key: book.place(*key, at) for key in stations}
    for key, station in stations.items():
        job = book.job(*key, at)
        due = next(iter(expected(job, station.role)), None)
        yield Row(station, job, due, places[key], nearest(key, places))


def _person(contact: Contact) -> Person:
    kind = contact.address.partition("://")[0] if "://" in contact.address else "channel"
    return Person(contact.name, kind, contact.second, str(contact.quiet or ""))


DOORS = (Door("/plan", show),)
