"""Tables as they leave the ledger: each column has a kind, a unit and words, so that nobody need guess."""

from dataclasses import dataclass
from datetime import datetime
from enum import Enum

# What stands in one place of a table; nothing where nobody knows, which is never zero.
Cell = str | int | float | datetime | None
Row = tuple[Cell, ...]


class Kind(Enum):
    """What a column holds; the words are those of Table Schema's types (Frictionless Data, Table Schema 1)."""

    TEXT = "string"
    INTEGER = "integer"
    NUMBER = "number"
    MOMENT = "datetime"


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    words
        What it says, for a reader of the table.
    unit
        By its SenML name (RFC 8428), or `mm`, which it does not name; nothing for what has none.
    choices
        All that it can hold, where that is a short list.
    needed
        Whether every row has it.
    """

    name: str
    kind: Kind
    words: str
    unit: str | None = None
    choices: tuple[str, ...] = ()
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of table.

    Attributes
    ----------
    name
        One word, also a name for its file.
    words
        What a row is.
    columns
        In the order in which each row has them.
    key
        The columns that name a row.
    """

    name: str
    words: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names, in their order."""
        return tuple(column.name for column in self.columns)
