"""A forecast for a person, and for a script: each figure with its unit and source, and the cautions."""

from collections.abc import Iterator, Mapping
from datetime import timedelta
from zoneinfo import ZoneInfo

from swapbell_host.forecasting.reading import Lure
from swapbell_host.trade.answer import Answer, Figure
from swapbell_models.confirmation import Confirm
from swapbell_models.forecasting.forecast import HORIZON, MIN_DAYS, STALE, Forecast, Moment, Refusal
from swapbell_models.forecasting.growth import Growth
from swapbell_models.quantity import aware

CAUTIONS = (
    "A forecast plans the trip; only counts say when to swap. Wait for the call, and look before you do anything.",
    "The call `ready` comes before the mean reaches the rule: by luck, two windows of three are full at some two "
    "thirds of it. Its limits are rough, and hold only if all is watched.",
    "It is of this station alone: where several of a site are to be swapped, their mean may call for it earlier.",
    "It takes the days ahead for days like those watched: rain, cold, autumn, a dry lure or another source of food "
    "make it too early, and nothing in the counts can say so. Growth that levels off is not foreseen.",
)
# Our choice: a day to prepare and to travel, and the morning on which the word comes.
DAY_AHEAD = timedelta(hours=30)
# Our choice: beyond one in a hundred the digits mean nothing to a person.
RARE = 0.01

_MODEL = "fitted to the counts: level x growth x activity x watched time, negative binomial; 80 % limits"
_CALL = "the traffic at 43 to 76 % of the rule, where simulated stations were called (models/decisions, 0012)"
_SUN = "22 min longer than the sun's day: Kasper et al. 2008, Insectes Sociaux 55; split evenly: our choice"
_SHAPES = "shapes: Lozada et al. 2016, PLoS ONE 11:e0152080; each taken to be as likely as the others beforehand"
_LEDGER = "counted, from the ledger"
_RULE = "the host's configuration; 10 visits in 5 min: common practice, no source"
_CURVE = (
    "least, 40 %, at both ends of the day and even through its middle half: our choice, "
    "within Komonen and Torniainen 2022"
)

REASONS: Mapping[Refusal, str] = {
    Refusal.TOO_FEW_DAYS: f"growth shows from day to day, and fewer than {MIN_DAYS} days were watched for an hour",
    Refusal.STALE: f"the last count is older than {STALE // timedelta(hours=1)} h: what came since is not known",
    Refusal.ALREADY_THERE: "the traffic has probably reached the rule already: the verdict tells, see `status`",
    Refusal.NO_GROWTH: "the counts do not show that the traffic grows",
    Refusal.BEYOND_HORIZON: f"it may well take more than {HORIZON.days} days",
}


def answer(made: Forecast, lure: Lure) -> Answer:
    """Return a forecast in words, figures and cautions."""
    figures = (*_moments(made, lure.zone), *_call(made, lure.zone), *_evidence(made), *_basis(made, lure))
    return Answer(figures, cautions=CAUTIONS)


def day_ahead(made: Forecast, zone: ZoneInfo) -> str | None:
    """Return what a person should hear a day ahead of the call, or of the rule; nothing if neither comes so soon.

    Parameters
    ----------
    made : Forecast
        By whoever made it, at any time.
    zone : ZoneInfo
        The site's clock.
    """
    first = made.call[1] if made.call else made.reached
    if first is None or first.at - made.made_at > DAY_AHEAD:
        return None
    call = f"{_called(made.call, zone)}; " if made.call else ""
    return f"{call}{said(made, zone)}. Get ready, but wait for the call: only counts say when to swap."


def _moments(made: Forecast, zone: ZoneInfo) -> Iterator[Figure]:
    yield Figure("forecast", "forecast", said(made, zone), _MODEL, made.refusal is None)
    yield Figure("refusal", "refusal", "none", _MODEL) if made.refusal is None else _refused(made.refusal)
    for name in ("earliest", "reached", "latest"):
        moment: Moment | None = getattr(made, name)
        if moment is not None:
            value = {"at": _iso(moment, zone), "foraging_h": round(moment.foraging_h, 2)}
            yield Figure(name, name, _moment(moment, zone), _MODEL, value, "h")


