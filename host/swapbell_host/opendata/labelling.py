"""What a Camtrap DP folder says of itself: its descriptor, datapackage.json."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version

from swapbell_host.jobs.plan import Role
from swapbell_host.opendata import describing, standard
from swapbell_host.opendata.choosing import Chosen
from swapbell_host.opendata.deployments import Deployment, floor_words
from swapbell_host.opendata.observing import EFFORT, TAXON
from swapbell_models.fault import Mistake

ABOUT = (
    "Visits at bait stations for social wasps, counted by a camera at each station's opening. An observation is "
    "what came in during one short report (tally) of a counter, by size class: its count is a number of visits, "
    "not of individuals. Size classes go by body length alone, which cannot tell a wasp from a honey bee; "
    "therefore the scientific name says no more than Animalia. No media are kept: that table is empty. The table "
    "effort has one row for each tally with the seconds that were really watched and the crossings in and out: "
    "where it has a row without an observation, nothing came in while it was watched; where it has no row, nobody "
    "knows."
)


@dataclass(frozen=True, slots=True)
class Labels:
    """What only a person can say of a package.

    Attributes
    ----------
    title
        Of the project; one is made of the sites' names if nothing is said.
    by
        Whom to ask; if nothing is said, the sites' owners are named alone.
    licence
        By its SPDX name, such as CC-BY-4.0; the package is silent if nothing is said.
    """

    title: str | None = None
    by: str | None = None
    licence: str | None = None


def contributors(chosen: Sequence[Chosen], labels: Labels) -> list[dict[str, str]]:
    """Return who contributed, which the standard asks for.

    Raises
    ------
    Mistake
        If nobody is known.
    """
    owners = {each.site.owner: None for each in chosen if each.site.owner}
    people = [{"title": owner, "role": "rightsHolder"} for owner in owners]
    if labels.by:
        people.append({"title": labels.by, "role": "contact"})
    if not people:
        raise Mistake("camtrap: the standard asks who contributed; say --by NAME, or `site change --owner`")
    return people


def descriptor(
    deployments: Sequence[Deployment], people: list[dict[str, str]], labels: Labels, now: datetime
) -> dict[str, object]:
    """Return the descriptor of a package of at least one deployment, made `now` (aware UTC)."""
    sites = sorted({each.station.plan.site for each in deployments})
    return {
        "profile": standard.PROFILE,
        "name": f"swapbell-{'-'.join(sites)}".lower().replace("_", "-"),
        "created": floor_words(now),
        "title": labels.title or f"Visits at bait stations of {', '.join(sites)}",
        "description": ABOUT,
        "contributors": people,
        "sources": [{"title": "swapbell", "version": version("swapbell")}],
        **_licences(labels.licence),
        "project": _project(deployments, labels, sites),
        "spatial": _spatial(deployments),
        "temporal": {
            "start": f"{min(each.begin_at for each in deployments):%Y-%m-%d}",
            "end": f"{max(each.end_at for each in deployments):%Y-%m-%d}",
        },
        "taxonomic": [TAXON],
        "resources": [*map(standard.resource, standard.TABLES), _effort()],
    }


def _project(deployments: Sequence[Deployment], labels: Labels, sites: list[str]) -> dict[str, object]:
    compared = any(each.station.plan.role is Role.CONTROL for each in deployments)
    return {
        "title": labels.title or f"Bait stations of {', '.join(sites)}",
        # The standard's words for a design with controls, and for bait that is to draw one kind of animal.
        "samplingDesign": "experimental" if compared else "targeted",
        "captureMethod": ["activityDetection"],
        "individualAnimals": False,
        "observationLevel": ["event"],
    }


def _licences(name: str | None) -> dict[str, object]:
    return {"licenses": [{"name": name, "scope": scope} for scope in ("data", "media")]} if name else {}


def _spatial(deployments: Sequence[Deployment]) -> dict[str, object]:
    """Return each place once, as GeoJSON has it (RFC 7946): longitude first."""
    points = sorted({(each.place.longitude_deg, each.place.latitude_deg) for each in deployments})
    return {"type": "MultiPoint", "coordinates": [list(point) for point in points]}


def _effort() -> dict[str, object]:
    effort = describing.resource(EFFORT, f"{EFFORT.name}.csv")
    home = {"fields": "deploymentID", "reference": {"resource": standard.DEPLOYMENTS, "fields": "deploymentID"}}
    return {**effort, "schema": {**describing.schema(EFFORT), "foreignKeys": [home]}}
