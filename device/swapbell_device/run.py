"""A station's watch: frames in, tallies through the spool to the broker, until the camera ends or one says stop."""

import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC
from pathlib import Path
from threading import Event
from uuid import uuid4

from swapbell_device.book import Book
from swapbell_device.cameras.live import Absence
from swapbell_device.config import Config, read_config
from swapbell_device.evidence.keeper import keeping
from swapbell_device.eye import Watch, moments, now, say
from swapbell_device.health import Pulse
from swapbell_device.inspector import Inspector
from swapbell_device.linking.delivery import PATIENT, Patience
from swapbell_device.linking.link import Link
from swapbell_device.linking.linksession import Door
from swapbell_device.moment import Moment
from swapbell_device.orders import Orders
from swapbell_device.service.manager import Manager
from swapbell_device.shift import Shift
from swapbell_device.spooling.spool import Spool
from swapbell_device.spooling.spoolfile import check_folder
from swapbell_device.timekeeper import Timekeeper, by_the_clock
from swapbell_models.fault import Breakdown, Mistake


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
    since_s: float | None = None
    while config is not None:
        since_s = _run_once(config, watch, orders, manager, since_s)
        config = orders.next()
    manager.stopping()


def _run_once(config: Config, watch: Watch, orders: Orders, manager: Manager, since_s: float | None) -> float | None:
    """Run until one says stop; return when that was by the board's own clock [s], which is where the next begins."""
    config, shown, origin_s = moments(config, watch, orders.stop, since_s)
    keep, trusted = config.spool, config.trusts_clock
    with Spool(keep.path, keep.keep_days, keep.keep_bytes, opened_at=now(), say=say, memory=memory()) as spool:
        manager.ready()
        heard = _heard(shown, orders, manager)
        if origin_s is None:
            run(config, heard, orders.stop, spool, goes_on=orders.goes_on)
            return None
        timekeeper = Timekeeper(lambda: by_the_clock(origin_s, trusted=trusted), orders.renew)
        ran_s = run(config, heard, orders.stop, spool, timekeeper=timekeeper, goes_on=orders.goes_on)
        return origin_s + ran_s


def memory(environment: Mapping[str, str] = os.environ) -> Path | None:
    """Return the folder that systemd holds in memory for this counter, if it does; see systemd.exec(5)."""
    folder = environment.get("RUNTIME_DIRECTORY")
    return Path(folder) if folder else None


def _heard(shown: Iterable[Moment | Absence], orders: Orders, manager: Manager) -> Iterator[Moment | Absence]:
    for moment in shown:
        manager.alive()
        orders.obey()
        yield moment


def _usable(config: Config, watch: Watch) -> Config:
    """Return a configuration all of whose files can be used: one that cannot would end the counter for good."""
    moments(config, watch, Event())
    Door(config.broker, config.site, config.station)
    check_folder(config.spool.path)
    return config


def run(
    config: Config,
    shown: Iterable[Moment | Absence],
    stop: Event,
    spool: Spool,
    patience: Patience = PATIENT,
    timekeeper: Timekeeper | None = None,
    goes_on: Callable[[], bool] = lambda: False,
) -> float:
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
    timekeeper : Timekeeper, optional
        Who dates it, where the moments are live.
    goes_on : callable
        Tells, when someone said stop, whether another start follows, which delivers what is left.

    Returns
    -------
    float
        When the last moment was [s].

    Raises
    ------
    Mistake
        If the camera fails, or the broker's password or certificate cannot be read.
    Breakdown
        If the camera ended and tallies remain in the spool, or the spool was damaged.
    """
    boot, guessed_at = uuid4().hex, (config.starts_at or now()).astimezone(UTC)
    timekeeper = timekeeper or Timekeeper(lambda: guessed_at)
    started_at = timekeeper.started_at or guessed_at
    book = Book(config.station, boot, started_at, timekeeper.clock, config.tally_s)
    pulse = Pulse(config.station, started_at, spool)
    with (
        keeping(config, boot, timekeeper.started_at, say) as keeper,
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
        shift = Shift(book, pulse, spool, keeper, timekeeper, Inspector(config, pulse))
        try:
            _work(shift, shown, link)
        except (Mistake, Breakdown) as fault:
            pulse.end(str(fault))
            link.finish(patience.stop_s)
            raise
        if goes_on():
            return shift.at_s
        link.finish(patience.stop_s if stop.is_set() else patience.end_s)
    _tell_end(config, spool, stopped=stop.is_set())
    return shift.at_s


def _work(shift: Shift, shown: Iterable[Moment | Absence], link: Link) -> None:
    state = shift.pulse.state
    try:
        for moment in shown:
            shift.enter(moment)
            if shift.pulse.state is not state:
                state = shift.pulse.state
                link.report()
            link.check()
    finally:
        shift.close()


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
