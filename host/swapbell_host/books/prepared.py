"""Statements that are put into the database's words once: for a small one that is more work than the database's."""

from functools import cache
from typing import Any

from sqlalchemy import Connection, CursorResult, Dialect, Executable
from sqlalchemy.sql.compiler import SQLCompiler


class Prepared:
    """A statement that is run again and again with other values.

    Parameters
    ----------
    statement : Executable
        With a `bindparam` for each value. Values are the database's own: moments are microseconds.
    """

    def __init__(self, statement: Executable) -> None:
        self._statement = statement

    def run(self, connection: Connection, **values: int | str | None) -> CursorResult[*tuple[Any, ...]]:
        """Run it with these values."""
        compiled = _compiled(self._statement, connection.dialect)
        named = compiled.construct_params(values)
        if not compiled.positional:
            return connection.exec_driver_sql(compiled.string, named)
        return connection.exec_driver_sql(compiled.string, tuple(named[name] for name in compiled.positiontup or ()))


@cache
def _compiled(statement: Executable, dialect: Dialect) -> SQLCompiler:
    compiled = statement.compile(dialect=dialect)  # type: ignore[attr-defined]
    assert isinstance(compiled, SQLCompiler)
    return compiled
