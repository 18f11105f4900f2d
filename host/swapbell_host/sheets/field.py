"""A field of an application record, and how it comes by its answer."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from swapbell_host.jobs.entry import Act
from swapbell_host.sheets.regimes import Regime


class Part(Enum):
    """The parts of a record, in their order."""

    RECORD = "Record"
    PEOPLE = "People"
    PRODUCT = "Product and authority"
    BAIT = "Bait and dose"
    PLACE = "Place"
    TIME = "Out and in"
    CARE = "Care"
    DECISION = "Decision"


class Origin(Enum):
    """Where a field comes from."""

    DETAILS = "details of the log entry or of the site"
    LOG = "service log"
    PLAN = "plan"
    MADE = "worked out"
    COUNTS = "counts and notices"


@dataclass(frozen=True, slots=True)
class Field:
    """One field.

    Attributes
    ----------
    key
        Its name: in the record, and of what is asked, in `Draft.details` and `Site.details`.
    label, unit
        For a person; the unit where it is a number.
    part, origin
        Where it stands, and where it comes from.
    serves
        Which rules ask for it, each with their own word for it where that says more.
    hint
        What an answer looks like.
    acts
        With which acts a log form asks for it.
    of_site
        Whether it is asked once for the whole site; what an entry says comes first.
    """

    key: str
    label: str
    part: Part
    origin: Origin
    serves: Mapping[Regime, str] = field(default_factory=dict[Regime, str])
    hint: str = ""
    acts: frozenset[Act] = frozenset()
    of_site: bool = False
    unit: str = ""


SWAPS = frozenset({Act.SWAPPED, Act.REBAITED})


def once(
    key: str, label: str, part: Part, serves: Mapping[Regime, str], hint: str, acts: frozenset[Act] = frozenset()
) -> Field:
    """Return a field that is asked once for a whole site, and with some acts where it may differ."""
    return Field(key, label, part, Origin.DETAILS, serves, hint, acts, of_site=True)


def of_swap(key: str, label: str, part: Part, serves: Mapping[Regime, str], hint: str, unit: str = "") -> Field:
    """Return a field that is asked with each swap."""
    return Field(key, label, part, Origin.DETAILS, serves, hint, acts=SWAPS, unit=unit)


def known(
    key: str, label: str, part: Part, origin: Origin, serves: Mapping[Regime, str] | None = None, unit: str = ""
) -> Field:
    """Return a field that nobody is asked for: the ledger knows it or it is worked out."""
    return Field(key, label, part, origin, serves or {}, unit=unit)
