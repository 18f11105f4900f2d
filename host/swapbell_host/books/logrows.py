"""Entries of the service log, and what they share with the plan, as columns and back."""

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

import msgspec
from sqlalchemy import ColumnElement, Connection, Row, func, insert, select

from swapbell_host.books.jobtables import service
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import Act, Draft, Entry
from swapbell_host.jobs.plan import located
from swapbell_models.calendar.place import Place


def entries_where(connection: Connection, *conditions: ColumnElement[bool]) -> list[Entry]:
    """Return the entries that satisfy all conditions, in the order of their numbers."""
    rows = connection.execute(select(service).where(*conditions).order_by(service.c.id))
    return [_entry(row) for row in rows]


def entries_of(connection: Connection, key: Key) -> list[Entry]:
    """Return all that was ever logged of a station, in the order of the numbers."""
    site, station = key
    return entries_where(connection, service.c.site == site, service.c.station == station)


def logged(connection: Connection) -> set[Key]:
    """Return the stations of which anything was logged."""
    rows = connection.execute(select(service.c.site, service.c.station).distinct())
    return {(row.site, row.station) for row in rows}


def next_id(connection: Connection) -> int:
    """Return the number of the next entry, for whoever lets nobody else write."""
    return (connection.execute(select(func.max(service.c.id))).scalar() or 0) + 1


def put_entry(connection: Connection, entry: Entry) -> None:
    """Write an entry down."""
    connection.execute(insert(service).values(_row(entry)))


def entry_of(draft: Draft, number: int, logged_at: datetime) -> Entry:
    """Return a draft as it is written down: with its number, and when."""
    said: dict[str, Any] = {each.name: getattr(draft, each.name) for each in fields(Draft)}
    return Entry(**said, id=number, logged_at=logged_at)


def place_columns(place: Place | None) -> dict[str, float | None]:
    """Return a place as two columns."""
    return {
        "latitude_deg": place.latitude_deg if place else None,
        "longitude_deg": place.longitude_deg if place else None,
    }


def row_place(row: Row[tuple[object, ...]]) -> Place | None:
    """Return the place of two columns."""
    return None if row.latitude_deg is None else located(row.latitude_deg, row.longitude_deg)


def details_column(details: Mapping[str, str]) -> str:
    """Return named texts as one."""
    return msgspec.json.encode(dict(details)).decode("utf-8")


def row_details(row: Row[tuple[object, ...]]) -> dict[str, str]:
    """Return the named texts of a row."""
    return msgspec.json.decode(row.details, type=dict[str, str])


def _row(entry: Entry) -> dict[str, object]:
    return {
        "id": entry.id,
        "site": entry.site,
        "station": entry.station,
        "act": entry.act.value,
        "happened_at": entry.at,
        "done_by": entry.by,
        "logged_at": entry.logged_at,
        "mass_g": entry.mass_g,
        "weather": entry.weather,
        "non_targets": entry.non_targets,
        "incident": entry.incident,
        "note": entry.note,
        "photo": entry.photo,
        **place_columns(entry.place),
        "details": details_column(entry.details),
        "corrects": entry.corrects,
    }


def _entry(row: Row[tuple[object, ...]]) -> Entry:
    return Entry(
        id=row.id,
        logged_at=row.logged_at,
        site=row.site,
        station=row.station,
        act=Act(row.act),
        at=row.happened_at,
        by=row.done_by,
        mass_g=row.mass_g,
        weather=row.weather,
        non_targets=row.non_targets,
        incident=row.incident,
        note=row.note,
        photo=row.photo,
        place=row_place(row),
        details=row_details(row),
        corrects=row.corrects,
    )
