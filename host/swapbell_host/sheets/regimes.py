"""Whose rules an application record serves, and by when each wants it written and how long kept.

Not legal advice: these are summaries, and what the label, the permit and the law of the place say comes first.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum

NOT_LEGAL_ADVICE = (
    "This is no legal advice. The three sets of rules are summarised from the sources named; which of them holds, "
    "and what else, the label, the permit and the law of the place say."
)


@dataclass(frozen=True, slots=True)
class Rules:
    """What one set of rules says of records.

    Attributes
    ----------
    name, short
        In full, and as a column's word.
    within
        How soon after the use the record is due.
    due, keep
        The same, and how long it is kept, in words.
    keep_years
        How long it is kept [years].
    source
        Where this was read.
    """

    name: str
    short: str
    within: timedelta
    due: str
    keep_years: int
    keep: str
    source: str


class Regime(Enum):
    """A set of rules that asks for records."""

    EU = Rules(
        "EU: Regulation (EC) 1107/2009, Article 67, with Implementing Regulation (EU) 2023/564",
        "EU",
        timedelta(days=30),
        "in electronic, machine-readable form within 30 days (in Germany from 1 January 2027)",
        3,
        "3 years",
        "the recitals of (EU) 2023/564 and two German trade explanations; its annex was not read",
    )
    RUP = Rules(
        "USDA: federal records of restricted use pesticides",
        "RUP",
        timedelta(days=14),
        "within 14 days",
        2,
        "2 years; a state may ask for more",
        "pages of the departments of agriculture of Idaho, Minnesota and Oregon",
    )
    NSW = Rules(
        "New South Wales: Pesticides Regulation 2017, clause 36",
        "NSW",
        timedelta(hours=48),
        "within 48 hours; one summary says 24",
        3,
        "3 years",
        "the regulation's clause 36 and the page of the state's environment authority",
    )


@dataclass(frozen=True, slots=True)
class Deadline:
    """By when one set of rules wants a record, and until when it is kept; aware, in the zone of the use."""

    regime: Regime
    due_at: datetime
    keep_until: datetime


def deadlines(used_at: datetime) -> Iterator[Deadline]:
    """Yield the deadlines of a use.

    Parameters
    ----------
    used_at : datetime
        When toxic bait was put out, aware, by the clock of the place.
    """
    for regime in Regime:
        rules = regime.value
        yield Deadline(regime, used_at + rules.within, _later(used_at, rules.keep_years))


def _later(at: datetime, years: int) -> datetime:
    """Return the same day so many years on; the day after 28 February where there is no 29th."""
    try:
        return at.replace(year=at.year + years)
    except ValueError:
        return at.replace(year=at.year + years, month=3, day=1)
