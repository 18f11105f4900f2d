"""Camtrap DP 1.0.2 (Biodiversity Information Standards, TDWG): its tables and names, from the schemas kept beside."""

from collections.abc import Mapping
from functools import cache
from importlib import resources

import msgspec

from swapbell_host.opendata.table import Cell, Row

VERSION = "1.0.2"
_RELEASE = f"https://raw.githubusercontent.com/tdwg/camtrap-dp/{VERSION}"
PROFILE = f"{_RELEASE}/camtrap-dp-profile.json"
DEPLOYMENTS, MEDIA, OBSERVATIONS = TABLES = ("deployments", "media", "observations")


class _Field(msgspec.Struct):
    name: str


class _Schema(msgspec.Struct):
    fields: tuple[_Field, ...]


@cache
def columns(table: str) -> tuple[str, ...]:
    """Return the names of a table's columns, in the standard's order."""
    kept = resources.files("swapbell_host.opendata") / "camtrapdp" / f"{table}-table-schema.json"
    return tuple(field.name for field in msgspec.json.decode(kept.read_bytes(), type=_Schema).fields)


def row(table: str, values: Mapping[str, Cell]) -> Row:
    """Return a row of a table; what is not given is empty.

    Raises
    ------
    KeyError
        If the standard has no such column.
    """
    names = columns(table)
    if strange := values.keys() - set(names):
        raise KeyError(f"{table} has no column {', '.join(sorted(strange))}")
    return tuple(values.get(name) for name in names)


def resource(table: str) -> dict[str, object]:
    """Return a table as its package's descriptor names it."""
    return {
        "name": table,
        "path": f"{table}.csv",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": f"{_RELEASE}/{table}-table-schema.json",
    }


def tags(values: Mapping[str, str | None]) -> str:
    """Return tags as the standard writes them, `key:value` with bars between; those without a value are left out."""
    plain = {key: " ".join(value.replace("|", "/").split()) for key, value in values.items() if value}
    return " | ".join(f"{key}:{value}" for key, value in plain.items())
