"""The host's command line, and the loop that turns tallies into decisions."""

import gc
import signal
import sys
import threading
import time
from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_host.auditing.command import GROUPS as EVIDENCE
from swapbell_host.desk.answering import COMMANDS as ANSWERS
from swapbell_host.desk.answering import GROUPS as ALERTS
from swapbell_host.desk.logins import GROUPS as LOGINS
from swapbell_host.desk.people import GROUPS as PEOPLE
from swapbell_host.desk.planning import GROUPS as PLAN
from swapbell_host.desk.servicing import COMMANDS as SERVICE
from swapbell_host.forecasting.command import forecast_command
from swapbell_host.kit.command import COMMANDS as BROKER
from swapbell_host.opendata.command import GROUPS as OPEN_DATA
from swapbell_host.sheets.command import COMMANDS as SHEETS
from swapbell_host.trade.commands import COMMANDS as TRADE
from swapbell_models import fault

if TYPE_CHECKING:
    from swapbell_host.alerting.alerts import Alerts
    from swapbell_host.alerting.heartbeat import Heartbeat
    from swapbell_host.board import Board, Seen
    from swapbell_host.books.ledger import Ledger
    from swapbell_host.config import Config
    from swapbell_host.discovery import Announcements
    from swapbell_host.wire.subscriber import Subscriber
    from swapbell_models.message import NoticeMessage
    from swapbell_models.notice import Notice

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
REHEARSALS = Path("rehearsals")
# Our choice: tallies form no cycles, and thousands of stations hold millions of them; looking for cycles in them each
# time that a few hundred came would cost a tenth of all work.
GC_EACH = 50_000


def say(line: str) -> None:
    """Print a line for whoever reads along."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def serve(
    config: "Config",
    now: Callable[[], datetime],
    stop: threading.Event,
    say: Callable[[str], None] = say,
    busy_ms: int | None = None,
) -> None:
    """Take tallies down, acknowledge them, judge, and tell, until `stop` is set.

    While another program holds the ledger, or its server is away, the host begins anew until it can: the broker keeps
    what comes, for nothing is acknowledged that is not stored.

    Parameters
    ----------
    config : Config
        The whole configuration.
    now : callable
        Returns the time, aware UTC.
    stop : threading.Event
        Ends the loop after the batch in hand.
    say : callable
        Is given a line for each notice told.
    busy_ms : int, optional
        How long to wait for another program that holds the ledger [ms]; `store.BUSY_MS` if not said.

    Raises
    ------
    Mistake
        If the configuration cannot work: the ledger's place, the broker's password, an alert's address, the page.
    Breakdown
        If the ledger cannot be written.
    """
    from swapbell_host.alerting.channel import check_section
    from swapbell_host.alerting.heartbeat import Heartbeat
    from swapbell_host.board import Board
    from swapbell_host.books.ledger import Ledger
    from swapbell_host.books.store import BUSY_MS, Interrupted, ledger_url
    from swapbell_host.patience import Patience

    check_section(config.alerts)
    url, patience, board = ledger_url(config.ledger), Patience(_warn), Board()
    heart = Heartbeat(config.alerts, _report)
    with _page(config, board, now) as begin_page, heart.beating(now):
        while not stop.is_set():
            try:
                with Ledger(url, config.phases(), now(), kept=config.kept(), busy_ms=busy_ms or BUSY_MS) as ledger:
                    patience.renew()
                    begin_page()
                    while not stop.is_set():
                        _attend(ledger, config, board, heart, now, stop, say)
            except Interrupted as error:
                heart.suffer(now(), str(error))
                stop.wait(patience.bear(error))


@contextmanager
def _page(config: "Config", board: "Board", now: Callable[[], datetime]) -> Generator[Callable[[], None]]:
    """Hold the page's port and yield what begins to serve it, to be called once the ledger is there."""
    if config.page is None:
        yield lambda: None
        return
    from swapbell_host.page.serving.server import Server

    with Server(config, board, now, _warn) as server:
        yield server.begin


def _attend(
    ledger: "Ledger",
    config: "Config",
    board: "Board",
    heart: "Heartbeat",
    now: Callable[[], datetime],
    stop: threading.Event,
    say: Callable[[str], None],
) -> None:
    """Do the host's work with an open ledger, until a station is added."""
    from swapbell_host.discovery import Announcements
    from swapbell_host.rota import Rota, Rounds
    from swapbell_host.watch import Watch
    from swapbell_host.wire.subscriber import Subscriber

    _await_stations(ledger, now, stop)
    rules_of = config.rules(ledger.stations)
    with (
        Subscriber(config.broker, {site for site, _ in rules_of}, now) as subscriber,
        _alerts(ledger, config, board, _teller(subscriber, say)).sending(now) as alerts,
    ):
        rota, rounds = Rota(rules_of, time.monotonic()), Rounds(rules_of, now())
        watch = Watch(ledger, subscriber, alerts, rules_of, board, now, say, _warn)
        announcements = Announcements(config.discovery, config.rule.window_s)
        for batch in subscriber.batches(stop):
            for station in rota.due(watch.take(batch), time.monotonic()):  # in turn too: silence is news
                watch.look(*station)
                _announce(announcements, board.of(*station), subscriber)
            if turn := rounds.due(now()):
                watch.begin_review(*turn)
            watch.go_on()
            alerts.advance(now())
            away = None if subscriber.listening_since else "the broker cannot be reached"
            heart.work(now(), ledger.tellings, partial(ledger.people, config.alerts), away)
            if ledger.admit(now()):
                return


