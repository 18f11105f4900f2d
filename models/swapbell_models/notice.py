"""A word to a person: what it is about, how urgent it is, and how it is said.

Each notice is one plain sentence with the evidence in it, short enough for a phone; where it may lead to a swap, the
cautions follow. Times are in UTC and say so.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum

from swapbell_models.confirmation import EARLY_SHARE, WINDOWS, Confirm
from swapbell_models.message import StationState
from swapbell_models.readiness import Rule, Verdict, gappy
from swapbell_models.sizes import CAUTION as LENGTH_CAUTION
from swapbell_models.tally import Hindrance
from swapbell_models.traffic import Window

SWAP_CAUTION = (
    "The label, local law and licensed practice come first: only those whom they allow handle the bait, and wear the "
    f"protection asked for. First look for bees and other visitors. {LENGTH_CAUTION}"
)
# Our choice: below one in a hundred the digits mean nothing to a person.
_RARE = 0.01


class NoticeKind(Enum):
    """What a notice is about."""

    TOUCHED = "touched"
    READY = "ready"
    SILENT = "silent"
    BLIND = "blind"
    TWOFOLD = "two counters"
    DUE_OUT = "toxic bait due out"
    LEFT_OUT = "toxic bait left out"
    FORECAST = "forecast"
    SWAP_OVERDUE = "swap overdue"
    VISITORS = "visitors"
    HOLE = "hole"
    SUPPLY = "supply"
    COLLAPSED = "collapsed"
    REINVASION = "re-invasion"


class Urgency(Enum):
    """How much a notice asks of the person."""

    LOOK = "look"
    ACT = "act"


URGENCY = {
    NoticeKind.TOUCHED: Urgency.LOOK,
    NoticeKind.READY: Urgency.ACT,
    NoticeKind.SILENT: Urgency.LOOK,
    NoticeKind.BLIND: Urgency.LOOK,
    NoticeKind.TWOFOLD: Urgency.LOOK,
    NoticeKind.DUE_OUT: Urgency.LOOK,
    NoticeKind.LEFT_OUT: Urgency.ACT,
    NoticeKind.FORECAST: Urgency.LOOK,
    NoticeKind.SWAP_OVERDUE: Urgency.ACT,
    NoticeKind.VISITORS: Urgency.LOOK,
    NoticeKind.HOLE: Urgency.LOOK,
    NoticeKind.SUPPLY: Urgency.LOOK,
    NoticeKind.COLLAPSED: Urgency.LOOK,
    NoticeKind.REINVASION: Urgency.LOOK,
}
CONFIRMED_BY = {Confirm.TWO_OF_THREE: "two of three windows", Confirm.SEQUENTIAL: "the sequential test"}
# What a person can look for, by what keeps the counter from counting.
HINDRANCES = {
    Hindrance.LIGHT: "there is too little or too much light; where it is only night, give the place of the site",
    Hindrance.DETAIL: "nothing can be made out; the lens may be covered, fogged or far out of focus",
    Hindrance.NOISE: "the picture is too noisy; there may be too little light",
    Hindrance.SHAKE: "the camera shakes; it may hang loose in the wind",
    Hindrance.MOVING: "too much of the view moves; grass or leaves may hang into it",
    Hindrance.DROPPED: "more than half of the frames are lost; the board may be too busy or too hot",
    Hindrance.CAMERA: "its camera gives no pictures; look at its cable and its power",
    Hindrance.COVERED: "something larger than an insect is in the view",
}
# What a later kind says holds the earlier one's word: whoever heard the one need not hear the other.
SUPERSEDES = {
    NoticeKind.FORECAST: frozenset({NoticeKind.TOUCHED}),  # both say: get ready, but wait
    NoticeKind.READY: frozenset({NoticeKind.FORECAST, NoticeKind.TOUCHED}),
    NoticeKind.SWAP_OVERDUE: frozenset({NoticeKind.READY, NoticeKind.FORECAST, NoticeKind.TOUCHED}),
    NoticeKind.REINVASION: frozenset({NoticeKind.COLLAPSED}),
    NoticeKind.LEFT_OUT: frozenset({NoticeKind.DUE_OUT}),
}


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing that a person should hear about one station.

    Attributes
    ----------
    site, station, kind
        What it is about; together with `raised_at` they name it.
    raised_at
        The moment of the evidence, aware UTC.
    text
        One plain sentence with the evidence, ready to be read on a phone.
    """

    site: str
    station: str
    kind: NoticeKind
    urgency: Urgency
    raised_at: datetime
    text: str

    @property
    def words(self) -> str:
        """The text without the station's name, for where that stands already."""
        return self.text.removeprefix(f"{self.site}/{self.station}: ")


def notice(site: str, station: str, kind: NoticeKind, raised_at: datetime, words: str) -> Notice:
    """Return the notice of one kind, its words put behind the station's name."""
    return Notice(site, station, kind, URGENCY[kind], raised_at, f"{site}/{station}: {words}")


