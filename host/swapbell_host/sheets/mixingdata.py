"""The mixing sheet for a program: as a table and as an object."""

from collections.abc import Sequence

import msgspec

from swapbell_host.sheets.cells import Cell, table
from swapbell_host.sheets.mixing import AFTER_USE, TAKE_ALONG, MixingSheet
from swapbell_host.trade.answer import as_json

SCHEMA = "swapbell/mixing-sheet"
# A later one adds fields; where one goes or means something else, the number is a new one.
VERSION = 1
COLUMNS = ("kind", "key", "label", "value", "unit", "words", "source")


def csv(made: MixingSheet) -> bytes:
    """Return a mixing sheet as a table: its stations first, then figure by figure, then what is said."""
    rows: list[Sequence[Cell]] = [
        ("station", str(each.station), each.where or "", None, "", made.portion, "") for each in made.stations
    ]
    rows += [
        ("figure", each.key, each.label, _value(each.value), each.unit, each.words, each.source)
        for each in made.told.figures
    ]
    said = {"warning": made.warnings, "caution": made.told.cautions, "check": made.told.checks}
    said |= {"take along": TAKE_ALONG, "after use": AFTER_USE}
    rows += [(kind, "", "", None, "", words, "") for kind, texts in said.items() for words in texts]
    return table(COLUMNS, rows)


def _value(value: object) -> Cell:
    return value if isinstance(value, int | float | str) else None


def json(made: MixingSheet) -> bytes:
    """Return a mixing sheet as one object, which says its schema and the version of that."""
    told: dict[str, object] = {
        "schema": SCHEMA,
        "version": VERSION,
        "made_at": made.made_at,
        "zone": made.zone.key,
        "on": made.asked.on,
        "portion": made.portion,
        "stations": [
            {"site": each.station.site, "station": each.station.name, "where": each.where} for each in made.stations
        ],
        "answer": msgspec.Raw(as_json(made.told).encode()),
        "warnings": made.warnings,
        "take_along": TAKE_ALONG,
        "after_use": AFTER_USE,
    }
    return msgspec.json.encode(told)
