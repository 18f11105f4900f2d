"""A forecast as a picture: what was counted, hour by hour, what is expected, and when the rule will be reached.

Hours that nobody watched are hatched: no data is not zero.
"""
# matplotlib leaves its keyword arguments untyped:
# pyright: reportUnknownMemberType=false

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from swapbell_host.forecasting.reading import Lure
from swapbell_host.forecasting.words import said
from swapbell_models.fault import Mistake
from swapbell_models.forecasting.forecast import CALL_SHARES, HORIZON, Band, Forecast, bands
from swapbell_models.traffic import Window

COUNTED_COLOUR, EXPECTED_COLOUR, RULE_COLOUR, INK = "#1f5f8b", "#c77b00", "#b3261e", "#222222"
GAP_COLOUR, NIGHT_COLOUR = "#9a9a9a", "#ececec"
# Our choice: an hour watched for less than six minutes says too little for a point.
WATCHED_SHARE_MIN = 0.1
# Our choice: an hour that was dark for the most part is night and no gap.
DARK_SHARE_MIN = 0.5
STEP = timedelta(minutes=20)
# Our choice: so much is shown beyond the last limit, or beyond now where there is none.
MARGIN = timedelta(hours=12)
EMPTY = timedelta(days=2)
# Our choice: room above the highest count for the legend.
HEADROOM = 1.5
S_PER_DAY = 86_400.0
NOON = time(12)


def draw(made: Forecast, lure: Lure, path: Path) -> None:
    """Write the picture as PNG, whole or not at all.

    Parameters
    ----------
    made : Forecast
        What is forecast.
    lure : Lure
        What it was made from.
    path : Path
        The file to write; one that is there is replaced.

    Raises
    ------
    Mistake
        If it cannot be written.
    """
    partial = path.with_name(f"{path.name}.part")
    try:
        _figure(made, lure).savefig(partial, format="png")
        partial.replace(path)
    except OSError as error:
        raise Mistake(f"picture {path}: {error.strerror}; choose another place") from error
    finally:
        partial.unlink(missing_ok=True)


def _figure(made: Forecast, lure: Lure) -> Figure:
    figure = Figure(figsize=(9.5, 4.6), dpi=120, layout="constrained")
    axes = figure.add_subplot()
    begin_at = lure.windows[0].from_at if lure.windows else lure.now - EMPTY
    end_at = min(lure.now + HORIZON, (made.latest.at if made.latest else lure.now + EMPTY) + MARGIN)
    _nights(axes, lure, begin_at, end_at)
    _counts(axes, lure)
    _expected(axes, lure, begin_at, end_at)
    _rule(axes, made, lure, begin_at)
    _reached(axes, made)
    _dress(axes, made, lure, (begin_at, end_at))
    return figure


def _nights(axes: Axes, lure: Lure, begin_at: datetime, end_at: datetime) -> None:
    spans = lure.foraging.spans
    for (_, dusk_at), (dawn_at, _) in pairwise(spans):
        if dusk_at < end_at and dawn_at > begin_at and dusk_at < dawn_at:
            axes.axvspan(_x(dusk_at), _x(dawn_at), facecolor=NIGHT_COLOUR, linewidth=0.0, zorder=0)


def _counts(axes: Axes, lure: Lure) -> None:
    """Put a point in each watched hour, and hatch the hours that nobody watched."""
    per_window = lure.rule.window_s
    seen = [w for w in lure.windows if _is_seen(w)]
    axes.plot(
        [_x(w.from_at + (w.to_at - w.from_at) / 2) for w in seen],
        [w.counted / w.watched_s * per_window for w in seen],
        "o",
        color=COUNTED_COLOUR,
        markersize=3.5,
        label="counted, by hour of watching",
    )
    label = "nobody watched"
    for gap in (w for w in lure.windows if not _is_seen(w) and w.dark_s < DARK_SHARE_MIN * w.seconds):
        span = axes.axvspan(_x(gap.from_at), _x(gap.to_at), facecolor="none", edgecolor=GAP_COLOUR, linewidth=0.0)
        span.set(hatch="///", label=label)
        label = "_"  # one line in the legend for all


def _is_seen(window: Window) -> bool:
    return window.watched_s > 0.0 and window.watched_s >= WATCHED_SHARE_MIN * (window.seconds - window.dark_s)


