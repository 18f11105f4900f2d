"""How a telling reads on a phone: one notice with its evidence, or many in a few lines. Pure.

Times are shown by the site's clock, with its abbreviation. Nothing here knows an address.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from swapbell_host.alerting.outbox import OpenNotice, Why
from swapbell_host.alerting.schedule import SWAPS
from swapbell_host.jobs.moment import by_clock, localized
from swapbell_host.judging.swap import NOT_YET
from swapbell_models.notice import SWAP_CAUTION, NoticeKind

# Our choice: as many stations as fit a phone's screen with the rest of the message, the most pressing first.
NAMED_MAX = 12
# What a kind says in a line with others, the most pressing first.
WORDS = {
    NoticeKind.LEFT_OUT: "Toxic bait is still out, take it out now",
    NoticeKind.SWAP_OVERDUE: "The swap is overdue",
    NoticeKind.READY: "Ready for the swap",
    NoticeKind.DUE_OUT: "Toxic bait is due out soon",
    NoticeKind.VISITORS: "Other visitors at the lure, look before any swap",
    NoticeKind.FORECAST: "Probably ready soon",
    NoticeKind.TOUCHED: "The rule was reached, wait for the call to swap",
    NoticeKind.REINVASION: "Wasps come again",
    NoticeKind.COLLAPSED: "Traffic has collapsed",
    NoticeKind.SILENT: "No counts come",
    NoticeKind.BLIND: "The counter cannot count",
    NoticeKind.TWOFOLD: "Two counters under one name",
    NoticeKind.SUPPLY: "Power or disk is low",
    NoticeKind.HOLE: "Counts are missing",
}
# Why somebody has to look before a swap.
VISITED = "other visitors came too, look first"


@dataclass(frozen=True, slots=True)
class Line:
    """One notice of a telling.

    Attributes
    ----------
    zone
        The site's.
    spells
        How often it came and went within a day, where it does; else 0.
    warned
        Whether it calls for a swap where a warning of other visitors is open.
    """

    entry: OpenNotice
    why: Why
    zone: ZoneInfo
    spells: int = 0
    warned: bool = False

    @property
    def says_so(self) -> bool:
        """Whether its own words begin with such a warning."""
        return NOT_YET in self.entry.notice.text


def title(lines: Sequence[Line]) -> str:
    """Return the line above a telling."""
    if len(lines) > 1:
        return f"swapbell: {_counted(lines)}"
    (line,) = lines
    told = line.entry.notice
    begin = "nobody answered yet: " if line.why is Why.BEHIND else ""
    again = ", reminder" if line.why is Why.AGAIN else ""
    held = ", but do not swap yet" if told.kind in SWAPS and (line.warned or line.says_so) else ""
    return f"swapbell: {begin}{told.kind.value} at {told.site}/{told.station}{held}{again}"


def body(lines: Sequence[Line], page: str | None = None) -> str:
    """Return what is told: a notice whole, or several in a line for each kind; and how to answer.

    Parameters
    ----------
    lines
        What is told.
    page : str, optional
        Where people open the host's page; without it they answer by command.
    """
    return _one(lines[0], page) if len(lines) == 1 else _several(lines, page)


def _one(line: Line, page: str | None) -> str:
    told = line.entry.notice
    since = f"First seen {by_clock(told.raised_at, line.zone)}. " if line.why is not Why.FIRST else ""
    flaps = f"It comes and goes: {line.spells} times within a day. " if line.spells else ""
    warning = f"Do not swap before somebody has looked: {VISITED}. " if line.warned and not line.says_so else ""
    words = f"{since}{flaps}{warning}{localized(told.text, line.zone)}"
    if page:
        return f"{words}\nSeen to it, or not now: {page}/station/{told.site}/{told.station}"
    return (
        f"{words}\n"
        f"Seen to it: swapbell-host ack {line.entry.id}\n"
        f'Not now: swapbell-host shelve {line.entry.id} --for "2 h"'
    )


def _several(lines: Sequence[Line], page: str | None) -> str:
    kinds = sorted({line.entry.notice.kind for line in lines}, key=list(WORDS).index)
    said, left = list[str](), NAMED_MAX
    for kind in kinds:
        mine = [line for line in lines if line.entry.notice.kind is kind]
        said.append(f"{WORDS[kind]}: {_stations(mine, left)}.")
        left = max(left - len(mine), 0)
    if SWAPS & set(kinds):
        said.append(SWAP_CAUTION)
    by_command = "All, with numbers: swapbell-host status. Seen to one: swapbell-host ack NUMBER"
    return "\n".join([*said, f"All of them: {page}/" if page else by_command])


def _stations(lines: Sequence[Line], most: int) -> str:
    named = ", ".join(map(_named, lines[:most]))
    more = f"{len(lines) - most} more" if named else f"{len(lines)} stations"
    return f"{named} and {more}" if named and len(lines) > most else named or more


def _named(line: Line) -> str:
    told = line.entry.notice
    marks = [f"number {line.entry.id}"]
    marks += [f"do not swap: {VISITED}"] if told.kind in SWAPS and (line.warned or line.says_so) else []
    marks += ["again"] if line.why is Why.AGAIN else []
    marks += ["nobody answered yet"] if line.why is Why.BEHIND else []
    marks += [f"came and went {line.spells} times"] if line.spells else []
    return f"{told.site}/{told.station} ({', '.join(marks)})"


def _counted(lines: Sequence[Line]) -> str:
    kinds = [line.entry.notice.kind for line in lines]
    return ", ".join(f"{kinds.count(kind)} {kind.value}" for kind in WORDS if kind in kinds)
