"""Films the minutes that were drawn: begins in time, hands each frame on, ends when the minute's tallies are told."""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import partial

from swapbell_device.cameras.live import Absence
from swapbell_device.evidence.clerk import Clerk
from swapbell_device.evidence.draws import Chosen, next_choice
from swapbell_device.evidence.reel import TOO_SLOW, Reel
from swapbell_device.evidence.store import Store
from swapbell_device.moment import Moment
from swapbell_models.calendar.place import Place
from swapbell_models.evidence import MINUTE_S, About, Label
from swapbell_models.tally import Tally

# Our choice: the latest start at which the minute still counts as filmed from its beginning.
LATE_S = 1.0
# What a player is told where the camera's rate is not known yet; our choice.
RATE_DEFAULT_PER_S = 30.0
# Our choice: so many frames tell how fast they come.
PACE_FRAMES = 30
LATE = "the counter was not there at its beginning"


class Clips:
    """The films of one start of the counter.

    Parameters
    ----------
    name : (site, station, boot)
        Whose, and which start.
    gate : str
        The station file's text.
    store, clerk
        Where films are kept, and who makes them.
    clips_a_day, seed, place
        How minutes are drawn; see `draws.next_choice`.
    """

    def __init__(
        self,
        name: tuple[str, str, str],
        gate: str,
        store: Store,
        clerk: Clerk,
        clips_a_day: int,
        seed: str,
        place: Place | None,
    ) -> None:
        self._site, self._station, self._boot = name
        self._gate, self._store, self._clerk = gate, store, clerk
        self._clips_a_day, self._seed, self._place = clips_a_day, seed, place
        self._recent_s: deque[float] = deque(maxlen=PACE_FRAMES)
        self._planned_by: datetime | None = None
        self._next: Chosen | None = None
        self._reel: Reel | None = None
        self._tallies: list[Tally] = []

    def see(self, moment: Moment | Absence, tallies: Iterable[Tally], started_at: datetime | None) -> None:
        """Film the moment if its minute was drawn, and end a film whose tallies are all there.

        Parameters
        ----------
        moment : Moment or Absence
            What the counter knows now.
        tallies : iterable of Tally
            Those that were closed with it.
        started_at : datetime or None
            The moment from which seconds count, aware UTC, if the counter knows the time of day.
        """
        if self._reel is None and (self._next is None or started_at != self._planned_by):
            self._plan(moment.at_s, started_at)
        if self._next is None:
            return
        if self._reel is None and moment.at_s >= self._next.start_s:
            self._begin(moment.at_s)
        if self._reel is not None:
            self._film(self._reel, self._next, moment, tallies)
        if isinstance(moment, Moment):
            self._recent_s.append(moment.at_s)

    def close(self) -> None:
        """Let go of a film that is not whole."""
        if self._reel is not None:
            self._clerk.give(self._reel.abandon)

    def _plan(self, at_s: float, started_at: datetime | None) -> None:
        self._planned_by = started_at
        self._next = next_choice(self._seed, self._clips_a_day, at_s, self._boot, self._place, started_at)

    def _begin(self, at_s: float) -> None:
        assert self._next is not None
        self._tallies = []
        self._reel = Reel(self._store, self._label(self._next, 0).name, self._per_s())
        if at_s > self._next.start_s + LATE_S:
            self._reel.spoil(LATE)

    def _film(self, reel: Reel, chosen: Chosen, moment: Moment | Absence, tallies: Iterable[Tally]) -> None:
        end_s = chosen.start_s + MINUTE_S
        if isinstance(moment, Moment) and moment.at_s < end_s and not reel.spoilt:
            frame = moment.frame
            if not self._clerk.give(partial(reel.add, frame), frame.image.nbytes):
                reel.spoil(TOO_SLOW)
        told = [tally for tally in tallies if tally.up_s + tally.seconds > chosen.start_s]
        self._tallies += (tally for tally in told if tally.up_s < end_s)
        if told and told[-1].up_s + told[-1].seconds >= end_s:
            self._end(reel, chosen, moment.at_s)

    def _end(self, reel: Reel, chosen: Chosen, at_s: float) -> None:
        label = self._label(chosen, self._store.next_order())
        about = About(
            site=self._site,
            station=self._station,
            boot=self._boot,
            up_s=chosen.start_s,
            seconds=MINUTE_S,
            draw=chosen.draw,
            at=label.at,
        )
        self._clerk.give(partial(reel.finish, label.name, about, tuple(self._tallies), self._gate))
        self._reel = None
        self._plan(at_s, self._planned_by)

    def _label(self, chosen: Chosen, order: int) -> Label:
        at = self._planned_by and self._planned_by + timedelta(seconds=chosen.start_s)
        return Label(order, self._station, self._boot, chosen.start_s, at)

    def _per_s(self) -> float:
        passed_s = self._recent_s[-1] - self._recent_s[0] if self._recent_s else 0.0
        return (len(self._recent_s) - 1) / passed_s if passed_s > 0.0 else RATE_DEFAULT_PER_S
