"""What lies in a file, for programs: a Data Package descriptor with a Table Schema (Frictionless Data, version 1)."""

from collections.abc import Mapping
from datetime import datetime

from swapbell_host.opendata.csvtext import utc
from swapbell_host.opendata.table import Column, Kind, Table

# How `csvtext.utc` writes a moment, in Table Schema's words for a date's format.
UTC_FORMAT = "%Y-%m-%dT%H:%M:%S.%f%z"


def descriptor(table: Table, file_name: str, made_at: datetime) -> dict[str, object]:
    """Return the descriptor that lies beside one CSV file, whose moment of making is aware."""
    return {
        "profile": "tabular-data-package",
        "name": table.name,
        "title": f"swapbell: {table.name}",
        "description": table.words,
        "created": utc(made_at),
        "resources": [resource(table, file_name)],
    }


def resource(table: Table, file_name: str) -> dict[str, object]:
    """Return one table as a Tabular Data Resource."""
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "path": file_name,
        "description": table.words,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema(table),
    }


def schema(table: Table) -> dict[str, object]:
    """Return a table's columns as a Table Schema; what it has no word for, the unit, stands as `unit`."""
    return {
        "fields": [_field(column) for column in table.columns],
        "missingValues": [""],
        "primaryKey": list(table.key),
    }


def _field(column: Column) -> Mapping[str, object]:
    constraints: dict[str, object] = {"required": True} if column.needed else {}
    if column.choices:
        constraints["enum"] = list(column.choices)
    return {
        "name": column.name,
        "type": column.kind.value,
        **({"format": UTC_FORMAT} if column.kind is Kind.MOMENT else {}),
        "description": column.words,
        **({"unit": column.unit} if column.unit else {}),
        **({"constraints": constraints} if constraints else {}),
    }
