"""Where each station stands, as the host shows it to anyone on the broker: with each tally, and each minute."""

from datetime import datetime, timedelta
from typing import NamedTuple

from swapbell_host.intake import Station
from swapbell_host.judging.history import History
from swapbell_host.rota import ROUND_S
from swapbell_models.message import Standing
from swapbell_models.phase import Phase
from swapbell_models.readiness import Reason, Verdict

# A dashboard is promised a word each minute, and a silent station's turn comes only once in a round.
REPEAT = timedelta(seconds=60.0 - ROUND_S)


def standing(history: History, seen: Verdict, now: datetime) -> Standing:
    """Return a station's standing at `now` (aware UTC); visits are nothing where nobody knows them."""
    last = None if seen.reason is Reason.SILENT else seen.last
    return Standing(
        station=history.station,
        at=now,
        phase=history.phase,
        verdict=seen.step.value,
        reason=seen.reason.value if seen.reason else "",
        visits=last.visits if last else None,
        watched_s=last.watched_s if last else 0.0,
        hindrance=seen.hindrance,
    )


class _Shown(NamedTuple):
    phase: Phase
    seen: Verdict
    at: datetime
    connection: int


class Standings:
    """What was shown last of each station, so that the same is shown seldom."""

    def __init__(self) -> None:
        self._shown: dict[Station, _Shown] = {}

    def news(self, history: History, seen: Verdict, now: datetime, connection: int) -> Standing | None:
        """Return the standing to show now, if there is something to show.

        Parameters
        ----------
        history, seen
            What is known of a station, and the verdict on it.
        now : datetime
            Aware UTC.
        connection : int
            Which connection to the broker it would be shown on: another one may be a broker that forgot.
        """
        before = self._shown.get((history.site, history.station))
        shown = _Shown(history.phase, seen, now, connection)
        if before and before._replace(at=now) == shown and now - before.at < REPEAT:
            return None
        self._shown[history.site, history.station] = shown
        return standing(history, seen, now)
