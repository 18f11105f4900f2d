"""A station's watch: frames in, tallies through the spool to the broker, until the camera ends or one says stop."""

import time
from collections.abc import Iterable, Iterator
from datetime import UTC, timedelta
from pathlib import Path
from threading import Event
from uuid import uuid4

from swapbell_device.book import Book
from swapbell_device.cameras.live import Absence
from swapbell_device.checking.board import board_findings
from swapbell_device.checking.finding import amiss
from swapbell_device.clock import knows_the_time
from swapbell_device.config import BoardSection, Config, DrawnCamera, UsbSection, read_config
from swapbell_device.count import event
from swapbell_device.drawn import DrawnStation
from swapbell_device.evidence.keeper import Keeper, keeping
from swapbell_device.eye import Watch, moments, now, say
from swapbell_device.health import Pulse
from swapbell_device.linking.delivery import PATIENT, Patience
from swapbell_device.linking.link import Link
from swapbell_device.linking.linksession import Door
from swapbell_device.moment import Moment
from swapbell_device.orders import Orders
from swapbell_device.service.manager import Manager
from swapbell_device.spooling.spool import Spool
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.tally import Clock, Tally

# Our choice: until it knows the time, the board asks so often.
ASK_S = 10.0
# Once a day: what fills, heats up or fails on a board takes days.
INSPECT_S = 86_400.0


def truth(config: Config) -> Iterator[str]:
    """Yield the exact crossings of a drawn station as `count` would tell them if it made no error.

    Raises
    ------
    Mistake
        If the camera is not a drawn one.
    """
    if not isinstance(config.camera, DrawnCamera):
        raise Mistake('the truth is known of a drawn station only; give a configuration with camera.kind = "drawn"')
    yield from map(event, DrawnStation(config.camera.seed).truth)


def run_until_told(path: Path, watch: Watch) -> None:
    """Run the station of a configuration until its camera ends, or until SIGTERM or SIGINT; SIGHUP reads it anew.

    A configuration that cannot be used when it is read anew is told of, and changes nothing.

    Raises
    ------
    Mistake, Breakdown
        See `run`; and if the configuration cannot be used at the start.
    """
    config: Config | None = read_config(path)
    orders, manager = Orders(lambda: _usable(read_config(path), watch)), Manager(time.monotonic)
    while config is not None:
        _run_once(config, watch, orders, manager)
        config = orders.next()
    manager.stopping()


def _run_once(config: Config, watch: Watch, orders: Orders, manager: Manager) -> None:
    config, shown = moments(config, watch, orders.stop)
    keep = config.spool
    with Spool(keep.path, keep.keep_days, keep.keep_bytes, opened_at=now(), say=say) as spool:
        manager.ready()
        run(config, _heard(shown, orders, manager), orders.stop, spool)


def _heard(shown: Iterable[Moment | Absence], orders: Orders, manager: Manager) -> Iterator[Moment | Absence]:
    for moment in shown:
        manager.alive()
        orders.obey()
        yield moment


def _usable(config: Config, watch: Watch) -> Config:
    """Return a configuration all of whose files can be used: one that cannot would end the counter for good."""
    moments(config, watch, Event())
    Door(config.broker, config.site, config.station)
    return config


