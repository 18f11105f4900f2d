"""The forms of the plan: a site, a station, a person to be told; added or changed, refused as the commands refuse."""

from collections.abc import Callable, Iterable, Mapping

from swapbell_host.alerting.channel import check_contact
from swapbell_host.jobs import filling
from swapbell_host.jobs.account import Right
from swapbell_host.jobs.plan import Contact, Site, Station
from swapbell_host.jobs.quiet import quiet
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Go, Page, Visit
from swapbell_host.page.working import form
from swapbell_host.page.working.form import Typed
from swapbell_host.sheets import fields, stated
from swapbell_models.fault import Mistake
from swapbell_models.job import Terms

S_PER_DAY = 86_400.0
# Which field a refusal speaks of, by its first word where that is not the field's own name.
OF_SITE = {"site": "name"}
OF_STATION = {"station": "name", "position": "place"}
OF_CONTACT = {"contact": "name"}


def show_site(visit: Visit) -> Answer:
    """Ask for a site: a new one, or what is to be changed of one."""
    name = visit.query.get("name", "")
    site = visit.house.planbook.site(name) if name else None
    return _site(site.name if site else "", _of_site(site or Site("new")) | {"name": name})


def take_site(visit: Visit) -> Answer:
    """Add a site, or change it."""
    typed = form.typed(visit)
    known, plan = typed.get("known", ""), visit.house.planbook

    def keep() -> str:
        before = plan.site(known) if known else Site(typed.get("name", ""))
        put = plan.change_site if known else plan.add_site
        put(filling.site(before, typed, form.details(typed)))
        return before.name

    return _kept(keep, lambda name: f"/plan?site={name}", lambda refusal: _site(known, typed, refusal))


def show_station(visit: Visit) -> Answer:
    """Ask for a station: a new one, or what is to be changed of one."""
    if "name" not in visit.query:
        return _station(visit, "", {"site": visit.query.get("site", "")})
    station = visit.house.planbook.station(visit.query.get("site", ""), visit.query["name"])
    return _station(visit, station.name, _of_station(station))


def take_station(visit: Visit) -> Answer:
    """Add a station, or change it."""
    typed = form.typed(visit)
    known, site, plan = typed.get("known", ""), typed.get("site", ""), visit.house.planbook

    def keep() -> str:
        before = plan.station(site, known) if known else Station(site, typed.get("name", ""), visit.at)
        put = plan.change_station if known else plan.add_station
        put(filling.station(before, typed))
        return before.site

    return _kept(keep, lambda site: f"/plan?site={site}", lambda refusal: _station(visit, known, typed, refusal))


def show_contact(visit: Visit) -> Answer:
    """Ask for a person to be told; of an address that is known, nothing is shown."""
    contact = visit.house.planbook.contacts().get(visit.query.get("name", ""))
    if contact is None:
        return _contact(visit, "", {})
    typed = {"name": contact.name, "second": contact.second or "", "quiet": str(contact.quiet or "")}
    return _contact(visit, contact.name, typed)


def take_contact(visit: Visit) -> Answer:
    """Add a person, or change how and when one is told."""
    typed = form.typed(visit)
    known, plan = typed.get("known", ""), visit.house.planbook

    def keep() -> str:
        name = known or typed.get("name", "")
        before = plan.contacts().get(name)
        if before and not known:
            raise Mistake(f"contact {name!r}: it is there already; change it instead")
        address = typed.get("address", "") or (before.address if before else "")
        hours = typed.get("quiet", "")
        contact = Contact(name, address, typed.get("second") or None, quiet(hours) if hours else None)
        check_contact(name, address, visit.house.config.alerts.channels)
        plan.put_contact(contact)
        return name

    return _kept(keep, lambda _: "/plan", lambda refusal: _contact(visit, known, typed, refusal))


def drop_contact(visit: Visit) -> Answer:
    """Forget a person, where nobody relies on it."""
    name = visit.form.get("known", "")

    def keep() -> str:
        visit.house.planbook.drop_contact(name)
        return name

    return _kept(keep, lambda _: "/plan", lambda refusal: _contact(visit, name, {"name": name}, refusal))


def _kept(keep: Callable[[], str], way: Callable[[str], str], again: Callable[[str], Page]) -> Answer:
    """Write something down and lead on; or show the form again with what is wrong."""
    try:
        name = keep()
    except (Mistake, ValueError) as refusal:
        return again(str(refusal))
    return Go(way(name), said=f"{name}: written down")


def days(terms: Terms) -> Typed:
    """Return by when each thing is due, in days as they would be typed."""
    return {name: f"{getattr(terms, name).total_seconds() / S_PER_DAY:g}" for name in filling.DAYS}


def _of_site(site: Site) -> Typed:
    told = {"zone": site.zone, "owner": site.owner or ""}
    return told | days(site.terms) | form.as_typed(site.details)


def _of_station(station: Station) -> Typed:
    place = station.place
    return {
        "site": station.site,
        "name": station.name,
        "place": f"{place.latitude_deg}, {place.longitude_deg}" if place else "",
        "role": station.role.value,
        **{name: getattr(station, name) or "" for name in ("bait", "camera", "contact")},
    }


def _asked(typed: Mapping[str, str]) -> dict[str, tuple[str, str]]:
    """Return what records and mixing sheets ask of a site, and what else was said of it: label and hint by name."""
    asked = {each.key: (each.label, each.hint) for each in fields.of_site()}
    mixing = {name: (name.replace("_", " "), hint) for name, hint in stated.STATED.items() if name not in asked}
    said = {name: (name.replace("_", " "), "") for name in form.details(typed)}
    return said | asked | mixing


def _site(known: str, typed: Mapping[str, str], refusal: str = "") -> Page:
    values = {"known": known, "typed": typed, "asked": _asked(typed)} | _refused(refusal, OF_SITE)
    return Page("plansite.html", values, 422 if refusal else 200)


def _station(visit: Visit, known: str, typed: Mapping[str, str], refusal: str = "") -> Page:
    plan = visit.house.planbook
    values = {"known": known, "typed": typed, "sites": _same(plan.sites()), "people": _same(plan.contacts())}
    return Page("planstation.html", values | _refused(refusal, OF_STATION), 422 if refusal else 200)


def _contact(visit: Visit, known: str, typed: Mapping[str, str], refusal: str = "") -> Page:
    people = _same(name for name in visit.house.planbook.contacts() if name != known)
    values = {"known": known, "typed": typed, "people": people}
    speaks_of = OF_CONTACT | ({"contact": "address"} if "the address" in refusal else {})
    return Page("plancontact.html", values | _refused(refusal, speaks_of), 422 if refusal else 200)


def _same(names: Iterable[str]) -> list[tuple[str, str]]:
    """Return names as what may be chosen by them."""
    return [(name, name) for name in names]


def _refused(refusal: str, speaks_of: Mapping[str, str]) -> dict[str, object]:
    return {"refusal": refusal, "trouble": form.trouble(refusal, speaks_of)}


DOORS = (
    Door("/plan/site", show_site, Right.WORK),
    Door("/plan/site", take_site, Right.WORK, "POST"),
    Door("/plan/station", show_station, Right.WORK),
    Door("/plan/station", take_station, Right.WORK, "POST"),
    Door("/plan/contact", show_contact, Right.WORK),
    Door("/plan/contact", take_contact, Right.WORK, "POST"),
    Door("/plan/contact/remove", drop_contact, Right.WORK, "POST"),
)
