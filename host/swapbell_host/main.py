"""The host's command line, and the loop that turns tallies into decisions."""

import signal
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_models import fault

if TYPE_CHECKING:
    from swapbell_host.config import Config

app = typer.Typer(
    help="Takes down what the stations count, says when to swap the lure, and tells a person.\n\n"
    "Example: swapbell-host run --config host.toml",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    no_args_is_help=True,
)

ConfigOption = Annotated[Path, typer.Option("--config", help="The host's configuration.", show_default=True)]
HOST_TOML = Path("host.toml")


def serve(config: "Config", now: Callable[[], datetime], stop: threading.Event) -> None:
    """Take tallies down, acknowledge them, judge, and tell, until `stop` is set.

    Parameters
    ----------
    config : Config
        The whole configuration.
    now : callable
        Returns the time, aware UTC.
    stop : threading.Event
        Ends the loop after the batch in hand.

    Raises
    ------
    Mistake
        If the configuration cannot work: the ledger's place, the broker's password.
    Breakdown
        If the ledger cannot be written; nothing is acknowledged that is not stored.
    """
    from swapbell_host.ledger import Ledger
    from swapbell_host.store import ledger_url
    from swapbell_host.subscriber import Subscriber
    from swapbell_models.message import Subject

    stations = config.phases()
    with (
        Ledger(ledger_url(config.ledger), stations, now()) as ledger,
        Subscriber(config.broker, {site for site, _ in stations}) as subscriber,
    ):
        for batch in subscriber.batches(stop):
            recorded = ledger.record(batch.arrivals, now())
            subscriber.ack(batch)
            for site, station, receipt in recorded.receipts:
                subscriber.publish(site, station, Subject.RECEIPT, receipt, retain=True)


@app.callback()
def _host() -> None:
    pass


@app.command("run")
def run_command(config: ConfigOption = HOST_TOML) -> None:
    """Listen to the stations until stopped (Ctrl-C or SIGTERM).

    Example: swapbell-host run --config host.toml
    """
    from swapbell_host.config import read_config

    serve(read_config(config), lambda: datetime.now(UTC), _stop_on_signal())


def _stop_on_signal() -> threading.Event:
    stop = threading.Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    return stop


def run() -> None:
    """Run the command line."""
    fault.speak(app)
