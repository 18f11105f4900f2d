"""The counter against a person: how many visits it missed or invented, and how often a strip shows what it says.

Only films that both saw, and strips that somebody answered for, are compared; the rest is left out and told.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from swapbell_host.auditing.folder import Fetched, Film
from swapbell_host.auditing.sheet import Recounted
from swapbell_models.chance import share_limits
from swapbell_models.comparison.recount import WATCHED_MIN, Recount, recount

# Our choice: whoever stops a film to note a moment is within a second of it.
WITHIN_S = 1.0


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, with exact limits of 95 %; nothing where there were none."""

    hits: int
    cases: int

    @property
    def value(self) -> float | None:
        """The share [1]."""
        return self.hits / self.cases if self.cases else None

    @property
    def limits(self) -> tuple[float, float] | None:
        """Clopper and Pearson's limits [1]."""
        return share_limits(self.hits, self.cases) if self.cases else None


@dataclass(frozen=True, slots=True)
class Audit:
    """What came of a recount.

    Attributes
    ----------
    recount
        Minute by minute.
    exact
        Minutes that were counted to the visit.
    at_most
        Of the person's visits, those for which the counter reported one in the same minute: recall is no more.
    recall, precision
        Of the person's visits those that the counter saw at the same moment, and of the counter's those that the
        person saw; of films with moments alone.
    strips
        Strips that show what their name says.
    unanswered, unwatched
        Films that nobody counted, and that the counter did not watch throughout.
    unanswered_strips
        Strips that nobody answered for.
    missing
        Why there is no film of a minute that was drawn, and how often.
    parts_seen, parts_drawn
        Parts of days of which there is a film here, and all parts of those days.
    """

    recount: Recount
    exact: Share
    at_most: Share
    recall: Share
    precision: Share
    strips: Share
    unanswered: int
    unwatched: int
    unanswered_strips: int
    missing: dict[str, int]
    parts_seen: int
    parts_drawn: int


def audit(fetched: Fetched, person: Recounted) -> Audit:
    """Return how what the counter reported compares with what a person saw."""
    films = [film for film in fetched.films if film.about.left_out is None]
    compared = recount([film.window for film in films], [person.visits.get(film.name) for film in films])
    matched, true, seen = _matched([film for film in films if _watched(film)], person)
    return Audit(
        recount=compared,
        exact=Share(compared.errors.count(0), len(compared.errors)),
        at_most=Share(
            sum(min(pair) for pair in zip(compared.machine, compared.person, strict=True)), sum(compared.person)
        ),
        recall=Share(matched, true),
        precision=Share(matched, seen),
        strips=Share(sum(person.passed.values()), len(person.passed)),
        unanswered=sum(film.name not in person.visits for film in films),
        unwatched=sum(not _watched(film) for film in films),
        unanswered_strips=len(fetched.strips) - len(person.passed),
        missing=_missing(fetched.films),
        parts_seen=len({(_day(film), film.about.draw.part) for film in films}),
        parts_drawn=sum({_day(film): film.about.draw.parts for film in fetched.films}.values()),
    )


def matched(true_s: Sequence[float], seen_s: Sequence[float], within_s: float = WITHIN_S) -> int:
    """Return how many moments [s] of two lists in time order are the same, one to one.

    Matching the earliest possible pair each time gives the largest number: a later partner of either can only be
    worse for what comes after.
    """
    pairs = t = s = 0
    while t < len(true_s) and s < len(seen_s):
        if abs(true_s[t] - seen_s[s]) <= within_s:
            pairs, t, s = pairs + 1, t + 1, s + 1
        elif true_s[t] < seen_s[s]:
            t += 1
        else:
            s += 1
    return pairs


def _matched(films: Sequence[Film], person: Recounted) -> tuple[int, int, int]:
    """Return the visits that are the same, those of the person and those of the counter, where moments are known."""
    noted = [(_moments(film, person), film.visits_s) for film in films if _has_moments(film, person)]
    return (
        sum(matched(true_s, seen_s) for true_s, seen_s in noted),
        sum(len(true_s) for true_s, _ in noted),
        sum(len(seen_s) for _, seen_s in noted),
    )


def _has_moments(film: Film, person: Recounted) -> bool:
    """Tell whether all moments of the person's visits are known; of none they are."""
    return film.name in person.moments_s or person.visits.get(film.name) == 0


def _moments(film: Film, person: Recounted) -> tuple[float, ...]:
    return person.moments_s.get(film.name, ())


def _watched(film: Film) -> bool:
    return film.window.watched_s >= WATCHED_MIN * film.window.seconds


def _day(film: Film) -> tuple[str, str, str]:
    """Return which station's day a film is of."""
    return film.about.site, film.about.station, film.about.draw.day


def _missing(films: Sequence[Film]) -> dict[str, int]:
    found = dict[str, int]()
    for film in films:
        if (why := film.about.left_out) is not None:
            found[why] = found.get(why, 0) + 1
    return found
