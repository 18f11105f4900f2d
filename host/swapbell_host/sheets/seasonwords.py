"""A season in words: how it was counted, what that cannot tell, what became of the traffic, what people saw."""

from collections.abc import Iterator

from swapbell_host.jobs.moment import local
from swapbell_host.sheets.season import Season
from swapbell_host.verifying.finding import S_PER_H, Finding, Side
from swapbell_models.proof.fall import NOT_DEAD
from swapbell_models.sizes import CAUTION

METHOD = (
    "A camera above the opening counts bodies that cross the gate line and get half a body length beyond it. A "
    "visit is one wasp-sized body that comes in: ten visits are about twenty crossings.",
    "Every count comes with the time that was really watched. Rates are visits per watched hour; where a day was "
    "watched in part, its visits are the least that there were.",
    "Foraging hours: from 11 minutes before sunrise to 11 minutes after sunset, where somebody has said where the "
    "station hangs; outside of them nobody watches, whatever the counter says. Where nobody has said it, time "
    "watched is of the whole day.",
    "While two counters report under one name, neither is counted: that is a gap.",
)
LIMITS = (
    CAUTION,
    "Visits at a station are not traffic at a nest: they end when bait dries, when it rains or grows dark, and when "
    "wasps turn to sugar, and they come back when others move in.",
    "Rain and cold are not known to the counter: such hours count as watched without visits, unless it was blind.",
    "A gap, a night, a blind camera and a silent board are shown as gaps: no data is not zero.",
)


def finding_words(found: Finding) -> str:
    """Return what became of the traffic at some stations; that quiet is not dead is said once, beside them all."""
    if found.why:
        return f"cannot be told: {found.why}."
    seen = f"before {_side(found.before)}; after {_side(found.after)}."
    fell = f" {found.fall.words}" if found.fall else ""
    against = f" Against the control stations: {found.against.words}" if found.against else f" {found.caution}"
    return f"{seen}{fell}{against}".replace(f" {NOT_DEAD}", "")


def _side(side: Side) -> str:
    if not side.watched_s:
        return "nothing was watched"
    rate, limits = side.per_h, side.limits_per_h
    spread = f", 95 % limits {limits[0]:.1f} to {limits[1]:.1f}" if limits else ""
    return f"{side.visits} visits in {side.watched_s / S_PER_H:.1f} h watched ({rate:.1f} per h{spread})"


def remarks(season: Season, name: str) -> Iterator[str]:
    """Yield what people wrote of one kind with their entries, oldest first.

    Parameters
    ----------
    season : Season
        Whose.
    name : str
        Of the entries' field, `incident` or `non_targets`.
    """
    entries = [(each, getattr(each, name)) for course in season.courses for each in course.entries]
    told = sorted(((each, text) for each, text in entries if text is not None), key=lambda pair: pair[0].at)
    for each, text in told:
        yield f"{local(each.at, season.site.clock)} {each.station}, {each.act.value}, {each.by}: {text}"
