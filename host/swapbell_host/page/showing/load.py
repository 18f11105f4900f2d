"""What to carry on a round: lure and toxic bait by station, and the product for it under a stated authority."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import Enum
from math import fsum
from urllib.parse import urlencode

from swapbell_host.intake import Station as Key
from swapbell_host.jobs.plan import Site
from swapbell_host.sheets import stated
from swapbell_host.tasks import Task
from swapbell_host.trade import mixing
from swapbell_host.trade.answer import Answer
from swapbell_models.amount import MASS_G, amount
from swapbell_models.calendar.course import Course

PORTION = "portion"
# What is stated once for a round; each station has its own portion.
STATED = {name: hint for name, hint in stated.STATED.items() if name != PORTION}


class Give(Enum):
    """What goes into a station on a round."""

    NOTHING = "nothing"
    LURE = "lure"
    TOXIC = "toxic bait"


@dataclass(frozen=True, slots=True)
class Stop:
    """One station of a round.

    Attributes
    ----------
    task
        What it needs.
    way
        To it from the stop before, or from where the walk begins; nothing where it begins there or nobody knows.
    may
        What may go in by the phase of its job.
    give, mass
        What goes in, and how much of it, as typed; empty where nobody said.
    """

    task: Task
    way: Course | None
    may: tuple[Give, ...]
    give: Give
    mass: str

    @property
    def key(self) -> Key:
        """Its site and its name."""
        return self.task.station.key

    @property
    def name(self) -> str:
        """Its site and its name as a form says them."""
        return str(self.task.station)

    def grams(self) -> float | None:
        """Return how much goes in [g]; nothing where nobody said.

        Raises
        ------
        ValueError
            If it is no mass.
        """
        text = self.mass.strip()
        if not text:
            return None
        return amount(f"bait of {self.name}", f"{text} g" if text[-1].isdigit() else text, MASS_G)


Weighed = tuple[tuple[Stop, float | None], ...]


@dataclass(frozen=True, slots=True)
class Load:
    """What to carry.

    Attributes
    ----------
    lure, toxic
        The stops where it goes in, with how much [g].
    answer
        The dose for all of the toxic bait; nothing as long as it is not asked for.
    sheets
        Address and words of each mixing sheet.
    refusal
        Why there is no dose; empty where nothing is wrong.
    """

    lure: Weighed = ()
    toxic: Weighed = ()
    answer: Answer | None = None
    sheets: tuple[tuple[str, str], ...] = ()
    refusal: str = ""

    @property
    def lure_g(self) -> float:
        """All of the lure that somebody said a mass of [g]."""
        return _total(self.lure)

    @property
    def toxic_g(self) -> float:
        """All of the toxic bait that somebody said a mass of [g]."""
        return _total(self.toxic)

    @property
    def unweighed(self) -> tuple[Stop, ...]:
        """The stops of whose bait nobody said a mass."""
        return tuple(stop for stop, mass in (*self.lure, *self.toxic) if mass is None)


def carried(stops: Sequence[Stop]) -> Load:
    """Return what goes into the stations of a round.

    Raises
    ------
    ValueError
        If a mass cannot be read.
    """
    weighed = [(stop, stop.grams()) for stop in stops if stop.give is not Give.NOTHING]
    lure, toxic = (tuple(each for each in weighed if each[0].give is give) for give in (Give.LURE, Give.TOXIC))
    return Load(lure, toxic)


def with_product(load: Load, sites: Sequence[Site], typed: Mapping[str, str], now: datetime) -> Load:
    """Return the load with the product for its toxic bait, mixed once; or with the reason why there is none.

    Parameters
    ----------
    load : Load
        With toxic bait.
    sites : sequence of Site
        Of its stations; what is not typed is taken from their details.
    typed : mapping
        What the person states, by the names in `stated.STATED`.
    now : datetime
        Aware UTC.
    """
    try:
        portions = [_portion(stop, mass) for stop, mass in load.toxic]
        given = {**typed, PORTION: portions[0]}  # what was emptied is not taken from the site
        said = stated.together(sites, given)
        asked = stated.asked(said, len(portions), now.astimezone(sites[0].clock).date())
        dose = mixing.answer(replace(asked, bait=" + ".join(portions)))
    except ValueError as refusal:
        return replace(load, refusal=str(refusal))
    return replace(load, answer=dose, sheets=tuple(_sheets(load.toxic, said)))


def _portion(stop: Stop, mass: float | None) -> str:
    if mass is None:
        raise ValueError(f"no dose without the mass of the bait: nobody said it of {stop.name}")
    return f"{mass:g} g"


def _sheets(toxic: Weighed, said: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield a mixing sheet for each mass: a sheet is of equal portions."""
    by_mass = dict[str, list[str]]()
    for stop, mass in toxic:
        by_mass.setdefault(_portion(stop, mass), []).append(stop.name)
    for portion, names in by_mass.items():
        asked = urlencode({**said, PORTION: portion, "station": names}, doseq=True)
        yield f"/round/sheet?{asked}", f"{len(names)} x {portion}"


def _total(weighed: Weighed) -> float:
    return fsum(mass for _, mass in weighed if mass is not None)
