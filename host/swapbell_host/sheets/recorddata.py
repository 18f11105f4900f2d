"""Application records for a program: a row for each, and one object that tells where each answer is from."""

from collections.abc import Sequence
from datetime import datetime

import msgspec

from swapbell_host.jobs.plan import Site
from swapbell_host.sheets.cells import table
from swapbell_host.sheets.fields import FIELDS
from swapbell_host.sheets.record import Record
from swapbell_host.sheets.regimes import NOT_LEGAL_ADVICE, Regime

SCHEMA = "swapbell/application-record"
# A later one adds fields; where one goes or means something else, the number is a new one.
VERSION = 1


def csv(records: Sequence[Record], site: Site) -> bytes:
    """Return records as a table: an empty cell is a gap; numbers are in the unit of their field."""
    head = (
        "site",
        *(each.key for each in FIELDS),
        *(f"missing_{regime.name.lower()}" for regime in Regime),
        "corrections",
    )
    rows = [
        (
            site.name,
            *(each.value for each in made.filled),
            *("; ".join(each.field.key for each in made.missing_for(regime)) for regime in Regime),
            "; ".join(made.corrections),
        )
        for made in records
    ]
    return table(head, rows)


def json(records: Sequence[Record], site: Site, at: datetime) -> bytes:
    """Return records as one object, which says its schema and the version of that; a gap is null."""
    told = {
        "schema": SCHEMA,
        "version": VERSION,
        "made_at": at,
        "site": site.name,
        "zone": site.zone,
        "caution": NOT_LEGAL_ADVICE,
        "rules": {regime.name.lower(): _rules(regime) for regime in Regime},
        "fields": {
            each.key: {
                "label": each.label,
                "unit": each.unit or None,
                "part": each.part.value,
                "asked_for_by": {regime.name.lower(): words for regime, words in each.serves.items()},
            }
            for each in FIELDS
        },
        "records": [_record(made) for made in records],
    }
    return msgspec.json.encode(told)


def _rules(regime: Regime) -> dict[str, object]:
    rules = regime.value
    return {"name": rules.name, "due": rules.due, "keep": rules.keep, "source": rules.source}


def _record(made: Record) -> dict[str, object]:
    return {
        "record": made.application.number,
        "answers": {each.field.key: {"value": each.value, "from": each.whence} for each in made.filled},
        "missing": [each.field.key for each in made.missing],
        "corrections": made.corrections,
        "deadlines": {
            each.regime.name.lower(): {"due_at": each.due_at, "keep_until": each.keep_until}
            for each in made.deadlines
        },
        "entries": [each.id for each in made.application.entries],
    }
