"""The log form: what may be logged of a station now, by whom, when, and what was seen; and how an entry is corrected.

Whatever is refused comes back with all that was typed. The same form sent twice is logged once: a form knows the last
entry that was there when it was given out, and what is the same as a later one was logged already.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from zoneinfo import ZoneInfo

from swapbell_host.books import photos
from swapbell_host.jobs import entry, filling
from swapbell_host.jobs.account import Right
from swapbell_host.jobs.entry import EVENTS, Act, Draft, Entry
from swapbell_host.jobs.moment import localized, twice
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.jobs.sightings import seen_ago, sighting
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Go, Page, Visit
from swapbell_host.page.working import form
from swapbell_host.page.working.pictures import NAME
from swapbell_host.sheets import fields as sheetfields
from swapbell_models.fault import Mistake
from swapbell_models.job import DOSED, Job
from swapbell_models.notice import NoticeKind

WAY = "/station/{site}/{station}/log"
# What a person may weigh with an act, and what that mass is.
WEIGHED: Mapping[Act, str] = {
    Act.LURED: "Lure [g]",
    Act.REFRESHED: "Lure [g]",
    Act.RELURED: "Lure [g]",
    Act.SWAPPED: "Toxic bait that went in [g]",
    Act.REBAITED: "Toxic bait that went in [g]",
    Act.WITHDRAWN: "Toxic bait that came back [g]",
    Act.DISPOSED: "Bait that was disposed of [g]",
    Act.WEIGHED_OUT: "Toxic bait weighed out [g]",
    Act.WEIGHED_BACK: "Toxic bait weighed back [g]",
}
MEANS: Mapping[Act, str] = {
    Act.LURED: "hung out with a lure",
    Act.REFRESHED: "fresh lure put in",
    Act.MOVED: "station moved to another place",
    Act.SWAPPED: "lure taken out, toxic bait put in",
    Act.WITHDRAWN: "toxic bait taken out",
    Act.LOST: "toxic bait cannot be found",
    Act.REBAITED: "toxic bait put in again",
    Act.DISPOSED: "what came back disposed of as the label says",
    Act.RELURED: "fresh lure put back, to verify",
    Act.CLOSED: "job done, station taken in",
    Act.GIVEN_UP: "job ended without a result",
    Act.WEIGHED_OUT: "toxic bait weighed, on its way out",
    Act.WEIGHED_BACK: "toxic bait weighed, on its way back",
    Act.SEEN: "a look: animals, weather, an incident",
    Act.STRUCK_OUT: "it never happened",
}
# Which field a refusal speaks of, by its first word where that is not the field's own name.
SPEAKS_OF = {"time": "at", "position": "place", "photo": "photo"}


@dataclass(frozen=True, slots=True)
class Spot:
    """One station as its log stands now."""

    site: Site
    station: Station
    job: Job
    entries: Sequence[Entry]

    @property
    def zone(self) -> ZoneInfo:
        """The time of day there."""
        return self.site.clock

    @property
    def way(self) -> str:
        """The address of its log form."""
        return WAY.format(site=self.site.name, station=self.station.name)

    @property
    def last_id(self) -> int:
        """The number of its latest entry; 0 where there is none."""
        return max((each.id for each in self.entries), default=0)


def show(visit: Visit) -> Answer:
    """Ask what was done; or, once that is said, for all the rest."""
    spot = _spot(visit)
    corrects = form.number(visit.query.get("corrects", ""))
    if "act" in visit.query:
        return _form(visit, spot, _act(visit.query["act"]), corrects, typed=_before(spot, corrects))
    legal, logged = entry.legal(spot.job, spot.station.role), form.number(visit.query.get("logged", ""))
    standing = {each.id for each in entry.standing(spot.entries)}
    values = {
        **_named(spot),
        "legal": [(act.value, MEANS[act]) for act in legal],
        "due": entry.expected(spot.job, spot.station.role),
        "logged": next((each for each in spot.entries if each.id == logged), None),
        "entries": [each for each in reversed(spot.entries) if each.id in standing],
    }
    return Page("log.html", values)


def take(visit: Visit) -> Answer:
    """Log what was typed; or show it again with what is wrong."""
    spot, act = _spot(visit), _act(visit.form.get("act", ""))
    corrects = form.number(visit.form.get("corrects", ""))
    typed = form.typed(visit)
    try:
        typed["kept"] = _kept(visit, typed.get("kept", ""))
        logged = _logged(visit, spot, act, corrects, typed)
    except (Mistake, ValueError) as refusal:
        return _form(visit, spot, act, corrects, typed, str(refusal))
    return Go(f"{spot.way}?logged={logged.id}")


def _logged(visit: Visit, spot: Spot, act: Act, corrects: int | None, typed: Mapping[str, str]) -> Entry:
    known = {each.id: each for each in spot.entries}
    blank = entry.blank(*spot.station.key, act, typed.get("by", ""), visit.at, corrects, known)
    said = {name: typed[name] for name in ("mass", *filling.REMARKS, "place") if name in typed}
    said |= {"at": _meant(typed), "photo": typed["kept"] or blank.photo or ""}
    draft = filling.entry(blank, said, form.details(typed), spot.zone)
    seen = form.number(typed.get("seen", "")) or 0
    before = next((each for each in spot.entries if each.id > seen and _same(each, draft, said["at"])), None)
    return before or visit.house.servicebook.add(draft, visit.at)


def _same(logged: Entry, draft: Draft, at: str) -> bool:
    """Tell whether a form was logged already; one without a time is of whenever it came."""
    told = replace(draft, at=draft.at if at else logged.at)
    return all(getattr(logged, each.name) == getattr(told, each.name) for each in fields(Draft))


def _meant(typed: Mapping[str, str]) -> str:
    """Return the time that was typed: with its offset, where the person chose one of two."""
    at, chosen = typed.get("at", ""), typed.get("at-meant", "")
    return chosen if at and chosen.startswith(at) else at


def _kept(visit: Visit, before: str) -> str:
    """Put the photo into the store at once, so that it need not be taken again when something else is refused."""
    if visit.photo:
        return photos.keep(visit.house.photos, visit.photo)
    return before if NAME.fullmatch(before) and (visit.house.photos / before).is_file() else ""


def _form(
    visit: Visit, spot: Spot, act: Act, corrects: int | None, typed: Mapping[str, str], refusal: str = ""
) -> Page:
    legal = entry.legal(spot.job, spot.station.role)
    values = {
        **_named(spot),
        "act": act,
        "means": MEANS[act],
        "legal": [(each.value, each.value) for each in legal] if act not in legal and corrects is None else [],
        "corrects": corrects,
        "corrected": next((each for each in spot.entries if each.id == corrects), None),
        "weighed": WEIGHED.get(act, ""),
        "details": _details(act, typed),
        "warnings": _warnings(visit, spot) if EVENTS.get(act) in DOSED else [],
        "typed": {"by": visit.account.name if visit.account else "", "seen": str(spot.last_id), **typed},
        "twice": twice(typed.get("at", ""), spot.zone),
        "refusal": localized(refusal, spot.zone),
        "trouble": form.trouble(refusal, SPEAKS_OF),
    }
    return Page("logform.html", values, 422 if refusal else 200)


def _warnings(visit: Visit, spot: Spot) -> list[str]:
    """Return who else was seen or counted at the lure, for whoever is about to put toxic bait in."""
    seen = sighting(spot.entries)
    key = (*spot.station.key, NoticeKind.VISITORS)
    told = [each.notice for each in visit.house.notebook.open_notices() if each.key == key]
    other = [each.words for each in told if not seen or each.raised_at != seen.at]  # else the log says it itself
    return [*([seen_ago(seen, visit.at)] if seen else []), *(localized(words, spot.zone) for words in other)]


def _before(spot: Spot, corrects: int | None) -> dict[str, str]:
    """Return what an entry said that is to be corrected, as it would be typed."""
    found = next((each for each in spot.entries if each.id == corrects), None)
    if found is None:
        return {}
    told = {name: getattr(found, name) or "" for name in filling.REMARKS}
    told |= {"mass": f"{found.mass_g:g}" if found.mass_g is not None else "", "kept": found.photo or ""}
    if found.place:
        told["place"] = f"{found.place.latitude_deg}, {found.place.longitude_deg}"
    at = found.at.astimezone(spot.zone)
    told |= {"at": f"{at:%Y-%m-%dT%H:%M}", "at-meant": at.isoformat()}
    return told | form.as_typed(found.details)


def _named(spot: Spot) -> dict[str, object]:
    return {"site": spot.site, "station": spot.station, "zone": spot.zone, "way": spot.way, "job": spot.job}


def _spot(visit: Visit) -> Spot:
    site, station = visit.path["site"], visit.path["station"]
    book, plan = visit.house.servicebook, visit.house.planbook.station(site, station)
    return Spot(
        book.sites(visit.at)[site], plan, book.job(site, station, visit.at), book.entries(site, station, visit.at)
    )


def _act(word: str) -> Act:
    try:
        return entry.act(word)
    except ValueError as error:
        raise Mistake(str(error)) from error


def _details(act: Act, typed: Mapping[str, str]) -> dict[str, tuple[str, str, str]]:
    """Return what a record asks for with an act, and what else was said: label, hint and unit by name."""
    other = {name: (name.replace("_", " "), "", "") for name in form.details(typed)}
    asked = {each.key: (each.label, each.hint, each.unit) for each in sheetfields.asked(act)}
    return asked | {name: told for name, told in other.items() if name not in asked}


DOORS = (Door(WAY, show, Right.WORK), Door(WAY, take, Right.WORK, "POST"))
