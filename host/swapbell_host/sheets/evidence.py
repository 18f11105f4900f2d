"""On what counts a swap was decided: what the host had told of the station, and what was counted just before."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from swapbell_host.count import Count
from swapbell_host.jobs.entry import Entry, standing
from swapbell_host.jobs.lures import LURES
from swapbell_host.jobs.moment import local, localized
from swapbell_models.notice import NoticeKind

# The trade's five minutes, and an hour of them: what a person at the station would have watched at most. Our choice.
STEP, HOUR = timedelta(minutes=5), timedelta(hours=1)
# What speaks for a swap, the stronger first.
_CALLS = (NoticeKind.READY.value, NoticeKind.TOUCHED.value)


class Noticed(Protocol):
    """What a person was told."""

    @property
    def station(self) -> str:
        """Of which station."""
        ...

    @property
    def kind(self) -> str:
        """What about."""
        ...

    @property
    def raised_at(self) -> datetime:
        """The moment of its evidence, aware UTC."""
        ...

    @property
    def text(self) -> str:
        """In one sentence."""
        ...


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known from just before a swap.

    Attributes
    ----------
    notice
        The last call of this lure, `ready` before `touched`; nothing if there was none.
    counts
        Visits of each five minutes of the hour before the swap, oldest first; nothing where nobody watched.
    """

    notice: Noticed | None
    counts: tuple[int | None, ...]

    def words(self, zone: ZoneInfo) -> str | None:
        """Return it for a person; nothing where nothing is known."""
        if self.notice is None and not any(count is not None for count in self.counts):
            return None
        return "; ".join(self._words(zone))

    def _words(self, zone: ZoneInfo) -> Iterator[str]:
        if self.notice is None:
            yield "no notice `ready` or `touched` was given for this lure"
        else:
            yield f"{local(self.notice.raised_at, zone)} {self.notice.kind}: {localized(self.notice.text, zone)}"
        shown = ", ".join("not watched" if count is None else str(count) for count in self.counts)
        yield f"visits in each 5 min of the hour before: {shown}"


def evidence(swap: Entry, entries: Sequence[Entry], notices: Sequence[Noticed], counts: Sequence[Count]) -> Evidence:
    """Return what was known when toxic bait was put out.

    Parameters
    ----------
    swap, entries
        The swap, and all that was logged of its station.
    notices
        Of the site, oldest first.
    counts
        Of the station, in stretches of `STEP`; one that is not there was not watched.
    """
    hung_at = max((each.at for each in standing(entries) if each.act in LURES and each.at <= swap.at), default=None)
    calls = [
        each
        for each in notices
        if each.station == swap.station
        and each.raised_at <= swap.at
        and (hung_at is None or hung_at <= each.raised_at)
    ]
    last = next((each for kind in _CALLS for each in reversed(calls) if each.kind == kind), None)
    return Evidence(last, tuple(_before(swap.at, counts)))


def _before(at: datetime, counts: Sequence[Count]) -> Iterator[int | None]:
    """Yield the visits of the twelve whole stretches that ended last."""
    seen = {each.from_at: each for each in counts}
    for begun in begun_before(at):
        each = seen.get(begun)
        yield each.visits if each is not None and (each.watched_s > 0.0 or each.visits) else None


def begun_before(at: datetime) -> list[datetime]:
    """Return when each of the stretches began that make up the hour before a moment (aware UTC), oldest first."""
    last_at = datetime.fromtimestamp(at.timestamp() // STEP.total_seconds() * STEP.total_seconds(), at.tzinfo)
    return [last_at - STEP * back for back in range(HOUR // STEP, 0, -1)]
