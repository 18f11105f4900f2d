"""Rows as a Parquet file, whose columns say themselves what they hold; pyarrow writes it."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import pyarrow as arrow
from pyarrow import parquet

from swapbell_host.opendata.table import Column, Kind, Row, Table

# Our choice: a row group compresses well, and takes some 100 MB while it is gathered.
GROUP_ROWS = 20_000
_TYPES = {
    Kind.TEXT: arrow.string(),
    Kind.INTEGER: arrow.int64(),
    Kind.NUMBER: arrow.float64(),
    Kind.MOMENT: arrow.timestamp("us", "UTC"),
}


def write(table: Table, rows: Iterable[list[Row]], path: Path) -> int:
    """Write rows that come piece by piece; return how many there were.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    schema, written = _schema(table), 0
    with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        for group in _groups(rows):
            columns = dict(zip(table.names, map(list, zip(*group, strict=True)), strict=True))
            writer.write_table(arrow.Table.from_pydict(columns, schema))
            written += len(group)
    return written


def _groups(rows: Iterable[list[Row]]) -> Iterator[list[Row]]:
    group: list[Row] = []
    for piece in rows:
        group += piece
        if len(group) >= GROUP_ROWS:
            yield group
            group = []
    if group:
        yield group


def _schema(table: Table) -> arrow.Schema:
    fields = [
        arrow.field(column.name, _TYPES[column.kind], nullable=not column.needed, metadata=_said(column))
        for column in table.columns
    ]
    return arrow.schema(fields, metadata={"title": f"swapbell: {table.name}", "description": table.words})


def _said(column: Column) -> dict[str, str]:
    return {"description": column.words, **({"unit": column.unit} if column.unit else {})}
