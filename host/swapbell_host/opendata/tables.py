"""The tables that can be had: counts by stretch, single crossings, tallies as they came."""

from swapbell_host.jobs.plan import Role
from swapbell_host.opendata.table import Column, Kind, Table
from swapbell_models.phase import Phase
from swapbell_models.sizes import WASP_MAX_MM, WASP_MIN_MM, SizeClass
from swapbell_models.tally import Direction, Hindrance

WHOLE, PARTLY, UNWATCHED = "whole", "partly", "not"
LIGHT, DUSK, DARK = "yes", "partly", "no"
SYNCED, REPAIRED, UNKNOWN = "synced", "repaired", "unknown"

_CAUTION = "by body length alone, which cannot tell a wasp from a honey bee"
_WASP = f"{WASP_MIN_MM:g} to {WASP_MAX_MM:g} mm"
_UNWATCHED = "empty where nothing was watched: no data is not zero"


def _text(name: str, words: str, choices: tuple[str, ...] = (), *, needed: bool = False) -> Column:
    return Column(name, Kind.TEXT, words, choices=choices, needed=needed)


def _count(name: str, words: str) -> Column:
    return Column(name, Kind.INTEGER, words, unit="count")


def _seconds(name: str, words: str, *, needed: bool = False) -> Column:
    return Column(name, Kind.NUMBER, words, unit="s", needed=needed)


def _measured(name: str, words: str, unit: str | None = None) -> Column:
    return Column(name, Kind.NUMBER, words, unit=unit)


_WHERE = (
    _text("site", "The site's name.", needed=True),
    _text("station", "The station's name.", needed=True),
    _text(
        "role",
        "bait, or control: a station that never gets toxic bait.",
        tuple(role.value for role in Role),
    ),
    _text(
        "phase",
        "Where the station's job stood when the row begins, by its service log; empty if nobody has said.",
        tuple(phase.value for phase in Phase),
    ),
)
_ZONE = _text("zone", "The site's time zone in the IANA database, of the local time beside.", needed=True)
_BOOT = (
    _text("boot", "Which start of the station's counter.", needed=True),
    Column("seq", Kind.INTEGER, "Which tally of that start, from 1.", needed=True),
)
_CLOCK = _text(
    "clock",
    "synced: the counter knew the time of day; repaired: the host found it later from the same start; unknown: "
    "nobody can say when it was, so that its times are empty.",
    (SYNCED, REPAIRED, UNKNOWN),
    needed=True,
)

COUNTS = Table(
    "counts",
    "Visits by stretch of time with the effort behind them. A stretch that is not listed has no data; one that was "
    "watched in part says so and may hide visits.",
    (
        *_WHERE,
        Column("from_utc", Kind.MOMENT, "When the stretch begins, UTC.", needed=True),
        Column("to_utc", Kind.MOMENT, "When it ends, UTC; this moment is not in it.", needed=True),
        _text("from_local", "The same as from_utc by the site's clock, with its offset.", needed=True),
        _ZONE,
        _count("visits", f"Bodies of {_WASP} that came in, {_CAUTION}; {_UNWATCHED}."),
        _count("outs", f"Bodies of {_WASP} that went out; {_UNWATCHED}."),
        _count("small", f"Smaller bodies that came in; {_UNWATCHED}."),
        _count("large", f"Larger bodies that came in; {_UNWATCHED}."),
        _seconds("seconds", "How much of the stretch was reported at all.", needed=True),
        _seconds("watched_s", "How much of it was really watched: the effort.", needed=True),
        _text(
            "watched",
            "whole: watched from end to end; partly: fewer seconds than the stretch has, so that its counts are a "
            "least number; not: reported, but nothing could be watched.",
            (WHOLE, PARTLY, UNWATCHED),
            needed=True,
        ),
        _seconds(
            "dark_s", "How much of it was night at the station's place, which nobody watches; empty if unknown."
        ),
        _seconds(
            "twofold_s",
            "How much of it two counters claimed under the station's name: neither is counted.",
            needed=True,
        ),
    ),
    ("site", "station", "from_utc"),
)

CROSSINGS = Table(
    "crossings",
    "Every body that passed the gate line for good. Where there is none, see the tallies or the counts whether "
    "anybody watched.",
    (
        *_WHERE,
        Column("at_utc", Kind.MOMENT, "When its centre passed the line, UTC; empty if nobody can say."),
        _text("at_local", "The same by the site's clock, with its offset."),
        _ZONE,
        _text("direction", "in or out.", tuple(way.value for way in Direction), needed=True),
        _text("size", f"small, wasp ({_WASP}) or large, {_CAUTION}.", tuple(s.value for s in SizeClass), needed=True),
        Column("length_mm", Kind.NUMBER, "Body length without legs and antennae.", unit="mm", needed=True),
        _measured("confidence", "How sure the counter is that one body did pass, 0 to 1; empty if unknown.", "/"),
        *_BOOT,
        Column("n", Kind.INTEGER, "Its place in that tally, from 0.", needed=True),
        _CLOCK,
    ),
    ("site", "station", "boot", "seq", "n"),
)

TALLIES = Table(
    "tallies",
    "One short report of a counter, as the ledger holds it: what it counted, how long it says that it watched, and "
    "how well it saw. Tallies that never came are not listed. Where two boots of a station report of the same time, "
    "two counters share its name.",
    (
        *_WHERE,
        Column("from_utc", Kind.MOMENT, "When it begins, UTC; empty if nobody can say."),
        Column("to_utc", Kind.MOMENT, "When it ends, UTC; empty if nobody can say."),
        _text("from_local", "The same as from_utc by the site's clock, with its offset."),
        _ZONE,
        *_BOOT,
        _seconds("up_s", "How long the counter had been running when it begins.", needed=True),
        _CLOCK,
        _seconds("seconds", "How long it is.", needed=True),
        _seconds("watched_s", "How much of it the counter says that it watched, also by night.", needed=True),
        _text(
            "foraging_light",
            "Whether it lies in the foraging hours, from 11 min before sunrise to 11 min after sunset where the "
            "station hung; empty if nobody has said where, or when it was.",
            (LIGHT, DUSK, DARK),
        ),
        *(
            _count(f"{way.value}_{size.value}", f"Bodies of class {size.value} that went {way.value}; {_UNWATCHED}.")
            for way in Direction
            for size in SizeClass
        ),
        _measured("light", "Mean grey level of the view, 0 to 255; this and what follows empty if not told."),
        _measured("detail", "How much the view's parts differ, in grey levels."),
        _measured("noise", "How much a pixel differs from look to look, in grey levels."),
        _measured("shake_mm", "How far the view moved from look to look, at the gate.", "mm"),
        _measured("moving", "Share of the view that moved beside the bodies, 0 to 1.", "/"),
        Column("dropped", Kind.INTEGER, "Frames that did not come.", unit="count"),
        _seconds("blind_s", "How long the counter could not count for what it saw; not watched."),
        _text("hindrance", "What kept it from counting for longest.", tuple(what.value for what in Hindrance)),
    ),
    ("site", "station", "boot", "seq"),
)
