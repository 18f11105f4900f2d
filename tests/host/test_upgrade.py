"""Ledgers of every revision, as they were written then, open today with all that they hold."""

import shutil
from datetime import timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace
from orchard import NOON_AT, SITE, STATION, STATIONS, tally, visits

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.schema import REVISIONS
from swapbell_host.books.sequence import Hole
from swapbell_host.books.store import ledger_url
from swapbell_models.message import Health, StationState
from swapbell_models.phase import Phase
from swapbell_models.tally import Hindrance, Sight

LEDGERS = Path(__file__).with_name("ledgers")


def test_a_ledger_of_every_revision_is_kept() -> None:
    assert tuple(sorted(path.stem for path in LEDGERS.iterdir())) == REVISIONS


@pytest.mark.parametrize("revision", REVISIONS)
def test_an_old_ledger_opens_with_all_that_it_holds(tmp_path: Path, revision: str) -> None:
    path = shutil.copy(LEDGERS / f"{revision}.ledger", tmp_path)
    now = NOON_AT + timedelta(minutes=10)
    with Ledger(ledger_url(str(path)), STATIONS, now) as ledger:
        history = ledger.history(SITE, STATION, now)
        holes = ledger.holes(SITE, STATION)
        notices = [entry.notice.text for entry in ledger.notebook.open_notices()]
    assert list(history.tallies) == [tally(seq, crossings=visits(1.0, 2.0)) for seq in range(1, 11) if seq != 4]
    assert history.health == Health(station=STATION, state=StationState.WATCHING, fps=30.0)
    assert holes == [Hole("b1", 4, 4, lost=False)]
    assert notices == ["Ten visits in five minutes."]


@pytest.mark.parametrize("revision", [revision for revision in REVISIONS if revision >= "0003"])
def test_an_old_ledger_tells_how_well_its_counters_saw(tmp_path: Path, revision: str) -> None:
    path = shutil.copy(LEDGERS / f"{revision}.ledger", tmp_path)
    now = NOON_AT + timedelta(minutes=10)
    with Ledger(ledger_url(str(path)), {(SITE, "south"): Phase.LURING}, now) as ledger:
        told = ledger.history(SITE, "south", now).tallies
    sure = replace(visits(1.0)[0], confidence=0.9)
    seen = Sight(light=2.5, moving=0.0, dropped=1, blind_s=3.0, hindrance=Hindrance.LIGHT)
    assert told == (tally(1, station="south", crossings=(sure,), watched_s=12.0, sight=seen),)
