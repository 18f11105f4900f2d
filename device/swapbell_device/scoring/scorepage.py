"""Scores for a page: the figures against the goals that the counter was given, and a row for each condition."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from swapbell_device.scoring.score import Score
from swapbell_device.scoring.scoretable import NOTHING, Figure, cell, rows, summary

# Heading, figure, and how it is printed.
COLUMNS = (
    ("condition", "condition", "s"),
    ("true", "true", "d"),
    ("counted", "counted", "d"),
    ("precision", "precision", ".3f"),
    ("recall", "recall", ".3f"),
    ("F1", "f1", ".3f"),
    ("visits F1", "f1_visits", ".3f"),
    ("count off", "count_error", ".1%"),
    ("length bias [mm]", "length_bias_mm", "+.2f"),
    ("spread [mm]", "length_spread_mm", ".2f"),
)


@dataclass(frozen=True, slots=True)
class Goal:
    """What a figure of the summary should come to: `limit` at least, or at most on either side of 0."""

    what: str
    key: str
    how: str
    limit: float
    least: bool = False

    def is_met(self, figure: float) -> bool:
        """Tell whether a figure is good enough."""
        return figure >= self.limit if self.least else abs(figure) <= self.limit

    def cells(self, figure: float) -> list[str]:
        """Return what it is, the figure, the goal, and whether it is met."""
        goal = f"{'>=' if self.least else '<='} {cell(self.limit, self.how.lstrip('+'))}"
        return [self.what, cell(figure, self.how), goal, "yes" if self.is_met(figure) else "**no**"]


# The goals that the counter was given.
GOALS = (
    Goal("F1 of all events (micro)", "f1", ".3f", 0.97, least=True),
    Goal("mean F1 of the conditions (macro)", "macro_f1", ".3f", 0.95, least=True),
    Goal("lowest F1 of a condition", "worst_f1", ".3f", 0.90, least=True),
    Goal("mean count error of the conditions", "macro_count_error", ".1%", 0.03),
    Goal("events counted where there were none", "counted_where_nothing_was", "d", 0),
    Goal("length bias [mm]", "length_bias_mm", "+.2f", 1.0),
    Goal("mean absolute length error [mm]", "length_error_mm", ".2f", 1.5),
    Goal("ten visits in five minutes: off at most [s]", "reached_off_s", ".1f", 5.0),
    Goal("ten visits in five minutes: clips where only one of truth and count gets there", "reached_wrongly", "d", 0),
)


def as_page(board: Mapping[str, Score], counted_on: date, machine: str) -> str:
    """Return both tables in Markdown, ready to be put into a page.

    Parameters
    ----------
    board : mapping
        The score of each condition.
    counted_on : date
        The day.
    machine : str
        What it was counted on.
    """
    day = f"{counted_on.day} {counted_on:%B %Y}"
    figures = _table(["figure", "here", "goal", "met"], list(_against_goals(board)))
    conditions = [[cell(row[key], how) for _, key, how in COLUMNS] for row in rows(board)]
    return "\n".join(
        [f"Counted on {day}, {machine}.", "", *figures, "", *_table([c[0] for c in COLUMNS], conditions)]
    )


def _against_goals(board: Mapping[str, Score]) -> Iterator[list[str]]:
    total = summary(board)
    for goal in GOALS:
        figure = total[goal.key]
        if isinstance(figure, int | float):
            yield goal.cells(figure)
    if total["f1_visits"] is not None:
        # No goal was given for it, but it is what the rule hangs on.
        yield ["F1 of visits: wasp-sized, in, size class right", cell(total["f1_visits"], ".3f"), NOTHING, NOTHING]


def _table(head: Sequence[Figure], lines: Sequence[Sequence[Figure]]) -> list[str]:
    return [f"| {' | '.join(map(str, line))} |" for line in (head, ["---"] * len(head), *lines)]
