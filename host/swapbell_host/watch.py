"""What the host does with each batch, and with each station whose turn it is."""

from collections import Counter, deque
from collections.abc import Callable, Mapping
from datetime import datetime

from swapbell_host import rules, slowrules
from swapbell_host.alerting.alerts import Alerts
from swapbell_host.board import Board, Seen
from swapbell_host.books.ledger import Ledger
from swapbell_host.clocks import Clocks
from swapbell_host.compare import Pieces
from swapbell_host.intake import Station
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.review import Review
from swapbell_host.standing import Standings
from swapbell_host.wire.subscriber import Batch, Subscriber
from swapbell_models.message import Subject
from swapbell_models.notice import NoticeKind
from swapbell_models.readiness import Rule, Step
from swapbell_models.sitewide import SiteVerdict

# Where the whole site matters: those a person may be called for; no site reaches the rule where none of
# its stations does.
CALLS = frozenset({Step.TOUCHED, Step.READY})
# What is said of a station by its whole site.
_BY_SITE = frozenset({NoticeKind.TOUCHED, NoticeKind.READY})
_DONE = object()


class Watch:
    """The stations of one configuration.

    Parameters
    ----------
    ledger, subscriber, alerts
        Where it writes, where it answers, and whom it tells.
    rules_of : mapping of Station to Rule
        Each station's readiness rule.
    board : Board
        Where each look is put up for whoever shows it.
    now : callable
        Returns the time, aware UTC.
    say, warn : callable
        Are given a line for each notice that ends, and for each clock that is wrong.
    """

    def __init__(
        self,
        ledger: Ledger,
        subscriber: Subscriber,
        alerts: Alerts,
        rules_of: Mapping[Station, Rule],
        board: Board,
        now: Callable[[], datetime],
        say: Callable[[str], None],
        warn: Callable[[str], None],
    ) -> None:
        self._ledger, self._subscriber, self._alerts, self._rules_of = ledger, subscriber, alerts, rules_of
        self._board, self._review = board, Review(ledger)
        self._stations = Counter(site for site, _ in rules_of)
        self._ready = set[str]()
        self._reviews = deque[Pieces[None]]()
        self._now, self._say, self._warn = now, say, warn
        self._standings, self._clocks = Standings(), Clocks()

    def take(self, batch: Batch) -> frozenset[Station]:
        """Write a batch down and only then acknowledge it; return who spoke."""
        recorded = self._ledger.record(batch.arrivals, self._now())
        self._subscriber.ack(batch)
        for site, station, receipt in recorded.receipts:
            self._subscriber.show(site, station, Subject.RECEIPT, receipt)
        return recorded.stations

    def look(self, site: str, station: str) -> Seen:
        """Judge a station, tell what is news of it, and show how it stands; return the look."""
        now, rule = self._now(), self._rules_of[site, station]
        history = self._ledger.history(site, station, now)
        seen = rules.verdict(history, now, rule)
        look = Seen(history, seen, now, rule)
        self._board.put(look)
        self._note(history, now)
        whole, known = self._whole(site, seen.step), self._board.looked(site) >= self._stations[site]
        for notice in rules.news(seen, history, now, rule, self._subscriber.listening_since, whole):
            if known or notice.kind not in _BY_SITE:  # else its turn comes within the round
                self._alerts.tell(notice, now)
        if standing := self._standings.news(history, seen, now, self._subscriber.connection):
            self._subscriber.show(site, station, Subject.STANDING, standing)
        return look

    def _whole(self, site: str, step: Step) -> SiteVerdict | None:
        """Return the verdict on a site where it may call for the swap of a station whose traffic has come so far."""
        if step not in CALLS and site not in self._ready:
            return None
        found = self._board.site(site)
        if found and found.step is Step.READY:
            self._ready.add(site)
        else:
            self._ready.discard(site)
        return found

    def begin_review(self, site: str, station: str) -> None:
        """Let a station be looked at slowly as soon as those before it are done."""
        self._reviews.append(self._reviewed(site, station))

    def go_on(self) -> None:
        """Do the next piece of the slow look that is under way: so little that no message waits for it."""
        if self._reviews and next(self._reviews[0], _DONE) is _DONE:
            self._reviews.popleft()

    def _reviewed(self, site: str, station: str) -> Pieces[None]:
        """Look at a station, and tell what takes a longer memory."""
        seen = self.look(site, station)
        evidence = yield from self._review.of(seen, self._subscriber.listening_since)
        for past, words in slowrules.ended(evidence):
            self._end(past, seen.at, words)
        for notice in slowrules.news(evidence):
            self._alerts.tell(notice, self._now())

    def _note(self, history: History, now: datetime) -> None:
        """Close what has ended, and warn of a clock."""
        for past in rules.ended(history):
            self._end(past, now, rules.ENDINGS[past.kind].words)
        if warning := self._clocks.news(history, now):
            self._warn(f"clocks: {warning}")

    def _end(self, past: PastNotice, now: datetime, words: str) -> None:
        if self._ledger.notebook.end(past.id, now):
            self._say(f"{now:%Y-%m-%d %H:%M} UTC, notice {past.id} ended: {words}")
