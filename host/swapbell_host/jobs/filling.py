"""What a person typed, as values of the log and of the plan: a command's options and a page's fields are read alike.

What is not said stays as it was; an empty text takes it away.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

from swapbell_host.jobs import plan
from swapbell_host.jobs.entry import Draft
from swapbell_host.jobs.moment import moment
from swapbell_host.jobs.plan import Site, Station, shown
from swapbell_models.calendar.place import Place
from swapbell_models.job import Terms
from swapbell_models.quantity import within

Said = Mapping[str, str]

# What a person writes in own words, in the order of a service card.
REMARKS = ("weather", "non_targets", "incident", "note")
# By when each thing is due, in days.
DAYS = ("lure", "toxic", "idle", "watch")
# Our choice: room for any slip of a digit, so that the terms themselves say what they allow.
DAYS_MAX = 999.0


def entry(before: Draft, said: Said, details: Said, zone: ZoneInfo) -> Draft:
    """Return a draft with what was said of it.

    Parameters
    ----------
    before : Draft
        What is filled in; see `jobs.entry.blank`.
    said : mapping
        `at` by the site's clock, `mass` [g], `weather`, `non_targets`, `incident`, `note`, `place`, `photo`.
    details : mapping
        Anything else that a record asks for.
    zone : ZoneInfo
        The site's.

    Raises
    ------
    ValueError
        If something cannot be read, or cannot be logged of any station.
    """
    return replace(
        before,
        at=moment(said["at"], zone) if said.get("at") else before.at,
        mass_g=_mass(said["mass"]) if "mass" in said else before.mass_g,
        place=_place(said["place"]) if "place" in said else before.place,
        weather=_text(said, "weather", before.weather),
        non_targets=_text(said, "non_targets", before.non_targets),
        incident=_text(said, "incident", before.incident),
        note=_text(said, "note", before.note),
        photo=_text(said, "photo", before.photo),
        details=_details(before.details, details),
    )


def site(before: Site, said: Said, details: Said) -> Site:
    """Return a site with what was said of it: `zone`, `owner`, and `lure`, `toxic`, `idle`, `watch` [d]."""
    return replace(
        before,
        zone=said.get("zone") or before.zone,
        owner=_text(said, "owner", before.owner),
        terms=terms(before.terms, {name: said[name] for name in DAYS if said.get(name)}),
        details=_details(before.details, details),
    )


def station(before: Station, said: Said) -> Station:
    """Return a station with what was said of it: `place`, `role`, `bait`, `camera`, `contact`."""
    return replace(
        before,
        place=_place(said["place"]) if "place" in said else before.place,
        role=plan.role(said["role"]) if said.get("role") else before.role,
        bait=_text(said, "bait", before.bait),
        camera=_text(said, "camera", before.camera),
        contact=_text(said, "contact", before.contact),
    )


def terms(before: Terms, days: Said) -> Terms:
    """Return terms with the days that were said of some."""
    return replace(before, **{name: _days(name, text) for name, text in days.items()})


def _text(said: Said, name: str, before: str | None) -> str | None:
    return said[name] or None if name in said else before


def _details(before: Said, said: Said) -> dict[str, str]:
    return {name: text for name, text in {**before, **said}.items() if text}


def _place(text: str) -> Place | None:
    return plan.place(text) if text else None


def _mass(text: str) -> float | None:
    return _number("mass", text.removesuffix("g"), "g") if text else None


def _days(name: str, text: str) -> timedelta:
    return timedelta(days=within(f"{name} days", _number(f"{name} days", text, "days"), 0.0, DAYS_MAX, "days"))


def _number(name: str, text: str, unit: str) -> float:
    """Return a number with a point for decimals: a comma means two things."""
    try:
        return float(text)
    except ValueError:
        raise ValueError(f"{name} must be a number of {unit}, with a point for decimals, not {shown(text)}") from None