def run(
    config: Config,
    shown: Iterable[Moment | Absence],
    stop: Event,
    spool: Spool,
    patience: Patience = PATIENT,
) -> None:
    """Enter every moment in the book until there are no more, then deliver what is left.

    Parameters
    ----------
    config : Config
        The station's configuration.
    shown : iterable of Moment or Absence
        What each frame showed, or that there is none.
    stop : Event
        Whether someone said stop, and does not want to wait long.
    spool : Spool
        Where the tallies wait for their receipts.
    patience : Patience
        How long the link waits for what.

    Raises
    ------
    Mistake
        If the camera fails, or the broker's password or certificate cannot be read.
    Breakdown
        If the camera ended and tallies remain in the spool, or the spool was damaged.
    """
    started_at = (config.starts_at or now()).astimezone(UTC)
    boot, clock = uuid4().hex, _clock(config)
    book = Book(config.station, boot, started_at, clock, config.tally_s)
    pulse = Pulse(config.station, started_at, spool)
    with (
        keeping(config, boot, started_at if clock is Clock.SYNCED else None, say) as keeper,
        Link(
            config.broker,
            config.site,
            config.station,
            spool,
            lambda: keeper.told(pulse.health()),
            say,
            patience,
            keeper.answer,
        ) as link,
    ):
        try:
            _enter(config, shown, book, spool, pulse, link, keeper)
        except (Mistake, Breakdown) as fault:
            pulse.end(str(fault))
            link.finish(patience.stop_s)
            raise
        link.finish(patience.stop_s if stop.is_set() else patience.end_s)
    _tell_end(config, spool, stopped=stop.is_set())


def _enter(
    config: Config,
    shown: Iterable[Moment | Absence],
    book: Book,
    spool: Spool,
    pulse: Pulse,
    link: Link,
    keeper: Keeper,
) -> None:
    state, timekeeper, inspector = pulse.state, _Timekeeper(book, pulse), _Inspector(config, pulse)
    try:
        for moment in shown:
            tallies = [*_booked(moment, book, pulse)]
            for tally in tallies:
                spool.put(tally)
            keeper.see(moment, tallies)
            timekeeper.learn(moment.at_s)
            inspector.look(moment.at_s)
            if pulse.state is not state:
                state = pulse.state
                link.report()
            link.check()
    finally:
        for tally in book.close():
            spool.put(tally)


class _Timekeeper:
    """Asks now and then whether the board has learned the time of day, and then tells book and pulse."""

    def __init__(self, book: Book, pulse: Pulse) -> None:
        self._book, self._pulse, self._next_s = book, pulse, 0.0

    def learn(self, at_s: float) -> None:
        if self._book.clock is Clock.SYNCED or at_s < self._next_s:
            return
        self._next_s = at_s + ASK_S
        if knows_the_time():
            for keeper in (self._book, self._pulse):
                keeper.set_clock(now() - timedelta(seconds=at_s))


class _Inspector:
    """Looks at the board when it starts and once a day, and puts what is amiss into the health."""

    def __init__(self, config: Config, pulse: Pulse) -> None:
        self._config, self._pulse, self._next_s = config, pulse, 0.0

    def look(self, at_s: float) -> None:
        if at_s >= self._next_s:
            self._next_s = at_s + INSPECT_S
            self._pulse.note_checks(amiss(board_findings(self._config)))


def _clock(config: Config) -> Clock:
    """Return whether the time of day is known at the start: of what was recorded or drawn it is said."""
    live = isinstance(config.camera, BoardSection | UsbSection)
    return Clock.FREE if live and not config.trusts_clock and not knows_the_time() else Clock.SYNCED


def _booked(moment: Moment | Absence, book: Book, pulse: Pulse) -> Iterator[Tally]:
    if isinstance(moment, Absence):
        pulse.miss(moment.at_s, moment.reason, asleep=moment.asleep)
        return book.miss(moment.at_s, asleep=moment.asleep)
    pulse.beat(moment.frame.at_s, moment.look)
    return book.add(moment.crossings, moment.frame.at_s, moment.look, covered=moment.covered)


def _tell_end(config: Config, spool: Spool, *, stopped: bool) -> None:
    """Tell of what is in the file; of what is not, the spool itself tells when it is closed."""
    spool.retry()
    name, safe, unsafe = f"{config.site}/{config.station}", spool.stored, spool.unstored
    if not safe and not unsafe:
        say(f"{name} ended; every tally is in the host's ledger")
    if not safe:
        return
    rest = (
        f"{name} ended with {safe} tallies without a receipt; they are safe in {spool.path} and sent on the next run"
    )
    if not stopped:
        raise Breakdown(rest)
    say(rest)
