"""The season report as pages to print: the site, what became of the traffic, then each station with its picture."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta

from reportlab.lib.units import mm

from swapbell_host.jobs.moment import local
from swapbell_host.sheets.answering import Answered
from swapbell_host.sheets.curve import UNDER, curve
from swapbell_host.sheets.form import Paper
from swapbell_host.sheets.groundplan import UNDER as PLAN_UNDER
from swapbell_host.sheets.groundplan import Spot, plan
from swapbell_host.sheets.page import FINE, STRONG, Leaf
from swapbell_host.sheets.season import S_PER_H, Course, Day, Season, Verified
from swapbell_host.sheets.seasonwords import LIMITS, METHOD, finding_words, remarks
from swapbell_models.notice import lapse
from swapbell_models.proof.fall import NOT_DEAD

STATION_PT = 40 * mm
UNKNOWN = "-"
# Our choice: as many days side by side as a line holds.
ABREAST = 3


def pdf(season: Season, spots: Sequence[Spot], paper: Paper) -> bytes:
    """Return a season report to print."""
    site, zone = season.site, season.site.clock
    last_at = season.to_at - timedelta.resolution
    days = f"{season.from_at.astimezone(zone):%Y-%m-%d} to {last_at.astimezone(zone):%Y-%m-%d}"
    made = local(season.at, zone)
    leaf = Leaf(
        "Season report",
        f"Site {site.name}, {days}, times by {zone.key}",
        paper,
        f"swapbell, season of {site.name}, made {made}",
    )
    _overview(leaf, season)
    if spots:
        leaf.picture(plan(spots, leaf.width), PLAN_UNDER)
    _verified(leaf, season)
    _answers(leaf, season.answered)
    _remarks(leaf, season)
    for course in season.courses:
        _station(leaf, course, season)
    _method(leaf)
    for course in season.courses:
        _days(leaf, course)
    return leaf.pdf()


def _overview(leaf: Leaf, season: Season) -> None:
    leaf.head("Stations")
    head = ("station", "role", "phase", "visits", "watched, h", "share", "gaps, days")
    rows = [_line(course) for course in season.courses]
    leaf.table(head, rows, (STATION_PT, 18 * mm, 0.0, 18 * mm, 25 * mm, 18 * mm, 25 * mm))
    leaf.text(
        "Share: of the foraging hours while counts were expected. A day without a count is a gap; - is not known.",
        FINE,
    )


def _line(course: Course) -> Sequence[str]:
    gaps = sum(day.is_gap for day in course.days)
    phase = course.stages[-1].phase.value if course.stages else UNKNOWN
    hours = f"{course.watched_s / S_PER_H:.1f}"
    return (
        course.station.name,
        course.station.role.value,
        phase,
        _number(course.visits),
        hours,
        _share(course.share),
        f"{gaps}",
    )


def _number(visits: int | None) -> str:
    return UNKNOWN if visits is None else f"{visits}"


def _share(share: float | None) -> str:
    return UNKNOWN if share is None else f"{share:.0%}"


def _verified(leaf: Leaf, season: Season) -> None:
    leaf.head("What became of the traffic after each swap")
    if not season.verified:
        leaf.text("No swap is logged in this time.")
    for each in season.verified:
        leaf.text(f"Swap of {local(each.swapped_at, season.site.clock)}:", STRONG)
        leaf.table(None, _findings(each), (STATION_PT, 0.0))
    leaf.text(NOT_DEAD)


def _findings(verified: Verified) -> Iterator[tuple[str, str]]:
    every = ([verified.together] if verified.together else []) + list(verified.each)
    for finding in every:
        yield ", ".join(name for _, name in finding.stations), finding_words(finding)


def _answers(leaf: Leaf, answered: Sequence[Answered]) -> None:
    leaf.head("What people were told, and how fast they answered")
    if not answered:
        leaf.text("No notice was raised in this time.")
    head = ("about", "raised", "seen to", "usually after", "at the latest", "over by itself", "open")
    rows = [
        (
            each.kind,
            f"{each.raised}",
            f"{each.acknowledged}",
            _lapse(each.usual),
            _lapse(each.longest),
            f"{each.ended}",
            f"{each.open}",
        )
        for each in answered
    ]
    leaf.table(head, rows, (0.0, 18 * mm, 19 * mm, 29 * mm, 29 * mm, 31 * mm, 14 * mm))


def _lapse(length: timedelta | None) -> str:
    return "-" if length is None else lapse(length)


def _remarks(leaf: Leaf, season: Season) -> None:
    for title, name in (("Incidents", "incident"), ("Non-targets seen", "non_targets")):
        leaf.head(title, 20.0)
        found = list(remarks(season, name))
        if found:
            leaf.items(found)
        else:
            leaf.text("Nobody logged anything of this, neither some nor none.")


def _station(leaf: Leaf, course: Course, season: Season) -> None:
    zone = season.site.clock
    leaf.head(f"{course.station}, {course.station.role.value} station", 80.0)
    if not any(day.is_gap or day.visits is not None for day in course.days):
        leaf.text("No count was expected here in this time, and there is none.")
        return
    leaf.picture(curve(course, zone, leaf.width), UNDER)
    leaf.text(f"Days on which counts were expected and nobody watched: {_runs(course.gaps()) or 'none'}.")
    if twofold := _runs(course.twofold()):
        leaf.text(f"Days on which two counters reported under its name, which is counted as a gap: {twofold}.")
    rows = [(each.phase.value, local(each.from_at, zone), local(each.to_at, zone)) for each in course.stages]
    leaf.table(("phase", "from", "to"), rows, (30 * mm, 42 * mm, 0.0), style=FINE)
    leaf.table(
        ("logged", "when", "by", "mass"), _logged(course, season), (30 * mm, 42 * mm, 0.0, 24 * mm), style=FINE
    )
    if course.corrected:
        leaf.text(f"{course.corrected} of its entries correct or strike out another; shown is what stands.", FINE)


def _runs(days: Iterable[tuple[date, date]]) -> str:
    return ", ".join(f"{first}" if first == last else f"{first} to {last}" for first, last in days)


def _logged(course: Course, season: Season) -> Iterator[Sequence[str]]:
    for each in course.entries:
        mass = "not weighed" if each.mass_g is None else f"{each.mass_g:g} g"
        yield each.act.value, local(each.at, season.site.clock), each.by, mass


def _method(leaf: Leaf) -> None:
    leaf.head("How this was counted, and what it cannot tell")
    leaf.items((*METHOD, *LIMITS))


def _days(leaf: Leaf, course: Course) -> None:
    told = [day for day in course.days if day.visits is not None or day.is_gap]
    if not told:
        return
    leaf.head(f"{course.station}, day by day")
    rows = -(-len(told) // ABREAST)
    columns = [told[start : start + rows] for start in range(0, len(told), rows)]
    lines = [[cell for column in columns for cell in _cells(column, row)] for row in range(rows)]
    leaf.table(
        ("day", "visits", "h", "share") * len(columns),
        lines,
        (19 * mm, 0.0, 11 * mm, 12 * mm) * len(columns),
        style=FINE,
    )


def _cells(column: Sequence[Day], row: int) -> Sequence[str]:
    if row >= len(column):
        return ("",) * 4
    day = column[row]
    if day.is_gap:
        return f"{day.on}", "gap", "", ""
    return f"{day.on}", _number(day.visits), f"{day.watched_s / S_PER_H:.1f}", _share(day.share)
