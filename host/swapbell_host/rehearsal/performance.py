"""The rehearsal as a command: its folder, its view on a terminal or in plain lines, its summary."""

import sys
from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import msgspec
from rich.console import Console
from rich.live import Live

from swapbell_host.rehearsal import station
from swapbell_host.rehearsal.audience import Heard
from swapbell_host.rehearsal.outcome import Outcome, outcome
from swapbell_host.rehearsal.play import Drawn, Footage, Play
from swapbell_host.rehearsal.stage import drawing
from swapbell_host.rehearsal.story import Serve, perform
from swapbell_models.fault import Mistake
from swapbell_models.readiness import RULE_VISITS

Show = Callable[[Heard], None]


def play_of(clip: Path | None, station_file: Path | None, seed: int) -> Play:
    """Return what is to be played.

    Raises
    ------
    Mistake
        If only one of clip and station file is given, or one of them is not there.
    """
    if clip is None and station_file is None:
        return Drawn(seed)
    if clip is None or station_file is None:
        raise Mistake("--clip and --station go together: the footage, and the file that says where its gate lies")
    for path in (clip, station_file):
        if not path.is_file():
            raise Mistake(f"{path}: there is no such file; check the path")
    return Footage(clip, station_file)


def rehearse(play: Play, where: Path, port: int | None, now: datetime, serve: Serve) -> Outcome:
    """Play it in a new folder below `where`, named after the moment, and show it on stderr.

    Raises
    ------
    Mistake
        If the folder cannot be made, the port is taken, or the station's part is not installed.
    Breakdown
        If a part of it fails on the way.
    """
    station.command()
    folder = _new_folder(where, now)
    with _view(play.title) as show:
        heard = perform(play, folder, port, serve, show)
    true_visits_s = station.true_visits_s(folder / "station.toml") if isinstance(play, Drawn) else None
    return outcome(heard, play.title, true_visits_s, RULE_VISITS, folder)


def as_json(result: Outcome) -> str:
    """Return the summary for a script."""
    return msgspec.json.encode(result, enc_hook=str).decode()


def _new_folder(where: Path, now: datetime) -> Path:
    folder = where / f"{now:%Y-%m-%d-%H%M%S}"
    try:
        folder.mkdir(parents=True)
    except OSError as error:
        raise Mistake(f"{folder}: {error.strerror}; name another folder with --dir") from error
    return folder.resolve()


@contextmanager
def _view(title: str) -> Generator[Show]:
    console = Console(stderr=True)
    if not console.is_terminal:
        yield _Lines()
        return
    with Live(drawing(Heard(), title, RULE_VISITS), console=console, refresh_per_second=8) as live:
        yield lambda heard: live.update(drawing(heard, title, RULE_VISITS))


class _Lines:
    """Where there is no terminal: a line for each minute watched and for each notice."""

    def __init__(self) -> None:
        self._minutes = 0
        self._notices: set[int] = set()

    def __call__(self, heard: Heard) -> None:
        began_at, ended_at, standing = heard.began_at(), heard.ended_at(), heard.standing
        if began_at is None or ended_at is None or standing is None:
            return
        minutes = int((ended_at - began_at).total_seconds() // 60)
        if minutes > self._minutes:
            self._minutes = minutes
            visits = "not known" if standing.visits is None else standing.visits
            sys.stderr.write(f"{minutes:2} min: visits in the last 5 minutes {visits}, {standing.verdict}\n")
        for notice in [n for n in heard.notices.values() if n.id not in self._notices]:
            self._notices.add(notice.id)
            sys.stderr.write(f"{notice.kind}: {notice.text}\n")