def touched_words(verdict: Verdict, rule: Rule) -> str:
    """Say that the rule was reached, and how easily luck alone shows as much: a heads-up, no call to swap."""
    assert verdict.fullest is not None, "a rule that was reached has a fullest window"
    visits = f"{verdict.fullest.counted} visits in {_minutes(rule.window_s)}"
    return (
        f"{visits} reach the rule of {rule.visits}, not confirmed yet; {_luck(verdict, rule)}. Get ready, but wait."
    )


def ready_words(verdict: Verdict, rule: Rule, besides: str = "") -> str:
    """Say that the time to swap has come, with the counts, the rate, what else must be known, and the cautions."""
    return f"ready for the swap: {_reached(verdict, rule)}. {besides}{' ' if besides else ''}{SWAP_CAUTION}"


def _reached(verdict: Verdict, rule: Rule) -> str:
    proof = _luck(verdict, rule) if rule.confirm is Confirm.FIRST else _confirmation(verdict, rule)
    return f"{count_words(verdict, rule)} (rule: {rule.visits}), {_rate(verdict, rule)}; {proof}"


def count_words(verdict: Verdict, rule: Rule) -> str:
    """Say what was counted in each window of the look."""
    counts = ", ".join(_count(window) for window in verdict.windows) or "none watched"
    return f"visits per {_minutes(rule.window_s)}, oldest to newest: {counts}"


def silent_words(last_at: datetime | None, state: StationState | None, ahead: timedelta | None = None) -> str:
    """Say that nothing believable comes from the station, since when, what it last said, and how far ahead it is."""
    since = f"since {last_at:%Y-%m-%d %H:%M} UTC" if last_at else "so far"
    said = f" (its last word: {state.value})" if state else ""
    if ahead:
        return f"no count of the present {since}{said}. {ahead_words(ahead)}"
    look = "Look at its power, its camera and its link; silence does not mean that no wasps come."
    return f"no count {since}{said}. {look}"


def blind_words(since_at: datetime, hindrance: Hindrance | None) -> str:
    """Say that the counter sees, but cannot count, since when at least, and what to look for."""
    why = HINDRANCES[hindrance] if hindrance else "it does not say why"
    return f"cannot count since {_when(since_at)} or longer: {why}. That no visits are counted proves nothing."


def twofold_words() -> str:
    """Say that two counters report under one name, and how each gets its own."""
    return (
        "two counters report under this name for the same time, so nothing can be said of it. Enrol one of them "
        "under a name of its own. If there is only one, its clock was set back: this passes within an hour."
    )


def due_out_words(out_at: datetime, by_at: datetime) -> str:
    """Say that toxic bait comes out soon, in time for someone to plan the way."""
    return f"toxic bait has been out since {_when(out_at)} and is due out by {_when(by_at)}. Plan the way there."


def left_out_words(out_at: datetime, by_at: datetime) -> str:
    """Say that toxic bait is still out beyond its deadline, and what alone ends the reminders."""
    return (
        f"toxic bait has been out since {_when(out_at)} and was due out by {_when(by_at)}. Take it out now, weigh it "
        "and log that it is withdrawn, or lost if nobody can find it: until then this comes again."
    )


def ahead_words(ahead: timedelta) -> str:
    """Say that a station's counts are dated ahead of the host's clock, and what becomes of them."""
    return (
        f"Counts come dated {lapse(ahead)} ahead of this host's clock; check both clocks. "
        "They are kept, and judged when their time has come."
    )


def lapse(length: timedelta) -> str:
    """Return a length of time as a person says it: in its largest whole unit."""
    seconds = max(int(length.total_seconds()), 0)
    for unit, unit_s in (("d", 86_400), ("h", 3_600), ("min", 60)):
        if seconds >= unit_s:
            return f"{seconds // unit_s} {unit}"
    return f"{seconds} s"


def _luck(verdict: Verdict, rule: Rule) -> str:
    assert verdict.lucky is not None, "a rule that was reached has a chance that it was luck"
    return (
        f"with really only {EARLY_SHARE * rule.visits:g} per {_minutes(rule.window_s)}, luck would show as many "
        f"in {_chance(verdict.lucky)} of looks of {_minutes(WINDOWS * rule.window_s)}"
    )


def _confirmation(verdict: Verdict, rule: Rule) -> str:
    steady, bouts = (_chance(risk.false_alarm) for risk in verdict.risks)
    return f"confirmed by {CONFIRMED_BY[rule.confirm]} (luck at half the rule: {steady}, in bouts {bouts})"


def _chance(chance: float) -> str:
    return f"{chance:.0%}" if chance >= _RARE else "less than 1%"


def _rate(verdict: Verdict, rule: Rule) -> str:
    rate = verdict.rate
    if rate is None:
        return "watched time unknown"
    return f"{rate.per_window:.1f} per {_minutes(rule.window_s)} (95% limits {rate.low:.1f} to {rate.high:.1f})"


def _count(window: Window) -> str:
    if window.visits is None:
        return "none watched"
    if not gappy(window):
        return f"{window.counted}"
    return f"at least {window.counted}" if window.counted else "not fully watched"


def _when(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:g} min"
