"""What keeps the evidence of one start of a counter; where none is wanted, it does nothing."""

from collections.abc import Callable, Generator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from secrets import token_hex

from msgspec.structs import replace

from swapbell_device.cameras.live import Absence
from swapbell_device.config import BoardSection, Config, DrawnCamera, UsbSection
from swapbell_device.drawing.film import truth_of
from swapbell_device.drawn import DrawnStation
from swapbell_device.evidence import answering
from swapbell_device.evidence.clerk import Clerk
from swapbell_device.evidence.clips import Clips
from swapbell_device.evidence.store import Store
from swapbell_device.evidence.strips import Strips
from swapbell_device.moment import Moment
from swapbell_device.stationfile import parse_station
from swapbell_models.message import Health
from swapbell_models.tally import Clock, Tally

# Beside the spool, where the counter's service may write.
FOLDER = "evidence"
# Our choice: beyond any guessing; a word that tallies or names tell would let anybody foresee a minute.
SEED_BYTES = 16
# Our choice: more than rounding does, less than anybody asks the evidence for.
SAME = timedelta(seconds=1)


class Keeper:
    """Sees what the counter sees, and answers for what it kept of it.

    Parameters
    ----------
    station : str
        Whose evidence it is.
    """

    def __init__(self, station: str) -> None:
        self._station = station
        self.store: Store | None = None

    def see(self, moment: Moment | Absence, tallies: Sequence[Tally]) -> None:
        """Take note of a moment, and of the tallies that were closed with it."""

    def answer(self, question: bytes, most_bytes: int) -> bytes | None:
        """Return the answer to a question, at most so long [B], as both go on the wire; see `answering.answer`."""
        return answering.answer(question, most_bytes, self._station, self.store)

    def told(self, health: Health) -> Health:
        """Return a health that also says what keeps the evidence from being kept."""
        trouble = self.store and self.store.trouble
        return replace(health, checks=(*health.checks, f"look: {trouble}")) if trouble else health


class Watchful(Keeper):
    """Keeps strips of crossings and films of random minutes.

    Parameters
    ----------
    config : Config
        With its `[evidence]`.
    boot : str
        Which start of the counter.
    started_at : datetime or None
        The moment from which frames count, aware UTC, if the counter knows the time of day.
    store, clerk
        Where evidence is kept, and who writes it.
    say : callable
        Told what must not happen.
    """

    def __init__(
        self,
        config: Config,
        boot: str,
        started_at: datetime | None,
        store: Store,
        clerk: Clerk,
        say: Callable[[str], None],
    ) -> None:
        super().__init__(config.station)
        assert config.evidence is not None
        self.store, self._clerk, self._say = store, clerk, say
        self._started_at = started_at
        gate = _gate(config)
        self._strips = Strips(config.station, boot, parse_station(gate, "of the evidence"), store, clerk)
        place = config.place.place if config.place else None
        name, seed = (config.site, config.station, boot), store.seed(token_hex(SEED_BYTES))
        self._clips = Clips(name, gate, store, clerk, config.evidence.clips_a_day, seed, place)

    def see(self, moment: Moment | Absence, tallies: Sequence[Tally]) -> None:
        """Take note of a moment, and of the tallies that were closed with it."""
        if self._clerk.defect is not None:
            self._give_up(self._clerk.defect)
            return
        for tally in tallies:
            self._learn(tally)
        self._clips.see(moment, tallies, self._started_at)
        if isinstance(moment, Moment):
            self._strips.see(moment, self._started_at)

    def close(self) -> None:
        """Let go of what is not whole."""
        self._clips.close()
        self._clerk.close()

    def _learn(self, tally: Tally) -> None:
        """Learn the time of day, or that it was set otherwise."""
        if tally.clock is Clock.SYNCED:
            started_at = tally.from_at - timedelta(seconds=tally.up_s)
            if self._started_at is None or abs(started_at - self._started_at) > SAME:
                self._started_at = started_at

    def _give_up(self, defect: str) -> None:
        """Count on without evidence: the count is what the station is for."""
        assert self.store is not None
        if self.store.trouble is None:
            self._say(defect)
            self.store.refuse("a defect of its own, told above, ended it until the next start")


@contextmanager
def keeping(config: Config, boot: str, started_at: datetime | None, say: Callable[[str], None]) -> Generator[Keeper]:
    """Yield what keeps the evidence of a start of the counter, as its configuration wants it.

    Parameters
    ----------
    config : Config
        Of the station.
    boot : str
        Which start of its counter.
    started_at : datetime or None
        The moment from which frames count, aware UTC, if the counter knows the time of day.
    say : callable
        Told one line for each change of state.
    """
    if config.evidence is None:
        yield Keeper(config.station)
        return
    clerk = Clerk(waits=not isinstance(config.camera, BoardSection | UsbSection))
    folder = config.evidence.path or config.spool.path.parent / FOLDER
    keeper = Watchful(config, boot, started_at, Store(folder, config.evidence.keep_bytes, say), clerk, say)
    try:
        yield keeper
    finally:
        keeper.close()


def _gate(config: Config) -> str:
    """Return the text of the station file; of a drawn station, what calibration would have written."""
    if isinstance(config.camera, DrawnCamera):
        return truth_of(DrawnStation(config.camera.seed), config.station, "drawn").station_text()
    assert config.station_file is not None
    return config.station_file.read_text(encoding="utf-8")
