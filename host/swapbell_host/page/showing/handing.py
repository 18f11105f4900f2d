"""Files to hand over: records and reports, the service log, what was counted; each made when it is asked for."""

import io
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path

from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import Entry
from swapbell_host.jobs.moment import moment
from swapbell_host.jobs.plan import shown
from swapbell_host.opendata import export, extracts, package
from swapbell_host.opendata.choosing import Choice, Chosen, choose
from swapbell_host.opendata.extracts import Extract
from swapbell_host.opendata.labelling import Labels
from swapbell_host.page.door import Door
from swapbell_host.page.showing import records
from swapbell_host.page.visit import Answer, Download, Visit
from swapbell_host.sheets import cells, issue
from swapbell_host.sheets.form import MEDIA_TYPES, Form, Issued
from swapbell_models.fault import Mistake

CSV = MEDIA_TYPES[Form.CSV]
# IANA's media type.
ZIP = "application/zip"
# Our choice: as much of single tallies as is made while others wait for the page; `swapbell-host export` gives all.
DETAILED_MAX = timedelta(days=7)
# Our choice: a season and some more, by five minutes.
COUNTED_MAX = timedelta(days=400)

# What an entry says for itself.
SAID = ("by", "mass_g", "weather", "non_targets", "incident", "note", "photo")
LOG_HEAD = (
    "entry",
    "corrects",
    "corrected_by",
    "act",
    "at",
    "logged_at",
    *SAID,
    "latitude_deg",
    "longitude_deg",
    "details",
)


def record(visit: Visit) -> Answer:
    """Give the application record of a site, or of one of its stations."""
    house, site = visit.house, visit.path["site"]
    asked = visit.query.get("station")
    keys = [key for key in house.servicebook.stations(visit.at) if key[0] == site and asked in {None, key[1]}]
    return _issued(issue.application_record(house.store, house.servicebook, keys, visit.at, _form(visit)))


def season(visit: Visit) -> Answer:
    """Give the season report of a site."""
    house, site = visit.house, visit.house.planbook.site(visit.path["site"])
    ends = [visit.query.get(name, "") for name in ("from", "to")]
    try:
        from_at, to_at = (moment(text, site.clock) if text else None for text in ends)
    except ValueError as error:
        raise Mistake(str(error)) from error
    made = issue.season_report(house.store, house.servicebook, site.name, visit.at, (from_at, to_at), _form(visit))
    return _issued(made)


def service_log(visit: Visit) -> Answer:
    """Give all that was ever logged of a station, with what was corrected."""
    site, station = visit.house.planbook.station(visit.path["site"], visit.path["station"]).key
    logged = visit.house.servicebook.entries(site, station, visit.at)
    rows = [_row(each.entry, each.corrected_by) for each in records.shown(logged)]
    return Download(cells.table(LOG_HEAD, rows), CSV, f"log-{site}-{station}.csv")


def counts(visit: Visit) -> Answer:
    """Give what a station counted, by five minutes."""
    return _extract(visit, "counts", lambda chosen: extracts.counts(visit.house.store, chosen), COUNTED_MAX)


def crossings(visit: Visit) -> Answer:
    """Give every crossing at a station."""
    return _extract(visit, "crossings", lambda chosen: extracts.crossings(visit.house.store, chosen), DETAILED_MAX)


def tallies(visit: Visit) -> Answer:
    """Give every report of a station's counter."""
    return _extract(visit, "tallies", lambda chosen: extracts.tallies(visit.house.store, chosen), DETAILED_MAX)


def camtrap(visit: Visit) -> Answer:
    """Give what was counted as a Camtrap DP package, in one file."""
    chosen, key = _chosen(visit, DETAILED_MAX)
    labels = Labels(by=visit.account.name if visit.account else None)
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "-".join(("camtrap", *key))
        package.write(visit.house.store, chosen, folder, labels, visit.at, _no_tick)
        return Download(_zipped(folder), ZIP, f"{folder.name}.zip")


def _extract(visit: Visit, name: str, extract: Callable[[list[Chosen]], Extract], longest: timedelta) -> Download:
    chosen, key = _chosen(visit, longest)
    content = b"".join(export.text(extract(chosen)))
    return Download(content, CSV, f"{name}-{'-'.join(key)}.csv")


def _chosen(visit: Visit, longest: timedelta) -> tuple[list[Chosen], Key]:
    """Return what was asked for, between two moments by the site's clock; the last while if nobody says when."""
    station = visit.house.planbook.station(visit.path["site"], visit.path["station"])
    zone = visit.house.planbook.site(station.site).clock
    end = visit.query.get("to") or None
    begin = visit.query.get("from") or (visit.at - longest).astimezone(zone).isoformat()
    chosen = choose(visit.house.store, Choice(*station.key, begin, end))
    span = chosen[0].span
    if span.begin_at is None or (span.end_at or visit.at) - span.begin_at > longest:
        raise Mistake(
            f"export: at most {longest.days} days at once here; say a shorter time, or use `swapbell-host export`"
        )
    return chosen, station.key


def _no_tick() -> None:
    pass


def _zipped(folder: Path) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.rglob("*")):
            archive.write(path, path.relative_to(folder.parent))
    return packed.getvalue()


def _row(entry: Entry, corrected_by: int | None) -> Sequence[cells.Cell]:
    ids = entry.id, entry.corrects, corrected_by
    place = (entry.place.latitude_deg, entry.place.longitude_deg) if entry.place else (None, None)
    details = "; ".join(f"{name}: {text}" for name, text in entry.details.items()) or None
    said = (getattr(entry, name) for name in SAID)
    return (*ids, entry.act.value, entry.at, entry.logged_at, *said, *place, details)


def _form(visit: Visit) -> Form:
    word = visit.path["form"]
    if word not in {each.value for each in Form}:
        raise Mistake(f"file: its ending must be {', '.join(each.value for each in Form)}, not {shown(word)}")
    return Form(word)


def _issued(made: Issued) -> Download:
    return Download(made.content, made.media_type, made.name, inline=made.media_type == MEDIA_TYPES[Form.PDF])


DOORS = (
    Door("/records/{site}/record.{form}", record, slow=True),
    Door("/records/{site}/season.{form}", season, slow=True),
    Door("/records/{site}/{station}/log.csv", service_log, slow=True),
    Door("/records/{site}/{station}/counts.csv", counts, slow=True),
    Door("/records/{site}/{station}/crossings.csv", crossings, slow=True),
    Door("/records/{site}/{station}/tallies.csv", tallies, slow=True),
    Door("/records/{site}/{station}/camtrap.zip", camtrap, slow=True),
)
