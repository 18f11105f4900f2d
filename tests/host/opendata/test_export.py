"""Extracts on their way into files."""

import csv
import os
import signal
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import frictionless
import pytest
from exported import at, body, plan, record
from orchard import NOON_AT
from pyarrow import parquet
from typer.testing import CliRunner

from swapbell_host import opendata
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.main import app
from swapbell_host.opendata import export, extracts, package, reading, stopping
from swapbell_host.opendata.choosing import Choice, choose
from swapbell_host.opendata.extracts import Extract
from swapbell_host.opendata.table import Kind, Row, Table
from swapbell_host.opendata.tables import COUNTS, CROSSINGS, TALLIES
from swapbell_models.fault import Breakdown, Mistake

TABLES = [COUNTS, CROSSINGS, TALLIES]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n')
    plan("ledger.sqlite")
    record("ledger.sqlite", [at(0.0, 1, body(1.0), body(2.5)), at(15.0, 2, watched_s=0.0), at(900.0, 3)])
    return tmp_path


def typed(*words: str) -> str:
    result = CliRunner().invoke(app, ["export", *words])
    assert result.exception is None, result.exception
    return result.stdout


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir() if not path.name.startswith(("ledger", "host"))}


def extract(*rows: list[Row] | Exception) -> Extract:
    def pieces() -> Iterator[list[Row]]:
        for row in rows:
            if isinstance(row, Exception):
                raise row
            yield row

    return Extract(COUNTS, len(rows), pieces())


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_what_lies_beside_a_table_describes_it_to_any_program(desk: Path, table: Table) -> None:
    typed(table.name, f"{table.name}.csv")
    report = frictionless.validate(f"{table.name}.datapackage.json")
    assert report.flatten(["message"]) == []
    assert report.tasks[0].stats["rows"] > 0


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_says_what_it_is_and_every_measure_its_unit(table: Table) -> None:
    assert [column.name for column in table.columns if not column.words.endswith(".")] == []
    assert [column.name for column in table.columns if column.name.endswith("_s") and column.unit != "s"] == []
    assert [column.name for column in table.columns if column.name.endswith("_mm") and column.unit != "mm"] == []


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_parquet_holds_the_same_as_csv(desk: Path, table: Table) -> None:
    typed(table.name, "out.csv")
    typed(table.name, "out.parquet")
    with Path("out.csv").open(encoding="utf-8", newline="") as file:
        told = list(csv.DictReader(file))
    assert [as_text(row) for row in parquet.read_table("out.parquet").to_pylist()] == told


def as_text(row: dict[str, Any]) -> dict[str, str]:
    return {name: "" if cell is None else cell_text(cell) for name, cell in row.items()}


def cell_text(cell: object) -> str:
    return f"{cell.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}" if isinstance(cell, datetime) else str(cell)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_a_parquet_column_says_itself_what_it_holds(desk: Path, table: Table) -> None:
    typed(table.name, "out.parquet")
    schema = parquet.read_schema("out.parquet")
    said = {field.name: field.metadata for field in schema}
    assert {name: each[b"description"].decode() for name, each in said.items()} == {
        column.name: column.words for column in table.columns
    }
    assert {name: each[b"unit"].decode() for name, each in said.items() if b"unit" in each} == {
        column.name: column.unit for column in table.columns if column.unit
    }
    assert schema.metadata[b"description"].decode() == table.words


def test_parquet_is_written_group_by_group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from swapbell_host.opendata import parquetfile

    monkeypatch.setattr(parquetfile, "GROUP_ROWS", 3)
    piece = [tuple(usual(column.kind) for column in COUNTS.columns)] * 2
    written = export.write(extract(piece, piece, piece), tmp_path / "out.parquet", NOON_AT, lambda: None)
    file = parquet.ParquetFile(tmp_path / "out.parquet")
    assert (written, file.metadata.num_rows, file.num_row_groups) == (6, 6, 2)


def usual(kind: Kind) -> Any:
    return {Kind.TEXT: "text", Kind.INTEGER: 1, Kind.NUMBER: 1.5, Kind.MOMENT: NOON_AT}[kind]


