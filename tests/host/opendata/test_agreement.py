"""One invented ledger, taken out by every way there is: the same hour says the same everywhere."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from exported import HEARD_AT, HERE, body, plan, record
from host.page_client import client
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from orchard import NOON_AT, SITE, STATION, tally
from pyarrow import parquet

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.count import Count, known
from swapbell_host.jobs.plan import place
from swapbell_host.opendata import export, extracts, package
from swapbell_host.opendata.choosing import Choice, choose
from swapbell_host.opendata.labelling import Labels
from swapbell_host.sheets.form import Form
from swapbell_host.sheets.issue import season_report
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction, Tally

HOUR, MINUTE_S = timedelta(hours=1), 60.0
# By day, over dusk, and at night, where the invented station hangs.
HOURS = tuple(NOON_AT + k * HOUR for k in (0, 4, 10))


@dataclass
class Said:
    """What one way out says of an hour; nothing where it says nothing."""

    visits: int | None = None
    small: int | None = None
    large: int | None = None
    watched_s: float = 0.0
    twofold_s: float | None = None

    def seen(self, visits: int | None, small: int | None, large: int | None) -> None:
        """Add what came in."""
        pairs = ((self.visits, visits), (self.small, small), (self.large, large))
        self.visits, self.small, self.large = (
            before if more is None else (before or 0) + more for before, more in pairs
        )


@dataclass
class Run:
    """A counter that reports each minute, from a minute of an hour to another."""

    boot: str
    hour: datetime
    first: int
    last: int
    bodies: Mapping[int, list[Crossing]] = field(default_factory=dict[int, list[Crossing]])
    watched: float = 1.0

    def tallies(self) -> list[Tally]:
        """Return what it sends."""
        begun_at = self.hour + timedelta(minutes=self.first)
        return [
            tally(
                minute - self.first + 1,
                boot=self.boot,
                from_at=self.hour + timedelta(minutes=minute),
                up_s=(self.hour + timedelta(minutes=minute) - begun_at).total_seconds(),
                seconds=MINUTE_S,
                watched_s=MINUTE_S * self.watched,
                crossings=tuple(self.bodies.get(minute, ())),
            )
            for minute in range(self.first, self.last)
        ]


BODIES = st.builds(body, st.floats(0.0, MINUTE_S), st.sampled_from(Direction), st.sampled_from(SizeClass))


@st.composite
def runs(draw: st.DrawFn) -> list[Run]:
    """Draw counters of one name in some hours: each begins and ends anywhere, after another or beside it."""
    found = list[Run]()
    for hour in draw(st.lists(st.sampled_from(HOURS), min_size=1, unique=True)):
        for n in range(draw(st.integers(1, 3))):
            first = draw(st.integers(0, 58))
            last = draw(st.integers(first + 1, 60))
            bodies = draw(st.dictionaries(st.integers(first, last - 1), st.lists(BODIES, max_size=4), max_size=12))
            watched = draw(st.sampled_from([0.0, 0.5, 1.0]))
            found.append(Run(f"b{n}-{hour:%H}", hour, first, last, bodies, watched))
    return found


def by_counts(store: Store) -> dict[datetime, Said]:
    found = Countbook(store).span(SITE, STATION, HOURS[0], HOURS[-1] + HOUR, HOUR, place(HERE))
    return {each.from_at: _of_count(each) for each in found}


def _of_count(each: Count) -> Said:
    said = Said(watched_s=each.watched_s, twofold_s=each.twofold_s)
    said.seen(*(known(number, each.watched_s) for number in (each.visits, each.small, each.large)))
    return said


def by_table(rows: Iterable[Mapping[str, Any]]) -> dict[datetime, Said]:
    found = dict[datetime, Said]()
    for row in rows:
        begins = row["from_utc"]
        at = begins if isinstance(begins, datetime) else datetime.fromisoformat(begins)
        said = found.setdefault(at, Said(watched_s=float(row["watched_s"]), twofold_s=float(row["twofold_s"])))
        said.seen(*(None if row[name] in {"", None} else int(row[name]) for name in ("visits", "small", "large")))
    return found


def by_files(store: Store, folder: Path) -> Sequence[dict[datetime, Said]]:
    chosen = choose(store, Choice())
    for name in ("counts.csv", "counts.parquet"):
        export.write(extracts.counts(store, chosen, HOUR), folder / name, NOON_AT, lambda: None)
    with (folder / "counts.csv").open(encoding="utf-8", newline="") as file:
        lines = by_table(csv.DictReader(file))
    return lines, by_table(parquet.read_table(folder / "counts.parquet").to_pylist())


def by_camtrap(store: Store, folder: Path) -> dict[datetime, Said]:
    package.write(store, choose(store, Choice()), folder / "camtrap", Labels(by="Kim"), NOON_AT, lambda: None)
    found, hour_of = dict[datetime, Said](), dict[str, datetime]()
    for row in _rows(folder / "camtrap" / "effort.csv"):
        at = datetime.fromisoformat(row["eventStart"])
        hour_of[row["eventID"]] = hour = at.replace(minute=0, second=0, microsecond=0)
        said = found.setdefault(hour, Said())
        said.watched_s += float(row["watchedSeconds"])
        said.seen(*(int(row[name]) if row[name] else None for name in ("inWasp", "inSmall", "inLarge")))
    observed = {hour: dict.fromkeys(SizeClass, 0) for hour in found}
    for row in _rows(folder / "camtrap" / "observations.csv"):
        size = SizeClass(row["observationTags"].split(" | ")[0].removeprefix("sizeClass:"))
        observed[hour_of[row["eventID"]]][size] += int(row["count"])
    for hour, said in found.items():
        wasps, small, large = (observed[hour][size] for size in (SizeClass.WASP, SizeClass.SMALL, SizeClass.LARGE))
        assert (wasps, small, large) == (said.visits or 0, said.small or 0, said.large or 0)
    return found


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def by_plot(folder: Path) -> dict[datetime, Said]:
    page, found = client(folder, ledger=str(folder / "ledger.sqlite")), dict[datetime, Said]()
    page.now = HEARD_AT
    for hour in HOURS:
        where = f"/station/{SITE}/{STATION}/counts.json?from={hour:%Y-%m-%dT%H:%MZ}&to={hour + HOUR:%Y-%m-%dT%H:%MZ}"
        told = json.loads(page.get(where).content)
        most = [value for value in told["most"] if value is not None]
        found[hour] = Said(
            sum(most) if most else None,
            watched_s=300.0 * sum(told["watched"]),
            twofold_s=float(sum(ends - begins for begins, ends in told["twofold"])),
        )
    page.back.close()
    return found


def by_season(store: Store) -> Said:
    content = season_report(store, Servicebook(store), SITE, HEARD_AT, form=Form.CSV).content
    (row,) = (row for row in csv.DictReader(io.StringIO(content.decode())) if row["day"] == f"{NOON_AT:%Y-%m-%d}")
    said = Said(watched_s=float(row["watched_s"]), twofold_s=float(row["twofold_s"]))
    said.seen(*(int(row[name]) if row[name] else None for name in ("visits", "small", "large")))
    return said


def agree(one: Said, other: Said, within_s: float = 0.01) -> None:
    """Hold that two ways say the same: a gap of one is no zero of the other."""
    assert (one.visits, one.small, one.large) == (other.visits, other.small, other.large)
    assert one.watched_s == pytest.approx(other.watched_s, abs=within_s)


@settings(max_examples=20, deadline=None, phases=(Phase.reuse, Phase.generate))  # a smaller example takes minutes
@given(runs())
def test_the_same_hour_says_the_same_by_every_way_out(told: list[Run]) -> None:
    with TemporaryDirectory() as made:
        folder = Path(made)
        name = str(folder / "ledger.sqlite")
        plan(name, zone="Etc/UTC")
        record(name, [each for run in told for each in run.tallies()])
        with open_existing(ledger_url(name)) as store:
            counts, camtrap, season = by_counts(store), by_camtrap(store, folder), by_season(store)
            lines, columns = by_files(store, folder)
            raw = [row for piece in extracts.tallies(store, choose(store, Choice())).rows for row in piece]
        plotted = by_plot(folder)
    assert counts.keys() == lines.keys() == columns.keys() == camtrap.keys() == {run.hour for run in told}
    for hour, said in counts.items():
        agree(said, lines[hour])
        agree(said, columns[hour])
        # The five minutes over dusk are shared out as a whole; a package shares out each tally.
        agree(said, camtrap[hour], within_s=300.0 if hour == HOURS[1] else 0.01)
        assert said.twofold_s == lines[hour].twofold_s == columns[hour].twofold_s
        assert (said.visits or 0) == (plotted[hour].visits or 0)
        # No share of a plot is above 1, where two starts of one counter claim the same minute.
        assert said.watched_s == pytest.approx(plotted[hour].watched_s, abs=122.0)
        assert (said.twofold_s or 0.0) <= (plotted[hour].twofold_s or 0.0)
    whole = Said(watched_s=sum(said.watched_s for said in counts.values()))
    for said in counts.values():
        whole.seen(said.visits, said.small, said.large)
    agree(whole, season)
    assert len(raw) == sum(run.last - run.first for run in told)


def test_two_counters_and_a_night_are_gaps_by_every_way_out(tmp_path: Path) -> None:
    noon, dusk, night = HOURS
    seen = {minute: [body(1.0), body(2.0, size=SizeClass.SMALL)] for minute in range(60)}
    name = str(tmp_path / "ledger.sqlite")
    plan(name, zone="Etc/UTC")
    record(name, [each for boot in ("b1", "b2") for each in Run(boot, noon, 0, 60, seen).tallies()])
    record(name, Run("b3", night, 0, 60).tallies())
    with open_existing(ledger_url(name)) as store:
        camtrap, (lines, columns) = by_camtrap(store, tmp_path), by_files(store, tmp_path)
        counts, season = by_counts(store), by_season(store)
    plotted = by_plot(tmp_path)
    for way in (counts, lines, columns, camtrap, plotted):
        assert [(way[hour].visits, way[hour].watched_s) for hour in (noon, night)] == [(None, 0.0)] * 2
    assert (season.visits, season.watched_s, season.twofold_s) == (None, 0.0, 3600.0)
    assert dusk not in counts
