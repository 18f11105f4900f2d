"""What the ledger's longer memory tells of a station, gathered for the slow rules as far as its phase asks for it."""

from datetime import datetime, timedelta

from swapbell_host.board import Seen
from swapbell_host.books.countbook import Countbook
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.lookback import Noticed, noticed
from swapbell_host.books.missing import missing
from swapbell_host.compare import Comparison, Pieces
from swapbell_host.forecasting.reading import lure_of
from swapbell_host.forecasting.words import day_ahead
from swapbell_host.intake import Station
from swapbell_host.judging.evidence import REACH, Evidence
from swapbell_host.judging.history import COUNTING, History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_host.verifying.finding import Finding
from swapbell_models.fault import Mistake
from swapbell_models.forecasting.forecast import forecast
from swapbell_models.job import LURE_MAX
from swapbell_models.phase import Phase

# Our choice: a few times a day. What a forecast or a proof stands on are days; each costs as much as a hundred looks.
COSTLY = timedelta(hours=4)


class Review:
    """The longer memory of one ledger.

    Parameters
    ----------
    ledger : Ledger
        Read in the host's own thread.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger, self._log, self._counts = ledger, ledger.log, Countbook(ledger.store)
        self._costly_at: dict[Station, datetime] = {}

    def of(self, seen: Seen, listening_since: datetime | None) -> Pieces[Evidence]:
        """Return the evidence on a station as of its latest look, in pieces of some hundredths of a second."""
        history, now, key = seen.history, seen.at, seen.key
        counting = history.phase in COUNTING
        costly = counting and self._is_due(key, now)
        told = [_past(each) for each in noticed(self._ledger.store, *key, _begun_at(history, now), now)]
        counts = self._counts.span(*key, now - REACH, now) if counting else ()
        holes = missing(self._ledger.store, key, now - REACH) if counting else ()
        yield
        expected = (yield from self._forecast(seen)) if costly and history.swaps else None
        found = (yield from self._finding(history, now)) if costly and history.phase is Phase.VERIFYING else None
        look = Look(history, seen.verdict, now, seen.rule, listening_since)
        return Evidence(look, told, counts, holes, expected, found)

    def _is_due(self, station: Station, now: datetime) -> bool:
        """Tell whether what is costly was last asked for long enough ago, and note that it is asked now."""
        last_at = self._costly_at.get(station)
        if last_at is not None and timedelta() <= now - last_at < COSTLY:
            return False
        self._costly_at[station] = now
        return True

    def _forecast(self, seen: Seen) -> Pieces[str | None]:
        """Return what is to be expected within a day; nothing where nobody can say."""
        try:
            lure = lure_of(self._log, self._counts, seen.key, seen.rule, seen.at)
            yield
            made = forecast(lure.windows, lure.foraging, seen.at, seen.rule)
        except (Mistake, ValueError):  # the place is not known, or the sun does not rise there
            return None
        return day_ahead(made, lure.zone)

    def _finding(self, history: History, now: datetime) -> Pieces[Finding | None]:
        """Return what became of a station's traffic after its last swap, against the control stations of its site."""
        comparison = Comparison(self._log, self._counts, history.site, now)
        swap = comparison.last_swap((history.site, history.station))
        if swap is None:
            return None
        _, (found,) = yield from comparison.pieces(swap)
        return found


def _begun_at(history: History, now: datetime) -> datetime:
    """Return since when what was told matters: since the last swap, and as long as a lure may hang at the least."""
    swapped_at = history.job.swapped_at if history.job else None
    return min(now - LURE_MAX, swapped_at or now)


def _past(each: Noticed) -> PastNotice:
    return PastNotice(each.kind, each.raised_at, each.acknowledged_at, each.id, each.ended_at, each.shelved_until)