@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_an_export_that_fails_on_the_way_leaves_nothing_and_what_was_there(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text("from before")
    row = tuple(usual(column.kind) for column in COUNTS.columns)
    with pytest.raises(Breakdown):
        export.write(extract([row], Breakdown("the ledger is gone")), path, NOON_AT, lambda: None)
    assert files(tmp_path) == {name}
    assert path.read_text() == "from before"


@pytest.mark.parametrize("order", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize(
    "words", [["tallies", "out.csv"], ["crossings", "out.csv"], ["tallies", "out.parquet"], ["camtrap", "out"]]
)
def test_an_export_that_is_stopped_leaves_nothing_but_what_was_there(
    desk: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], order: signal.Signals
) -> None:
    Path("out.csv").write_text("from before")
    told = reading.told

    def stopped_on_the_way(*given: Any, **more: Any) -> Iterator[Any]:
        for piece in told(*given, **more):
            os.kill(os.getpid(), order)
            yield piece

    for module in (extracts, package):
        monkeypatch.setattr(module, "told", stopped_on_the_way)
    before = signal.getsignal(order)
    result = CliRunner().invoke(app, ["export", *words])
    assert result.exit_code == 128 + order
    assert result.stderr == f"{words[1]}: stopped, and nothing of it written; ask again for the whole\n"
    assert (result.stdout, files(desk), Path("out.csv").read_text()) == ("", {"out.csv"}, "from before")
    assert signal.getsignal(order) is before


def test_whoever_orders_twice_does_not_wait_for_a_piece(desk: Path) -> None:
    with stopping.heeding() as heed:
        signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.SIG_DFL
        with pytest.raises(stopping.Stopped):
            heed()


@pytest.mark.part("tmpfs")
@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_a_full_disk_is_told_in_one_line(small_disk: Path, name: str) -> None:
    row = tuple(
        f"text {n}" if column.kind is Kind.TEXT else usual(column.kind) for n, column in enumerate(COUNTS.columns)
    )
    (small_disk / "filler").write_bytes(b"x" * (1024 * 1024 - 8192))
    with pytest.raises(Breakdown, match="the disk is full"):
        export.write(extract(*[[row] * 1000] * 50), small_disk / name, NOON_AT, lambda: None)
    assert files(small_disk) == {"filler"}


@pytest.mark.parametrize(
    ("name", "words"),
    [("out.xlsx", "must end in .csv or .parquet"), ("out", "must end in"), ("nowhere/out.csv", "No such file")],
)
def test_a_file_that_cannot_be_is_refused(tmp_path: Path, name: str, words: str) -> None:
    with pytest.raises(Mistake, match=words):
        export.write(extract(), tmp_path / name, NOON_AT, lambda: None)
    assert files(tmp_path) == set()


def test_without_the_library_for_parquet_one_line_says_the_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.delitem(sys.modules, "swapbell_host.opendata.parquetfile", raising=False)
    monkeypatch.delattr(opendata, "parquetfile", raising=False)
    with pytest.raises(Mistake, match=r"pip install 'swapbell\[opendata\]', or name the file \.csv"):
        export.write(extract(), tmp_path / "out.parquet", NOON_AT, lambda: None)


def test_a_page_gets_the_same_bytes_as_a_file(desk: Path) -> None:
    typed("counts", "out.csv")
    with open_existing(ledger_url("ledger.sqlite")) as store:
        content = b"".join(export.text(extracts.counts(store, choose(store, Choice()))))
    assert content == Path("out.csv").read_bytes()


def test_the_result_stands_on_stdout_and_remarks_do_not(desk: Path) -> None:
    record("ledger.sqlite", [at(0.0, 1, boot="adrift", clock="free")])
    result = CliRunner().invoke(app, ["export", "counts", "out.csv"])
    assert result.stdout == "out.csv: 2 rows\n"
    assert result.stderr == ("1 tallies came from counters that never knew the time of day; they are left out\n")


def test_a_camtrap_folder_is_written_by_command(desk: Path) -> None:
    assert typed("camtrap", "out") == "out: 1 deployments, 1 observations of 3 tallies\n"
    assert files(Path("out")) == {
        "datapackage.json",
        "deployments.csv",
        "media.csv",
        "observations.csv",
        "effort.csv",
    }


def test_an_unknown_station_is_refused_before_anything_is_written(desk: Path) -> None:
    result = CliRunner().invoke(app, ["export", "counts", "out.csv", "--station", "nobody"])
    assert isinstance(result.exception, Mistake)
    assert files(desk) == set()
