"""The rehearsal as a person sees it in a terminal: traffic, the rule, the verdict, the notices."""

from datetime import timedelta

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from swapbell_host.rehearsal.audience import Heard
from swapbell_models.message import NoticeMessage
from swapbell_models.tally import Tally

LEVELS = "▁▂▃▄▅▆▇█"
GAP = "·"
MINUTES_SHOWN = 20
# Our choice: below half a minute watched, a bar would show the gap rather than the traffic.
WATCHED_MIN_S = 30.0

VERDICT_STYLES = {"ready": "bold green", "touched": "bold yellow", "building": "yellow", "unjudged": "magenta"}


def drawing(heard: Heard, title: str, rule_visits: int) -> RenderableType:
    """Return the whole view of what was heard so far.

    Parameters
    ----------
    heard : Heard
        What the audience has heard.
    title : str
        The words above it.
    rule_visits : int
        Visits in five minutes that the rule asks for.
    """
    return Panel(
        Group(_facts(heard, rule_visits), Text(), *[_line(notice) for notice in heard.notices.values()]),
        title=title,
        title_align="left",
    )


def _facts(heard: Heard, rule_visits: int) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_row("station time", _elapsed(heard))
    table.add_row("visits a minute", _bars(heard))
    table.add_row("last 5 minutes", _against_rule(heard, rule_visits))
    table.add_row("verdict", _verdict(heard))
    return table


def _elapsed(heard: Heard) -> str:
    began, ended = heard.began_at(), heard.ended_at()
    if began is None or ended is None:
        return "waiting for the first tally"
    return f"{ended:%H:%M:%S} UTC, watching for {ended - began}".split(".", maxsplit=1)[0]


def _bars(heard: Heard) -> str:
    began, ended = heard.began_at(), heard.ended_at()
    if began is None or ended is None:
        return GAP
    tallies = list(heard.tallies.values())
    starts = [began + timedelta(minutes=m) for m in range(int((ended - began).total_seconds() // 60))]
    minutes = [[t for t in tallies if start <= t.from_at < start + timedelta(minutes=1)] for start in starts]
    return "".join(_bar(minute) for minute in minutes[-MINUTES_SHOWN:])


def _bar(minute: list[Tally]) -> str:
    if sum(tally.watched_s for tally in minute) < WATCHED_MIN_S:
        return GAP
    return LEVELS[min(sum(len(tally.visits_at()) for tally in minute), len(LEVELS) - 1)]


def _against_rule(heard: Heard, rule_visits: int) -> RenderableType:
    standing = heard.standing
    if standing is None or standing.visits is None:
        return Text("not known yet")
    row = Table.grid(padding=(0, 1))
    bar = ProgressBar(total=rule_visits, completed=min(standing.visits, rule_visits), width=30)
    row.add_row(bar, f"{standing.visits} visits, the rule asks for {rule_visits}")
    return row


def _verdict(heard: Heard) -> Text:
    standing = heard.standing
    if standing is None:
        return Text("none yet")
    words = standing.verdict if not standing.reason else f"{standing.verdict}: {standing.reason}"
    return Text(words, style=VERDICT_STYLES.get(standing.verdict, ""))


def _line(notice: NoticeMessage) -> Text:
    words = f"{notice.raised_at:%H:%M:%S} {notice.kind}: {notice.text}"
    return Text(words, style=VERDICT_STYLES.get(notice.kind, ""))
