"""A small plot of how much of the traffic is left: a point with its limits for each station, on one scale."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from swapbell_models.proof.fall import Fall

# Our choice: readable on a phone held at arm's length; it grows with the page.
WIDTH, ROW, EDGE = 360.0, 60.0, 14.0
# Our choice: beyond three times what it was, how much more says nothing of a fall.
TOP_MAX = 3.0
TICKS = 4


@dataclass(frozen=True, slots=True)
class Bar:
    """One row.

    Attributes
    ----------
    label, words
        Whose it is; the share and its limits.
    y
        Where its line lies.
    x, low, high
        Where the share and its limits lie; nothing where there is no number.
    beyond
        Whether the upper limit lies beyond the scale.
    """

    label: str
    words: str
    y: float
    x: float | None = None
    low: float | None = None
    high: float | None = None
    beyond: bool = False


@dataclass(frozen=True, slots=True)
class Forest:
    """The whole plot.

    Attributes
    ----------
    ticks
        Where each mark of the scale lies, with its words.
    whole
        Where the traffic is as it was before.
    """

    width: float
    height: float
    bars: tuple[Bar, ...]
    ticks: tuple[tuple[float, str], ...]
    whole: float


def forest(rows: Sequence[tuple[str, Fall | None]]) -> Forest:
    """Return the plot of some falls, by their labels and in their order; a row without a number says so."""
    highs = [fall.high for _, fall in rows if fall and fall.high is not None]
    top = min(TOP_MAX, max(1.0, *highs)) if highs else 1.0

    def x(share: float) -> float:
        return EDGE + min(share, top) / top * (WIDTH - 2.0 * EDGE)

    bars = tuple(_bar(label, fall, ROW * n + 42.0, top, x) for n, (label, fall) in enumerate(rows))
    ticks = tuple((x(top * n / TICKS), f"{top * n / TICKS:.0%}") for n in range(TICKS + 1))
    return Forest(WIDTH, ROW * len(rows) + 36.0, bars, ticks, x(1.0))


def _bar(label: str, fall: Fall | None, y: float, top: float, x: Callable[[float], float]) -> Bar:
    if fall is None or fall.ratio is None or fall.low is None or fall.high is None:
        return Bar(label, "no number", y)
    words = f"{fall.ratio:.1%} left ({fall.low:.1%} to {fall.high:.1%})"
    return Bar(label, words, y, x(fall.ratio), x(fall.low), x(fall.high), fall.high > top)
