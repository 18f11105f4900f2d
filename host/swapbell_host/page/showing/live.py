"""What has changed since a page was shown, as server-sent events (WHATWG HTML, 9.2): that, and never what it is now.

A stream waits without a thread of its own and touches no book, so that many of them cost next to nothing. It ends by
itself after a while: the browser comes back, and is let in again only if it still may.
"""

import asyncio
from collections.abc import AsyncIterator
from datetime import timedelta

import msgspec

from swapbell_host.board import Board, Seen
from swapbell_host.intake import Station
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Stream, Visit

# Our choice: a person sees within two seconds what took a counter a quarter of a minute to tell.
PAUSE_S = 2.0
# Our choice: often enough that no proxy takes the line for dead (common limits: a minute).
BEAT_S = 20.0
# Our choice: who signed out in another window is shown nothing for longer than this.
LASTING = timedelta(minutes=10)
# How soon a browser comes back [ms]; our choice: not all at once in the second in which the host begins again.
RETRY = "retry: 4000\n\n"


def live(visit: Visit) -> Stream:
    """Tell of changes as long as the browser listens."""
    return Stream(events(visit.house.board))


async def events(
    board: Board, pause_s: float = PAUSE_S, beat_s: float = BEAT_S, lasting: timedelta = LASTING
) -> AsyncIterator[str]:
    """Yield one event each time that something that is shown of a station has changed."""
    known, edition, quiet_s = board.all(), board.edition, 0.0
    yield RETRY
    for _ in range(round(lasting.total_seconds() / pause_s)):
        await asyncio.sleep(pause_s)
        quiet_s += pause_s
        if board.edition != edition:
            edition, now_known = board.edition, board.all()
            if fresh := changed(known, now_known):
                quiet_s = 0.0
                yield _event(edition, fresh)
            known = now_known
        if quiet_s >= beat_s:
            quiet_s = 0.0
            yield ": still here\n\n"


def changed(before: dict[Station, Seen], after: dict[Station, Seen]) -> list[str]:
    """Return the stations of which a page would show something else than before, as SITE/STATION."""
    return [
        f"{site}/{station}"
        for (site, station), seen in after.items()
        if (old := before.get((site, station))) is not seen and (old is None or _shown(old) != _shown(seen))
    ]


def _shown(seen: Seen) -> tuple[object, ...]:
    last = seen.verdict.last
    notices = tuple(past.id for past in seen.history.notices if past.acknowledged_at is None)
    count = (last.visits, last.watched_s) if last else None
    return (
        seen.history.phase,
        seen.history.sighting,
        seen.verdict.step,
        seen.verdict.reason,
        count,
        notices,
        seen.history.health,
    )


def _event(edition: int, stations: list[str]) -> str:
    data = msgspec.json.encode({"edition": edition, "stations": stations}).decode("ascii")
    return f"id: {edition}\nevent: change\ndata: {data}\n\n"


DOORS = (Door("/live", live),)
