"""The plan as it is listed: for a person a line each, for a program the same as JSON."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.desk.opening import Desk
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import expected
from swapbell_host.jobs.moment import local
from swapbell_host.walk import nearest
from swapbell_models.calendar.course import Course
from swapbell_models.calendar.place import Place


@dataclass(frozen=True, slots=True)
class ListedSite:
    """A site, and how many stations it has."""

    name: str
    zone: str
    owner: str | None
    toxic_days: float
    stations: int
    details: Mapping[str, str]

    @property
    def words(self) -> str:
        """The site for a person."""
        owner = f", of {self.owner}" if self.owner else ""
        return f"{self.name}{owner}: {self.stations} stations, {self.zone}, toxic bait out for {self.toxic_days:g} d"


@dataclass(frozen=True, slots=True)
class ListedStation:
    """A station: where it stands, what is due, and the way to the nearest other one of its site.

    Attributes
    ----------
    expects, due_at
        What its job expects next, and by when, aware UTC; nothing where no clock runs.
    nearest, nearest_m, nearest_deg
        Which other station is nearest, how far it is [m], and in which direction [degrees from north]; nothing
        where nobody has said where they are.
    """

    site: str
    name: str
    role: str
    phase: str
    expects: str | None
    due_at: datetime | None
    local_due: str | None
    latitude_deg: float | None
    longitude_deg: float | None
    bait: str | None
    camera: str | None
    contact: str | None
    made_at: datetime
    enrolled_at: datetime | None
    nearest: str | None = None
    nearest_m: float | None = None
    nearest_deg: float | None = None

    @property
    def words(self) -> str:
        """The station for a person."""
        by = f" by {self.local_due}" if self.local_due else ""
        due = f"; next{by}: {self.expects}" if self.expects else ""
        known = self.nearest and self.nearest_m is not None
        way = f"; {self.nearest} is {Course(self.nearest_m or 0.0, self.nearest_deg).words}" if known else ""
        return f"{self.site}/{self.name}: {self.role} station, {self.phase}{due}{way}"


@dataclass(frozen=True, slots=True)
class ListedContact:
    """A contact, of whose address only the kind is shown: the rest may hold a password."""

    name: str
    kind: str
    second: str | None
    quiet: str | None

    @property
    def words(self) -> str:
        """The contact for a person."""
        then = f", then {self.second}" if self.second else ""
        return f"{self.name}: {self.kind}{then}" + (f", quiet {self.quiet}" if self.quiet else "")


@dataclass(frozen=True, slots=True)
class ListedLogin:
    """Who may sign in, what they may do, and since when that password is used, aware UTC."""

    name: str
    right: str
    changed_at: datetime

    @property
    def words(self) -> str:
        """The login for a person."""
        return f"{self.name}: {self.right}, set {self.changed_at:%Y-%m-%d %H:%M} UTC"


Listed = ListedSite | ListedStation | ListedContact | ListedLogin


def sites(desk: Desk) -> list[ListedSite]:
    """Return the sites in the order of their names."""
    homes = [site for site, _ in desk.plan.stations()]
    return [
        ListedSite(
            each.name,
            each.zone,
            each.owner,
            each.terms.toxic.total_seconds() / 86_400.0,
            homes.count(name),
            each.details,
        )
        for name, each in desk.plan.sites().items()
    ]


def stations(desk: Desk) -> list[ListedStation]:
    """Return the stations in the order of their names."""
    places = {key: desk.book.place(*key, desk.now) for key in desk.book.stations(desk.now)}
    return [_station(desk, key, places) for key in places]


def contacts(desk: Desk) -> list[ListedContact]:
    """Return the contacts in the order of their names."""
    return [
        ListedContact(
            each.name,
            each.address.partition("://")[0] if "://" in each.address else f"channel {each.address}",
            each.second,
            str(each.quiet) if each.quiet else None,
        )
        for each in desk.plan.contacts().values()
    ]


def _station(desk: Desk, key: Key, places: Mapping[Key, Place | None]) -> ListedStation:
    plan, place, zone = desk.book.stations(desk.now)[key], places[key], desk.book.sites(desk.now)[key[0]].clock
    job, found = desk.book.job(*key, desk.now), nearest(key, places)
    due = next(iter(expected(job, plan.role)), None)
    by_at = due.by_at if due else None
    return ListedStation(
        *key,
        role=plan.role.value,
        phase=job.phase.value,
        expects=due.words if due else None,
        due_at=by_at,
        local_due=local(by_at, zone) if by_at else None,
        latitude_deg=place.latitude_deg if place else None,
        longitude_deg=place.longitude_deg if place else None,
        bait=plan.bait,
        camera=plan.camera,
        contact=plan.contact,
        made_at=plan.made_at,
        enrolled_at=plan.enrolled_at,
        nearest="/".join(found[0]) if found else None,
        nearest_m=found[1].distance_m if found else None,
        nearest_deg=found[1].bearing_deg if found else None,
    )
