"""An application record: each field with its answer and where that came from, and loudly what is missing.

A gap is a gap: nothing is "none" unless a person said so.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.sheets.answers import Known, Value, answer
from swapbell_host.sheets.application import Application
from swapbell_host.sheets.field import Field
from swapbell_host.sheets.fields import FIELDS, OF_WHAT_CAME_BACK
from swapbell_host.sheets.regimes import Deadline, Regime, deadlines

# How numbers are written: four digits are more than any scale here gives; five decimals of a degree are a metre.
_DIGITS = {"deg": ".5f"}


@dataclass(frozen=True, slots=True)
class Filled:
    """A field with its answer.

    Attributes
    ----------
    value
        The answer; nothing where there is none. A moment is by the clock of the place.
    whence
        Where it came from, or why there is none.
    asked
        Whether it can be answered at all: what was lost came back at no time.
    """

    field: Field
    value: Value
    whence: str
    asked: bool = True

    @property
    def words(self) -> str:
        """The answer for a person, without its unit; empty where there is none."""
        if isinstance(self.value, datetime):
            return f"{self.value:%Y-%m-%d %H:%M %z}"
        if isinstance(self.value, float):
            return f"{self.value:{_DIGITS.get(self.field.unit, '.4g')}}"
        return str(self.value or "")


@dataclass(frozen=True, slots=True)
class Record:
    """The record of one application.

    Attributes
    ----------
    filled
        Every field, in the order of `fields.FIELDS`.
    corrections
        What was corrected in its entries, in words.
    deadlines
        By when each set of rules wants it, and until when it is kept.
    """

    application: Application
    known: Known
    filled: tuple[Filled, ...]
    corrections: tuple[str, ...]
    deadlines: tuple[Deadline, ...]

    @property
    def missing(self) -> tuple[Filled, ...]:
        """The fields that nobody answered."""
        return tuple(each for each in self.filled if each.value is None and each.asked)

    def missing_for(self, regime: Regime) -> tuple[Filled, ...]:
        """Return those that some rules ask for."""
        return tuple(each for each in self.missing if regime in each.field.serves)


def record(made: Application, known: Known, corrected: Sequence[str]) -> Record:
    """Return the record of an application."""
    moot = OF_WHAT_CAME_BACK if made.is_lost else frozenset[str]()
    filled = tuple(Filled(each, *answer(each, made, known), each.key not in moot) for each in FIELDS)
    out_at = made.out_at.astimezone(known.site.clock)
    return Record(made, known, filled, tuple(corrected), tuple(deadlines(out_at)))


def gaps(records: Sequence[Record], regime: Regime | None) -> Iterator[str]:
    """Yield what nobody answered of what some rules ask for, or of what none asks for; and in which records."""
    for each in FIELDS:
        if regime in each.serves if regime else not each.serves:
            lacking = [made.application.number for made in records if each in [gap.field for gap in made.missing]]
            where = "" if len(lacking) == len(records) else f" ({', '.join(lacking)})"
            yield from [f"{each.label}{where}"] if lacking else []
