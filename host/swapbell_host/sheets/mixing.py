"""The mixing sheet of a round: the answer of `dose`, laid out for two people with a product between them.

Every figure is the answer's own: here nothing is computed, and nothing is proposed.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from swapbell_host.jobs.entry import Act, legal
from swapbell_host.jobs.plan import Role, Station
from swapbell_host.trade.answer import Answer, Figure
from swapbell_host.trade.mixing import Asked, answer
from swapbell_models.job import Job

# Common practice, no source; the order is that of packing.
TAKE_ALONG = (
    "the product, locked in, with its label and the authority that allows its use",
    "protection as the label asks: at least gloves that withstand the product, long sleeves, eye protection",
    "the measure named above, a spare one, and the bottle for a dilution if one is made; no kitchen tools",
    "the bait, weighed before liquid is added, and scales for what goes out and what comes back",
    "for each station a closed, rain-proof container and a sign that says what is in it and whom to call",
    "a box that locks for the bait that is taken in again, and bags for gloves and wipes",
    "water and soap, something to soak up a spill, and the number of the poisons centre",
    "for stings: protective clothing, a phone, somebody who knows where you are, and what a doctor prescribed",
    "fresh lure of the same kind, and a pen for this sheet",
)
AFTER_USE = (
    "The label says how left-over bait, dilution, rinsings, containers and gloves are disposed of; where this sheet "
    "and the label differ, the label is right.",
    "Take in all that is left, weigh it, and keep it locked away until then: never on a compost heap, into a drain, "
    "a ditch or water, nor where a dog, a cat or a hen can get at it.",
    "Keep no dilution for another day. Wash hands and face before eating, drinking or smoking.",
    "Log what went out and what came back, also where nothing did: a gap is no record.",
)
# Our choice: the parts of the answer, in the order in which two people go through them.
STATED_KEYS = ("authority", "product", "target", "bait")
AMOUNT_KEYS = ("product_volume", "active_ingredient", "rounding", "strength", "finished", "drops")


@dataclass(frozen=True, slots=True)
class Carried:
    """A station of the round, where its job stands, and where it is told to be.

    Attributes
    ----------
    station, job
        By the plan and by its log.
    where
        Its place in words; nothing if nobody has said.
    """

    station: Station
    job: Job
    where: str | None


@dataclass(frozen=True, slots=True)
class MixingSheet:
    """All that a mixing sheet says.

    Attributes
    ----------
    stations
        Those that get a portion, in the order in which they were given.
    portion
        Of each, as stated.
    told
        The answer of `dose` for all portions together.
    warnings
        What looks wrong, of the dose and of the stations.
    made_at, zone
        When it was made, aware UTC, and the clock of the place.
    """

    stations: tuple[Carried, ...]
    portion: str
    asked: Asked
    told: Answer
    warnings: tuple[str, ...]
    made_at: datetime
    zone: ZoneInfo

    def figures(self, keys: Sequence[str]) -> Iterator[Figure]:
        """Yield those figures of the answer that it holds, in this order."""
        held = {each.key: each for each in self.told.figures}
        yield from (held[key] for key in keys if key in held)


def sheet(
    stations: Sequence[Carried], told: Mapping[str, str], asked: Asked, made_at: datetime, zone: ZoneInfo
) -> MixingSheet:
    """Return the mixing sheet for some stations, mixed once.

    Parameters
    ----------
    stations : sequence of Carried
        Each once.
    told, asked
        By `stated.together` and `stated.asked`.
    made_at : datetime
        Aware UTC.
    zone : ZoneInfo
        The clock of the place.

    Raises
    ------
    ValueError
        If there is no station or one is a control, or as `trade.mixing.answer`: without a valid authority above all.
    """
    if not stations:
        raise ValueError("a mixing sheet needs at least one station")
    for each in stations:
        if each.station.role is Role.CONTROL:
            raise ValueError(f"{each.station} is a control station: it never gets toxic bait")
    found = answer(asked)
    warnings = (*(words for each in stations for words in _amiss(each)), *found.warnings)
    return MixingSheet(tuple(stations), told["portion"], asked, found, warnings, made_at, zone)


def _amiss(carried: Carried) -> Iterator[str]:
    acts = legal(carried.job, carried.station.role)
    if Act.SWAPPED not in acts and Act.REBAITED not in acts:
        yield f"{carried.station} is {carried.job.phase.value}: no toxic bait can be put in there now"
