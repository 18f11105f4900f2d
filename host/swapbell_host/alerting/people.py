"""Who is told of a station, and where each of them is reached."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from swapbell_host.alerting.policy import Person, Watchers
from swapbell_host.alerting.schedule import NIGHT
from swapbell_host.config import AlertsSection
from swapbell_host.jobs.plan import Contact, Site, Station
from swapbell_host.jobs.quiet import Quiet, quiet

_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]{0,30})://")
# Whoever reads along where the host runs: told where nobody else is, and always reached. No contact has this name.
HERE = Person("", quiet=None)


@dataclass(frozen=True, slots=True)
class People:
    """The contacts of the plan and the addresses of the configuration, as they are now."""

    section: AlertsSection
    contacts: Mapping[str, Contact] = field(default_factory=dict[str, Contact])
    stations: Mapping[tuple[str, str], Station] = field(default_factory=dict[tuple[str, str], Station])
    sites: Mapping[str, Site] = field(default_factory=dict[str, Site])

    def watchers(self, site: str, station: str) -> Watchers:
        """Return who is told of a station: its contact, then its second; or the configuration's addresses."""
        plan, home = self.stations.get((site, station)), self.sites.get(site)
        zone = home.clock if home else ZoneInfo("UTC")
        contact = self.contacts.get(plan.contact) if plan and plan.contact else None
        if contact is None:
            return Watchers(self.house or (HERE,), (), zone)
        second = self.contacts.get(contact.second) if contact.second else None
        return Watchers((_person(contact),), (_person(second),) if second else self.house, zone)

    @property
    def house(self) -> tuple[Person, ...]:
        """The configuration's addresses, each as a person."""
        return tuple(Person(name, self._house_hours()) for name in self._house_urls())

    def awake_at(self, name: str, at: datetime) -> datetime:
        """Return the first moment from `at` on (aware UTC) at which a person or a channel may be told anything."""
        contact = self.contacts.get(name)
        hours = (contact.quiet or NIGHT) if contact else self._house_hours()
        return hours.ends_at(at, self.zone) if hours.holds(at, self.zone) else at

    @property
    def zone(self) -> ZoneInfo:
        """By whose clock a person is told what concerns no one site: the first one's."""
        return next((site.clock for site in self.sites.values()), ZoneInfo("UTC"))

    def everyone(self) -> list[str]:
        """Return the names of all who may be told."""
        return [*self.contacts, *self._house_urls()]

    def url(self, name: str) -> str | None:
        """Return where a person, or a channel, is reached, which may hold a password; nothing if nowhere."""
        if (contact := self.contacts.get(name)) is not None:
            name = contact.address
        if "://" in name:
            return name
        return self.section.channels.get(name) or self._house_urls().get(name)

    def shown(self, name: str) -> str:
        """Return a person's name with the kind of the address, without its secrets."""
        if name not in self.contacts:
            return name
        return f"{name} ({scheme(self.url(name) or '')})"

    def _house_hours(self) -> Quiet:
        return quiet(self.section.quiet) if self.section.quiet else NIGHT

    def _house_urls(self) -> dict[str, str]:
        return {f"channel {k} ({scheme(url)})": url for k, url in enumerate(self.section.urls, start=1)}


def scheme(url: str) -> str:
    """Return what kind of address a URL is, which is all of it that may be shown."""
    found = _SCHEME.match(url)
    return found[1] if found else "no scheme"


def _person(contact: Contact) -> Person:
    return Person(contact.name, contact.quiet or NIGHT)
