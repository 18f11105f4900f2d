"""Deployments: how long one counter was at one place, as Camtrap DP means it."""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.intake import Station as Key
from swapbell_host.opendata import standard
from swapbell_host.opendata.choosing import Chosen
from swapbell_host.opendata.table import Row
from swapbell_models.calendar.place import Place

SECOND = timedelta(seconds=1)


@dataclass(slots=True)
class Deployment:
    """A counter at a place, for as long as there are tallies of it.

    Attributes
    ----------
    begin_at, end_at
        Of its first and its last tally, aware UTC.
    """

    id: str
    station: Chosen
    place: Place
    begin_at: datetime
    end_at: datetime

    def row(self) -> Row:
        """Return it as a row of the standard's table."""
        plan, site = self.station.plan, self.station.site
        adrift = any(boot.began_at is None for boot in self.station.boots)
        return standard.row(
            standard.DEPLOYMENTS,
            {
                "deploymentID": self.id,
                "locationID": self.id,
                "locationName": f"{plan.site}, {plan.name}",
                "latitude": self.place.latitude_deg,
                "longitude": self.place.longitude_deg,
                "deploymentStart": floor_words(self.begin_at),
                "deploymentEnd": ceiling_words(self.end_at),
                "cameraModel": plan.camera,
                "timestampIssues": "true" if adrift else "false",
                "baitUse": "true",
                "deploymentGroups": standard.tags({"site": plan.site, "role": plan.role.value}),
                "deploymentTags": standard.tags({"bait": plan.bait, "timeZone": site.zone}),
                "deploymentComments": "Tallies whose time nobody knows are left out." if adrift else None,
            },
        )


class Deployments:
    """The deployments that tallies turn out to belong to, and the tallies that belong to none."""

    def __init__(self) -> None:
        self._found: dict[str, Deployment] = {}
        self.homeless: dict[Key, int] = {}

    def __iter__(self) -> Iterator[Deployment]:
        return iter(self._found.values())

    def of(self, each: Chosen, begin_at: datetime, end_at: datetime) -> str | None:
        """Return the deployment of a tally; nothing where nobody has said at which place its station hung."""
        stays = each.timeline.stays
        number = bisect_right([stay.from_at for stay in stays[1:] if stay.from_at], begin_at)
        place = stays[number].place
        if place is None:
            self.homeless[each.plan.key] = self.homeless.get(each.plan.key, 0) + 1
            return None
        name = f"{each.plan}/{number + 1}"
        known = self._found.setdefault(name, Deployment(name, each, place, begin_at, end_at))
        known.begin_at, known.end_at = min(known.begin_at, begin_at), max(known.end_at, end_at)
        return name


def floor_words(at: datetime) -> str:
    """Return a moment, aware UTC, to the second as the standard writes it, and not later."""
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


def ceiling_words(at: datetime) -> str:
    """Return a moment, aware UTC, to the second as the standard writes it, and not earlier."""
    return floor_words(at + SECOND if at.microsecond else at)
