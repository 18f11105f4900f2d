"""One look at a station: what is known, what its traffic says, and when."""

from dataclasses import dataclass
from datetime import datetime

from swapbell_host.judging.history import History
from swapbell_models.calendar.place import Place
from swapbell_models.notice import Notice, NoticeKind, notice
from swapbell_models.readiness import Rule, Verdict
from swapbell_models.sitewide import SiteVerdict


@dataclass(frozen=True, slots=True)
class Look:
    """What every rule is given.

    Attributes
    ----------
    history, verdict
        What is known of the station, and what its traffic says.
    now
        Aware UTC.
    rule
        Its readiness rule.
    listening_since
        Since when the host has been listening without a break: a silence counts from then at the earliest, because
        what came before waits at the broker. Nothing while it does not listen: then nobody is silent but the host.
    site
        The verdict on the whole site; nothing where nobody asked for it.
    """

    history: History
    verdict: Verdict
    now: datetime
    rule: Rule
    listening_since: datetime | None = None
    site: SiteVerdict | None = None

    @property
    def place(self) -> Place | None:
        """Where it hangs: by the ledger, or else where its site lies; nothing if nobody has said."""
        return self.history.place or self.rule.place

    def notice(self, kind: NoticeKind, raised_at: datetime, words: str) -> Notice:
        """Return a notice on this station."""
        return notice(self.history.site, self.history.station, kind, raised_at, words)
