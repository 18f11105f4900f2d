"""The round: which stations to visit, in which order to walk to them, and what to carry."""

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from swapbell_host.intake import Station as Key
from swapbell_host.jobs import entry
from swapbell_host.jobs.entry import Act, legal
from swapbell_host.jobs.lures import LURES
from swapbell_host.jobs.plan import Site, place
from swapbell_host.needs import Case, Need
from swapbell_host.page.door import Door
from swapbell_host.page.showing.load import STATED, Give, Load, Stop, carried, with_product
from swapbell_host.page.showing.today import cases, open_notices
from swapbell_host.page.visit import Answer, Download, Page, Visit
from swapbell_host.sheets import stated
from swapbell_host.sheets.issue import mixing_sheet
from swapbell_host.tasks import Task, tasks
from swapbell_host.walk import Walk, walk
from swapbell_models.calendar.course import Course
from swapbell_models.calendar.place import Place

TOXIC_ACTS = frozenset({Act.SWAPPED, Act.REBAITED})
WEIGHED_TOXIC = TOXIC_ACTS | {Act.WEIGHED_OUT}
# What usually goes in; where others visit, nothing before somebody has looked.
GIVEN = {Need.SWAP: Give.TOXIC, Need.REFRESH: Give.LURE, Need.HANG: Give.LURE, Need.VERIFY: Give.LURE}


def show(visit: Visit) -> Answer:
    """Ask which stations to visit; once that is said, show the round."""
    known = cases(visit, open_notices(visit))
    chosen = [key for text in visit.queries("station") if (key := _key(text)) in known]
    if not chosen:
        return _choice(visit, known, "Choose at least one station." if "begin" in visit.query else "")
    try:
        way = _walk(visit, chosen)
    except ValueError as refusal:
        return _choice(visit, known, str(refusal))
    stops = _stops(visit, known, way)
    typed = _stated(visit, stops)
    load = _load(visit, stops, typed)
    values = {
        "walk": way,
        "zone": _site(visit, stops[0].key).clock,
        "clocks": _clocks(visit),
        "stops": stops,
        "begin": visit.query.get("begin", ""),
        "here": visit.query.get("here", ""),
        "stated": STATED,
        "typed": typed,
        "load": load,
    }
    return Page("round.html", values, 422 if load.refusal else 200)


def sheet(visit: Visit) -> Answer:
    """Give the mixing sheet of some stations with equal portions."""
    keys = [_key(text) for text in visit.queries("station")]
    given = {name: visit.query[name] for name in (*stated.STATED, stated.MEASURE) if visit.query.get(name)}
    made = mixing_sheet(visit.house.servicebook, keys, given, visit.at)
    return Download(made.content, made.media_type, made.name, inline=True)


def _choice(visit: Visit, known: Mapping[Key, Case], refusal: str) -> Page:
    found = tasks(known.values(), visit.at)
    asked = (
        visit.queries("station") if "begin" in visit.query else [str(each.station) for each in found if not each.idle]
    )
    values = {
        "pressing": [each for each in found if not each.idle],
        "idle": [each for each in found if each.idle],
        "chosen": set(asked),
        "clocks": _clocks(visit),
        "stations": [(str(each.station), str(each.station)) for each in found],
        "begin": visit.query.get("begin", ""),
        "here": visit.query.get("here", ""),
        "refusal": refusal,
    }
    return Page("roundchoice.html", values, 422 if refusal else 200)


def _walk(visit: Visit, chosen: Sequence[Key]) -> Walk:
    book, here = visit.house.servicebook, visit.query.get("here", "").strip()
    places = {key: book.place(*key, visit.at) for key in chosen}
    begin: Key | Place | None = place(here) if here else None
    station = _key(visit.query.get("begin", ""))
    if begin is None and station in places:
        begin = station
    return walk(places, begin)


def _stops(visit: Visit, known: Mapping[Key, Case], way: Walk) -> list[Stop]:
    """Return the stops in order; those that nobody can find by a map come last."""
    legs = [(leg.station, leg.way) for leg in way.legs] + [(key, None) for key in way.unplaced]
    needs = {each.station.key: each for each in tasks((known[key] for key, _ in legs), visit.at)}
    return [_stop(visit, known[key], needs[key], course) for key, course in legs]


def _stop(visit: Visit, known: Case, task: Task, way: Course | None) -> Stop:
    acts = set(legal(known.job, known.station.role))
    may = [Give.NOTHING, *([Give.LURE] if acts & LURES else []), *([Give.TOXIC] if acts & TOXIC_ACTS else [])]
    usual = GIVEN.get(task.first.need, Give.NOTHING)
    name = str(task.station)
    asked = next((each for each in may if each.value == visit.query.get(f"give {name}")), None)
    give = asked or (usual if usual in may else Give.NOTHING)
    mass = visit.query.get(f"mass {name}")
    return Stop(task, way, tuple(may), give, _usual_mass(visit, task.station.key, give) if mass is None else mass)


def _usual_mass(visit: Visit, key: Key, give: Give) -> str:
    """Return what was weighed there for the same the last time; else what the site states as its portion."""
    acts = LURES if give is Give.LURE else WEIGHED_TOXIC if give is Give.TOXIC else frozenset[Act]()
    logged = entry.standing(visit.house.servicebook.entries(*key, visit.at))
    masses = [each.mass_g for each in logged if each.act in acts and each.mass_g is not None]
    if masses:
        return f"{masses[-1]:g} g"
    return _site(visit, key).details.get("portion", "") if give is Give.TOXIC else ""


def _stated(visit: Visit, stops: Sequence[Stop]) -> dict[str, str]:
    """Return what is stated of the dose: typed, or else by the first site that gets toxic bait."""
    first = next((_site(visit, stop.key) for stop in stops if stop.give is Give.TOXIC), None)
    details = first.details if first else dict[str, str]()
    return {name: visit.query.get(name, details.get(name, "")) for name in (*STATED, stated.MEASURE)}


def _load(visit: Visit, stops: Sequence[Stop], typed: Mapping[str, str]) -> Load:
    """Return what to carry; the product too, once the person has stated the dose."""
    try:
        weighed = carried(stops)
        if "carry" not in visit.query or not weighed.toxic:
            return weighed
        sites = {stop.key[0]: _site(visit, stop.key) for stop, _ in weighed.toxic}
        return with_product(weighed, list(sites.values()), typed, visit.at)
    except ValueError as refusal:
        return Load(refusal=str(refusal))


def _clocks(visit: Visit) -> dict[str, ZoneInfo]:
    """Return the clock of every site by its name."""
    return {name: site.clock for name, site in visit.house.servicebook.sites(visit.at).items()}


def _site(visit: Visit, key: Key) -> Site:
    return visit.house.servicebook.sites(visit.at)[key[0]]


def _key(text: str) -> Key:
    site, _, station = text.partition("/")
    return site, station


DOORS = (Door("/round", show), Door("/round/sheet", sheet))
