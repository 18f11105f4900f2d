"""The latest look at a station as the pages show it: its verdict, its last count, and why there is none."""

from dataclasses import dataclass
from datetime import datetime

from swapbell_host.board import Seen
from swapbell_host.judging.history import COUNTING
from swapbell_models.notice import HINDRANCES
from swapbell_models.readiness import Reason, Step, gappy

WHY = {
    Reason.DARK: "it is dark there, and no wasp flies",
    Reason.RAIN: "it rains there",
    Reason.COLD: "it is too cold there",
    Reason.GAPS: "too little was watched",
    Reason.BLIND: "the counter cannot count",
    Reason.SILENT: "no count comes from it",
    Reason.TWOFOLD: "two counters report under its name",
}
SAYS = {
    Step.UNJUDGED: "unjudged",
    Step.QUIET: "quiet: less than half the rule",
    Step.BUILDING: "building: half the rule or more",
    Step.TOUCHED: "touched: the rule was reached once, and is not confirmed",
    Step.READY: "ready: the rule is reached and confirmed",
}


@dataclass(frozen=True, slots=True)
class Glance:
    """What is shown of a station.

    Attributes
    ----------
    step, words
        The verdict, in one word and in several.
    short, why
        Why nothing can be said, without and with what hinders the counter; empty otherwise.
    visits
        In the last window; nothing where nobody knows.
    least
        Whether more may have come: not all of the window was watched.
    watched
        Which share of the window was watched, 0 to 1; nothing where there is none.
    rule, minutes
        What the rule asks for, in how many minutes.
    counted_at, judged_at
        The end of the window, nothing where there is none; and when it was looked at, aware UTC.
    """

    step: str
    words: str
    short: str
    why: str
    visits: int | None
    least: bool
    watched: float | None
    rule: int
    minutes: float
    counted_at: datetime | None
    judged_at: datetime


def glance(seen: Seen) -> Glance:
    """Return what is shown of a look."""
    verdict, rule = seen.verdict, seen.rule
    last = None if verdict.reason is Reason.SILENT else verdict.last
    return Glance(
        step=verdict.step.value,
        words=SAYS[verdict.step],
        short=_short(seen),
        why=_why(seen),
        visits=last.visits if last else None,
        least=last is not None and gappy(last),
        watched=last.watched_s / last.seconds if last else None,
        rule=rule.visits,
        minutes=rule.window_s / 60.0,
        counted_at=verdict.last.to_at if verdict.last else None,
        judged_at=seen.at,
    )


def _short(seen: Seen) -> str:
    reason, phase = seen.verdict.reason, seen.history.phase
    if reason is Reason.SILENT and phase not in COUNTING:
        return f"no count is expected of it while {phase.value}"
    return WHY[reason] if reason else ""


def _why(seen: Seen) -> str:
    hindrance = seen.verdict.hindrance
    return f"{_short(seen)}: {HINDRANCES[hindrance]}" if hindrance else _short(seen)
