"""The season report for a program: a row for each station's day, and one object with all of it."""

import msgspec

from swapbell_host.count import known
from swapbell_host.sheets.cells import table
from swapbell_host.sheets.season import Course, Day, Season, Verified
from swapbell_host.sheets.seasonwords import LIMITS, METHOD, finding_words, remarks

SCHEMA = "swapbell/season-report"
# A later one adds fields; where one goes or means something else, the number is a new one.
VERSION = 1
COLUMNS = (
    *(
        "site",
        "station",
        "role",
        "day",
        "phase",
        "visits",
        "small",
        "large",
        "watched_s",
        "foraging_s",
        "watched_share",
    ),
    "gap",
    "twofold_s",
)


def csv(season: Season) -> bytes:
    """Return the days as a table: an empty cell is nothing known, never zero."""
    rows = [
        (
            *(course.station.site, course.station.name, course.station.role.value, day.on),
            *_day(day).values(),
        )
        for course in season.courses
        for day in course.days
    ]
    return table(COLUMNS, rows)


def _day(day: Day) -> dict[str, str | float | int | bool | None]:
    return {
        "phase": day.phase.value if day.phase else None,
        "visits": day.visits,
        "small": known(day.small, day.watched_s),
        "large": known(day.large, day.watched_s),
        "watched_s": day.watched_s,
        "foraging_s": day.foraging_s,
        "watched_share": day.share,
        "gap": day.is_gap,
        "twofold_s": day.twofold_s,
    }


def json(season: Season) -> bytes:
    """Return the season as one object, which says its schema and the version of that."""
    told: dict[str, object] = {
        "schema": SCHEMA,
        "version": VERSION,
        "made_at": season.at,
        "site": season.site.name,
        "zone": season.site.zone,
        "from_at": season.from_at,
        "to_at": season.to_at,
        "stations": [_course(course) for course in season.courses],
        "after_swaps": [_verified(each) for each in season.verified],
        "notices": [
            {
                "about": each.kind,
                "raised": each.raised,
                "acknowledged": each.acknowledged,
                "ended": each.ended,
                "open": each.open,
                "median_s": each.usual.total_seconds() if each.usual is not None else None,
                "longest_s": each.longest.total_seconds() if each.longest is not None else None,
            }
            for each in season.answered
        ],
        "incidents": list(remarks(season, "incident")),
        "non_targets": list(remarks(season, "non_targets")),
        "method": METHOD,
        "limits": LIMITS,
    }
    return msgspec.json.encode(told)


def _course(course: Course) -> dict[str, object]:
    place = course.place
    return {
        "station": course.station.name,
        "role": course.station.role.value,
        "latitude_deg": place.latitude_deg if place else None,
        "longitude_deg": place.longitude_deg if place else None,
        "phases": [
            {"phase": each.phase.value, "from_at": each.from_at, "to_at": each.to_at} for each in course.stages
        ],
        "entries": [
            {"id": each.id, "act": each.act.value, "at": each.at, "by": each.by, "mass_g": each.mass_g}
            for each in course.entries
        ],
        "corrected": course.corrected,
        "visits": course.visits,
        "watched_s": course.watched_s,
        "watched_share": course.share,
        "days": [{"day": day.on, **_day(day)} for day in course.days],
    }


def _verified(each: Verified) -> dict[str, object]:
    found = ([each.together] if each.together else []) + list(each.each)
    return {
        "swapped_at": each.swapped_at,
        "findings": [
            {
                "stations": [name for _, name in one.stations],
                "words": finding_words(one),
                "ratio": one.fall.ratio if one.fall else None,
                "low": one.fall.low if one.fall else None,
                "high": one.fall.high if one.fall else None,
                "ratio_against_control": one.against.ratio if one.against else None,
            }
            for one in found
        ],
    }
