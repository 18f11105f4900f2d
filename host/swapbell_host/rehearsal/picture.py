"""A rehearsal as a picture: visits in the last five minutes against the rule, with the notices marked.

The curves begin where the first five minutes are full: before that nobody knows what the window holds.
"""
# matplotlib leaves its keyword arguments untyped:
# pyright: reportUnknownMemberType=false

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

WINDOW_MIN = 5.0
STEPS_PER_MIN = 12
COUNTED_COLOUR, TRUE_COLOUR, RULE_COLOUR, INK = "#1f5f8b", "#c4c4c4", "#b3261e", "#222222"
# Our choice: the truth is a broad band, so that it stays in sight where the count lies on it.
TRUE_PT, COUNTED_PT = 7.0, 1.8


@dataclass(frozen=True, slots=True)
class Record:
    """What there is to draw, all in minutes since the station began to watch [min].

    Attributes
    ----------
    title
        What was watched.
    length_min
        How long.
    counted_min, true_min
        The visits counted, and those that were drawn; the latter empty where the truth is not known.
    gaps_min
        Stretches that nobody watched, start and end.
    notices
        The moment and the kind of each notice.
    """

    title: str
    length_min: float
    counted_min: list[float]
    true_min: list[float]
    gaps_min: list[tuple[float, float]]
    notices: list[tuple[float, str]]


def since(began_at: datetime, at: datetime) -> float:
    """Return the minutes between two aware moments [min]."""
    return (at - began_at).total_seconds() / 60.0


def draw(record: Record, rule_visits: int, path: Path) -> None:
    """Write the picture as PNG.

    Parameters
    ----------
    record : Record
        What to draw.
    rule_visits : int
        Visits in five minutes that the rule asks for.
    path : Path
        The file to write.
    """
    figure = Figure(figsize=(9.0, 4.2), dpi=120, layout="constrained")
    axes = figure.add_subplot()
    for began, ended in record.gaps_min:
        axes.axvspan(began, ended, facecolor="none", edgecolor=TRUE_COLOUR, hatch="///", linewidth=0.0)
    _curve(axes, record, record.true_min, "true visits", TRUE_COLOUR, TRUE_PT)
    _curve(axes, record, record.counted_min, "counted visits", COUNTED_COLOUR, COUNTED_PT)
    _rule(axes, rule_visits)
    for at_min, kind in record.notices:
        _mark(axes, at_min, kind)
    _dress(axes, record)
    figure.savefig(path)


def _curve(axes: Axes, record: Record, visits_min: list[float], label: str, colour: str, width_pt: float) -> None:
    if not visits_min:
        return
    first, last = int(WINDOW_MIN * STEPS_PER_MIN), int(record.length_min * STEPS_PER_MIN)
    moments = [step / STEPS_PER_MIN for step in range(first, last + 1)]
    counts = [sum(moment - WINDOW_MIN < at <= moment for at in visits_min) for moment in moments]
    axes.step(moments, counts, where="post", color=colour, linewidth=width_pt, label=label)


def _rule(axes: Axes, rule_visits: int) -> None:
    axes.axhline(rule_visits, color=RULE_COLOUR, linewidth=1.0, linestyle="--")
    axes.text(0.1, rule_visits + 0.3, f"the rule: {rule_visits} visits in 5 minutes", color=RULE_COLOUR, fontsize=9)


def _mark(axes: Axes, at_min: float, kind: str) -> None:
    axes.axvline(at_min, color=INK, linewidth=1.0)
    axes.text(at_min - 0.05, 0.3, kind, color=INK, rotation=90, ha="right", va="bottom", fontweight="bold")


def _dress(axes: Axes, record: Record) -> None:
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(0.0, record.length_min)
    axes.set_xlabel("minutes of watching")
    axes.set_ylabel("visits in the last 5 minutes")
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title(record.title, loc="left", fontsize=11)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="upper left", frameon=False)
