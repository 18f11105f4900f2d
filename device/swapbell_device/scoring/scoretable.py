"""Scores as figures and as a table: one row for each condition, and all of them together."""

import json
from collections.abc import Iterable, Mapping

from swapbell_device.scoring.score import Score
from swapbell_models.sizes import CAUTION, SizeClass

Figure = float | int | str | None
Row = dict[str, Figure]

# Heading, figure, and how it is printed; a dash stands where there is nothing to tell.
COLUMNS = (
    ("condition", "condition", "s"),
    ("true", "true", "d"),
    ("counted", "counted", "d"),
    ("precision", "precision", ".3f"),
    ("recall", "recall", ".3f"),
    ("F1", "f1", ".3f"),
    ("F1 in", "f1_in", ".3f"),
    ("F1 out", "f1_out", ".3f"),
    ("count off", "count_error", ".1%"),
    ("small", "f1_small", ".3f"),
    ("wasp", "f1_wasp", ".3f"),
    ("large", "f1_large", ".3f"),
    ("bias mm", "length_bias_mm", "+.2f"),
    ("spread mm", "length_spread_mm", ".2f"),
    ("worst 5 min", "worst_window", "s"),
    ("10 in 5 off s", "reached_off_s", ".1f"),
)
NOTHING = "-"


def figures(score: Score) -> Row:
    """Return the figures of one score; None where there is nothing to tell."""
    sizes = {f"f1_{size.value}": score.sizes[size].f1 if size in score.sizes else None for size in SizeClass}
    true, counted = score.worst_window
    return {
        "true": score.whole.true,
        "counted": score.whole.counted,
        "matched": score.whole.matched,
        "precision": score.whole.precision,
        "recall": score.whole.recall,
        "f1": score.whole.f1,
        "f1_in": score.inward.f1,
        "f1_out": score.outward.f1,
        "count_error": score.count_error,
        **sizes,
        "f1_visits": score.visits.f1,
        "length_bias_mm": score.length_bias_mm,
        "length_spread_mm": score.length_spread_mm,
        "length_error_mm": score.length_error_mm,
        "worst_window": f"{counted} of {true}",
        "reached_off_s": score.reached_off_s,
        "reached_wrongly": score.reached_wrongly,
    }


def rows(board: Mapping[str, Score]) -> list[Row]:
    """Return one row of figures for each condition."""
    return [{"condition": condition, **figures(score)} for condition, score in board.items()]


def summary(board: Mapping[str, Score]) -> Row:
    """Return the figures of all events as one (micro), and the means over the conditions (macro)."""
    judged = [score for score in board.values() if score.whole.true]
    empty = [score.whole.counted for score in board.values() if not score.whole.true]
    return {
        "condition": "all events",
        **figures(sum(board.values(), Score())),
        "macro_f1": _mean(score.whole.f1 for score in judged),
        "macro_count_error": _mean(score.count_error for score in judged),
        "worst_f1": min((score.whole.f1 or 0.0 for score in judged), default=None),
        "counted_where_nothing_was": sum(empty) if empty else None,
    }


def as_json(board: Mapping[str, Score]) -> str:
    """Return all figures as JSON."""
    return json.dumps({"conditions": rows(board), "summary": summary(board), "caution": CAUTION}, indent=1)


def as_table(board: Mapping[str, Score]) -> str:
    """Return all figures as a table for a terminal, and what they amount to below it."""
    total = summary(board)
    lines = [[heading for heading, _, _ in COLUMNS], *(_cells(row) for row in [*rows(board), total])]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    table = [
        " ".join(_pad(text, width, place) for place, (text, width) in enumerate(zip(line, widths, strict=True)))
        for line in lines
    ]
    return "\n".join([*table, "", _sentence(total), CAUTION])


def cell(figure: Figure, how: str) -> str:
    """Return a figure as it is printed, a dash where there is nothing to tell."""
    return NOTHING if figure is None else format(figure, how)


def _cells(row: Row) -> list[str]:
    return [cell(row[key], how) for _, key, how in COLUMNS]


def _pad(text: str, width: int, place: int) -> str:
    return text.rjust(width) if place else text.ljust(width)


def _sentence(total: Row) -> str:
    return (
        f"F1 micro {cell(total['f1'], '.3f')}, macro {cell(total['macro_f1'], '.3f')}, "
        f"worst condition {cell(total['worst_f1'], '.3f')}; "
        f"count off by {cell(total['macro_count_error'], '.1%')} in the mean of the conditions; "
        f"{cell(total['counted_where_nothing_was'], 'd')} counted where nothing was; "
        f"length off by {cell(total['length_error_mm'], '.2f')} mm in the mean; "
        f"ten in five minutes reached by only one of truth and count in {cell(total['reached_wrongly'], 'd')} clips."
    )


def _mean(figures: Iterable[float | None]) -> float | None:
    known = [figure for figure in figures if figure is not None]
    return sum(known) / len(known) if known else None