def _expected(axes: Axes, lure: Lure, begin_at: datetime, end_at: datetime) -> None:
    """Draw what is expected day by day, with nothing in the night."""
    days = [(max(a, begin_at), min(b, end_at)) for a, b in lure.foraging.spans if a < end_at and b > begin_at]
    for number, (from_at, to_at) in enumerate(days):
        moments = [from_at + k * STEP for k in range((to_at - from_at) // STEP + 1)]
        found = bands(lure.windows, lure.foraging, lure.now, lure.rule, moments)
        _band(axes, found, "_" if number else "")


def _band(axes: Axes, found: Sequence[Band], hidden: str) -> None:
    x = [_x(band.at) for band in found]
    low, middle, high = ([getattr(band, name) for band in found] for name in ("low", "middle", "high"))
    label = f"{hidden}8 times of 10 it is in here"
    axes.fill_between(x, low, high, color=EXPECTED_COLOUR, alpha=0.25, linewidth=0.0, label=label)
    axes.plot(x, middle, color=EXPECTED_COLOUR, linewidth=1.6, label=f"{hidden}expected")


def _rule(axes: Axes, made: Forecast, lure: Lure, begin_at: datetime) -> None:
    visits, minutes = made.rule.visits, made.rule.window_s / 60.0
    axes.axhline(visits, color=RULE_COLOUR, linewidth=1.0, linestyle="--")
    axes.text(_x(begin_at), visits, f" the rule: {visits} visits in {minutes:g} min", color=RULE_COLOUR, va="bottom")
    axes.axvline(_x(lure.now), color=INK, linewidth=1.0)
    axes.text(_x(lure.now), 0.0, "now ", color=INK, rotation=90, ha="right", va="bottom")


def _reached(axes: Axes, made: Forecast) -> None:
    """Mark the limits at the height of the rule and the middle between them, and those of the call below."""
    if made.earliest and made.reached and made.latest:
        limits = [_x(made.earliest.at), _x(made.latest.at)]
        axes.plot(limits, [made.rule.visits] * 2, color=RULE_COLOUR, linewidth=5.0, solid_capstyle="butt", zorder=3)
        axes.plot([_x(made.reached.at)], [made.rule.visits], "D", color=INK, markersize=6.0, zorder=4)
    if made.call:
        height = made.rule.visits * CALL_SHARES[len(CALL_SHARES) // 2]
        axes.plot([_x(made.call[0].at), _x(made.call[2].at)], [height] * 2, color=INK, linewidth=2.5, zorder=3)
        axes.text(_x(made.call[0].at), height, "the call `ready` ", color=INK, fontsize=8, ha="right", va="center")


def _dress(axes: Axes, made: Forecast, lure: Lure, shown: tuple[datetime, datetime]) -> None:
    seen = [w.counted / w.watched_s * lure.rule.window_s for w in lure.windows if _is_seen(w)]
    axes.set_ylim(0.0, HEADROOM * max([float(made.rule.visits), *seen]))
    _days(axes, lure.zone, *shown)
    axes.set_xlim(*map(_x, shown))
    axes.set_xlabel(f"time by the site's clock, {lure.zone.key}")
    axes.set_ylabel(f"visits in {made.rule.window_s / 60.0:g} min")
    axes.spines[["top", "right"]].set_visible(False)
    title = f"{lure.site}/{lure.station}: {said(made, lure.zone)}".replace("; ", ";\n")
    axes.set_title(title, loc="left", fontsize=9)
    axes.legend(loc="upper left", framealpha=0.9, edgecolor="none", fontsize=8)


def _days(axes: Axes, zone: ZoneInfo, begin_at: datetime, end_at: datetime) -> None:
    """Name each day at its noon by the site's clock, and mark each midnight."""
    first = begin_at.astimezone(zone).date()
    dates = [first + timedelta(days=k) for k in range((end_at - begin_at).days + 2)]
    noons = [datetime.combine(on, NOON, zone) for on in dates]
    inside = [noon for noon in noons if begin_at <= noon <= end_at]
    axes.set_xticks([_x(noon) for noon in inside], [f"{noon:%a %-d %b}" for noon in inside])
    axes.set_xticks([_x(datetime.combine(on, time(), zone)) for on in dates[1:]], minor=True)
    axes.tick_params(axis="x", which="major", length=0.0)
    axes.tick_params(axis="x", which="minor", length=6.0)


def _x(at: datetime) -> float:
    """Return a moment as matplotlib counts them: in days since 1970, UTC."""
    return at.timestamp() / S_PER_DAY