def _announce(announcements: "Announcements", seen: "Seen | None", subscriber: "Subscriber") -> None:
    """Tell home automation of a station that was just looked at, where that is news and wanted."""
    if seen and (told := announcements.news(seen.history, subscriber.connection)):
        subscriber.keep(*told)


def _alerts(
    ledger: "Ledger", config: "Config", board: "Board", say: Callable[["Notice", "NoticeMessage"], None]
) -> "Alerts":
    from swapbell_host.alerting.alerts import Alerts, Outlet

    page = config.page.address if config.page else None
    outlet = Outlet(partial(ledger.people, config.alerts), say, _report, page=page, visited=board.visited)
    return Alerts(ledger.notebook, ledger.tellings, outlet)


def _await_stations(ledger: "Ledger", now: Callable[[], datetime], stop: threading.Event) -> None:
    """Wait until there is a station to listen to."""
    if not ledger.stations:
        _warn("no stations yet; add one with `swapbell-host station add`")
    while not ledger.stations and not stop.wait(1.0):
        ledger.admit(now())


def _teller(subscriber: "Subscriber", say: Callable[[str], None]) -> Callable[["Notice", "NoticeMessage"], None]:
    from swapbell_models.message import Subject

    def tell(notice: "Notice", message: "NoticeMessage") -> None:
        say(f"{message.told_at:%Y-%m-%d %H:%M} UTC, notice {message.id}: {notice.text}")
        subscriber.call(notice.site, notice.station, Subject.NOTICE, message)

    return tell


def _report(line: str) -> None:
    _warn(f"alerts: {line}")


def _warn(line: str) -> None:
    sys.stderr.write(f"{line}\n")
    sys.stderr.flush()


@app.callback()
def _host() -> None:
    pass


@app.command("run")
def run_command(config: ConfigOption = HOST_TOML) -> None:
    """Listen to the stations until stopped (Ctrl-C or SIGTERM).

    Example: swapbell-host run --config host.toml
    """
    from swapbell_host.config import read_config

    gc.set_threshold(GC_EACH)
    serve(read_config(config), lambda: datetime.now(UTC), _stop_on_signal())


@app.command("rehearse")
def rehearse_command(
    folder: Annotated[Path, typer.Option("--dir", help="Where this rehearsal's own folder is made.")] = REHEARSALS,
    clip: Annotated[Path | None, typer.Option("--clip", help="Footage to count instead of a drawn station.")] = None,
    station: Annotated[Path | None, typer.Option("--station", help="The station file of the footage.")] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Which invented traffic is drawn.")] = 1,
    port: Annotated[int | None, typer.Option("--port", min=1, max=65535, help="The broker's port; any.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")] = False,
) -> None:
    """Play the whole job on this machine: broker, host and a station whose traffic builds up until it is ready.

    Example: swapbell-host rehearse
    """
    from swapbell_host.rehearsal.performance import as_json, play_of, rehearse

    try:
        result = rehearse(play_of(clip, station, seed), folder, port, datetime.now(UTC), serve)
    except KeyboardInterrupt:
        typer.echo(f"stopped; what there is so far lies in {folder}", err=True)
        raise typer.Exit(fault.EXIT_INTERRUPTED) from None
    typer.echo(as_json(result) if json else result.words())


@app.command("status")
def show_status(
    config: ConfigOption = HOST_TOML,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")] = False,
) -> None:
    """Show how every station stands, from the ledger; the host need not be running.

    Example: swapbell-host status --json
    """
    import msgspec
    from rich.console import Console

    from swapbell_host.config import read_config
    from swapbell_host.status import lines, read_status, table

    now = datetime.now(UTC)
    status = read_status(read_config(config), now)
    if json:
        typer.echo(msgspec.json.encode(status))
        return
    console = Console(highlight=False, markup=False)
    console.print(table(status, now, console.width))
    for line in lines(status, now):  # whoever reads by program gets each whole
        console.print(line, soft_wrap=not console.is_terminal)


for _name, _command in (ANSWERS | BROKER | SERVICE | SHEETS | TRADE | {"forecast": forecast_command}).items():
    app.command(_name)(_command)
for _name, _group in (PLAN | PEOPLE | ALERTS | LOGINS | OPEN_DATA | EVIDENCE).items():
    app.add_typer(_group, name=_name)


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