def _call(made: Forecast, zone: ZoneInfo) -> Iterator[Figure]:
    if made.call:
        value = {
            name: _iso(each, zone) for name, each in zip(("earliest", "middle", "latest"), made.call, strict=True)
        }
        yield Figure("call", "call `ready`", _called(made.call, zone), _CALL, value)
    elif made.reached and made.rule.confirm is Confirm.TWO_OF_THREE:
        yield Figure("call", "call `ready`", "it may come at any time, or has come: see `status`", _CALL)


def _called(call: tuple[Moment, Moment, Moment], zone: ZoneInfo) -> str:
    earliest, middle, latest = (_when(each, zone) for each in call)
    return f"the call `ready` is likely about {middle}, 8 times of 10 between {earliest} and {latest}"


def _refused(refusal: Refusal) -> Figure:
    return Figure("refusal", "refusal", f"{refusal.value}: {REASONS[refusal]}", _MODEL, refusal.value)


def said(made: Forecast, zone: ZoneInfo) -> str:
    """Return the whole in one sentence without its full stop."""
    rule = f"{made.rule.visits} visits in {made.rule.window_s / 60.0:g} min"
    if made.earliest and made.reached and made.latest:
        limits = f"between {_when(made.earliest, zone)} and {_when(made.latest, zone)}"
        return f"{rule} are to be expected from {_when(made.reached, zone)} on; 8 times of 10 it is {limits}"
    assert made.refusal is not None, "a forecast has a middle or a refusal"
    before = f"; before {_when(made.earliest, zone)} the chance is 1 in 10" if made.earliest else ""
    return f"when {rule} come cannot be said: {REASONS[made.refusal]}{before}"


def _evidence(made: Forecast) -> Iterator[Figure]:
    if made.growth:
        yield Figure("growth", "growth", _shapes(made.growth), _SHAPES, {g.value: made.growth[g] for g in Growth})
    if made.now_per_window:
        low, middle, high = made.now_per_window
        minutes = made.rule.window_s / 60.0
        words = f"{middle:.1f} visits in {minutes:g} min ({low:.1f} to {high:.1f}) in the busiest part of the day"
        yield Figure("now", "traffic now", words, _MODEL, list(made.now_per_window), f"visits per {minutes:g} min")
    if made.scatter is not None:
        words = "Poisson" if made.scatter == 0.0 else f"lumpier than Poisson: k = {1.0 / made.scatter:.1f}"
        yield Figure("scatter", "lumpiness", words, "Pearson's chi-square within days", made.scatter, "1/k")


def _shapes(growth: Mapping[Growth, float]) -> str:
    likeliest = sorted(growth, key=growth.__getitem__, reverse=True)
    return ", ".join(f"{each.value} {_share(growth[each])}" for each in likeliest)


def _share(share: float) -> str:
    if share < RARE:
        return "below 1 %"
    return "above 99 %" if share > 1.0 - RARE else f"{100.0 * share:.0f} %"


def _basis(made: Forecast, lure: Lure) -> Iterator[Figure]:
    basis = made.basis
    words = f"{basis.visits} visits in {basis.watched_h:.1f} watched foraging hours of {basis.days} days"
    value = {"visits": basis.visits, "watched_h": round(basis.watched_h, 2), "days": basis.days}
    yield Figure("basis", "stands on", words, _LEDGER, value)
    day = "the sun's at the station" if lure.by_sun else "as you stated it"
    span = next(span for span in lure.foraging.spans if span[1] > lure.now)
    hours = " to ".join(f"{at.astimezone(lure.zone):%H:%M}" for at in span)
    yield Figure("foraging_day", "foraging day", f"{hours}, {day}", _SUN if lure.by_sun else day, hours)
    levels = ", ".join(f"{level:g}" for level in lure.foraging.curve.levels)
    yield Figure("curve", "activity", f"{levels} through the day", _CURVE, list(lure.foraging.curve.levels))
    yield Figure(
        "rule", "rule", f"{made.rule.visits} visits in {made.rule.window_s / 60.0:g} min", _RULE, made.rule.visits
    )


def _moment(moment: Moment, zone: ZoneInfo) -> str:
    return f"{_when(moment, zone)}, after {moment.foraging_h:.1f} more foraging hours"


def _when(moment: Moment, zone: ZoneInfo) -> str:
    return f"{aware('at', moment.at).astimezone(zone):%a %Y-%m-%d %H:%M %z}"


def _iso(moment: Moment, zone: ZoneInfo) -> str:
    return moment.at.astimezone(zone).isoformat(timespec="minutes")
