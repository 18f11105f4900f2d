"""The answers of an application record: what people said, what the log and the plan tell, what is worked out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.moment import local
from swapbell_host.jobs.plan import Site, Station, shown
from swapbell_host.sheets.application import Application
from swapbell_host.sheets.field import Field, Origin
from swapbell_host.sheets.fields import BY_KEY, OF_WHAT_CAME_BACK
from swapbell_models.amount import VOLUME_UL, amount
from swapbell_models.calendar.place import Place
from swapbell_models.dosing.strength import bait_strength

UL_PER_ML, MG_PER_G = 1000.0, 1000.0
STILL_OUT = "still out"
Value = str | float | int | datetime | None
# An answer, nothing where there is none; and where it came from, or why there is none.
Answer = tuple[Value, str]


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of an application beside its entries.

    Attributes
    ----------
    site, station, place
        By the plan and the log.
    together
        How many stations of the site had toxic bait out when it was put out, this one included.
    evidence
        On what counts it was decided, in words; nothing if nothing is known.
    at
        When the record is made, aware UTC.
    """

    site: Site
    station: Station
    place: Place | None
    together: int
    evidence: str | None
    at: datetime


def answer(each: Field, made: Application, known: Known) -> Answer:
    """Return the answer of a field, and where it came from."""
    if each.key in OF_WHAT_CAME_BACK and made.is_lost:
        return None, "it was lost"
    return _detail(each, made, known) if each.origin is Origin.DETAILS else _READ[each.key](made, known)


def _detail(each: Field, made: Application, known: Known) -> Answer:
    """Return what a person answered: with an entry, or else once for the site."""
    if found := made.detail(each.key):
        text, whence = found[0], _entry(found[1])
    elif text := known.site.details.get(each.key, ""):
        whence = f"site {known.site.name}"
    else:
        return None, "nobody has said"
    if not each.unit:
        return text, whence
    try:
        return _AMOUNTS[each.key](f"{text} {each.unit}" if text.strip()[-1:].isdigit() else text), whence
    except ValueError:
        return None, f"{whence} says {shown(text)}, which is no number of {each.unit}"


_AMOUNTS: Mapping[str, Callable[[str], float]] = {
    "product_ml": lambda text: amount("product", text, VOLUME_UL, may_be_zero=True) / UL_PER_ML,
    "mg_per_kg": lambda text: bait_strength(text).mg_per_kg,
}


def _entry(entry: Entry) -> str:
    return f"entry {entry.id}"


def _or_unsaid(value: Value, whence: str) -> Answer:
    return (value, whence) if value is not None else (None, "nobody has said")


def _out_g(made: Application, _known: Known) -> Answer:
    found = made.mass(made.swap, Act.WEIGHED_OUT)
    return (found[0], _entry(found[1])) if found else (None, "not weighed")


def _in_g(made: Application, _known: Known) -> Answer:
    found = made.mass(made.outcome if made.in_at else None, Act.WEIGHED_BACK)
    return (found[0], _entry(found[1])) if found else (None, "not weighed")


def _taken(made: Application, known: Known) -> Answer:
    (out_g, _), (in_g, _) = _out_g(made, known), _in_g(made, known)
    if not isinstance(out_g, float) or not isinstance(in_g, float):
        return None, "needs both masses"
    if in_g > out_g:
        return None, "more came back than went out: rain, or a wrong mass"
    return out_g - in_g, "out less back; bait that dried counts as taken"


def _ingredient(made: Application, known: Known) -> Answer:
    out_g, strength = _out_g(made, known)[0], _detail(BY_KEY["mg_per_kg"], made, known)[0]
    if not isinstance(out_g, float) or not isinstance(strength, float):
        return None, "needs the mass out and the strength of the bait"
    return out_g * strength / MG_PER_G, "mass out x strength"


def _out(made: Application, known: Known) -> Answer:
    return made.out_at.astimezone(known.site.clock), _entry(made.swap)


def _outcome(made: Application, known: Known) -> Answer:
    entry = made.disposed or made.outcome
    if entry is None:
        return STILL_OUT, f"log, as of {local(known.at, known.site.clock)}"
    return entry.act.value, f"{_entry(entry)} of {local(entry.at, known.site.clock)}"


def _in(made: Application, known: Known) -> Answer:
    if made.in_at and made.outcome:
        return made.in_at.astimezone(known.site.clock), _entry(made.outcome)
    return None, f"still out on {local(known.at, known.site.clock)}"


def _disposed(made: Application, known: Known) -> Answer:
    if made.disposed is None:
        return None, "no disposal is logged"
    return made.disposed.at.astimezone(known.site.clock), _entry(made.disposed)


def _remarks(name: str) -> Callable[[Application, Known], Answer]:
    """Return a reader of what people said with each entry, each remark with its moment and who said it."""

    def read(made: Application, known: Known) -> Answer:
        said = [(each, getattr(each, name)) for each in made.entries if getattr(each, name) is not None]
        words = "; ".join(f"{text} ({_told(each, known)})" for each, text in said)
        return _or_unsaid(words or None, ", ".join(_entry(each) for each, _ in said))

    return read


def _told(entry: Entry, known: Known) -> str:
    return f"{entry.act.value} {local(entry.at, known.site.clock)}, {entry.by}"


def _together(_made: Application, known: Known) -> Answer:
    return known.together, "log of the site's stations"


_READ: Mapping[str, Callable[[Application, Known], Answer]] = {
    "record": lambda made, _known: (made.number, "site, station and number of the entry"),
    "operator": lambda made, _known: (made.swap.by, _entry(made.swap)),
    "owner": lambda _made, known: _or_unsaid(known.site.owner, "plan"),
    "bait": lambda _made, known: _or_unsaid(known.station.bait, "plan"),
    "mass_out_g": _out_g,
    "ai_mg": _ingredient,
    "station": lambda _made, known: (known.station.name, "plan"),
    "latitude_deg": lambda _made, known: _or_unsaid(
        known.place.latitude_deg if known.place else None, "plan and log"
    ),
    "longitude_deg": lambda _made, known: _or_unsaid(
        known.place.longitude_deg if known.place else None, "plan and log"
    ),
    "stations": _together,
    "out_at": _out,
    "outcome": _outcome,
    "in_at": _in,
    "mass_in_g": _in_g,
    "taken_g": _taken,
    "disposed_at": _disposed,
    "weather": _remarks("weather"),
    "non_targets": _remarks("non_targets"),
    "incident": _remarks("incident"),
    "evidence": lambda _made, known: (known.evidence, "ledger") if known.evidence else (None, "no count, no notice"),
}
