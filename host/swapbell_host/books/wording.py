"""Functions for which the two databases have no word in common."""

from typing import ClassVar

from sqlalchemy import BigInteger, FunctionElement
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler


class _Word(FunctionElement[int]):
    """A function as each database says it."""

    type = BigInteger()
    sqlite: ClassVar[str]
    postgresql: ClassVar[str]


class Whole(_Word):
    """A positive number without what is behind its point."""

    inherit_cache = True
    sqlite = "CAST({} AS INTEGER)"
    postgresql = "CAST(floor({}) AS BIGINT)"


class Least(_Word):
    """The smallest of some numbers."""

    inherit_cache = True
    sqlite = "min({})"
    postgresql = "least({})"


class Greatest(_Word):
    """The largest of some numbers."""

    inherit_cache = True
    sqlite = "max({})"
    postgresql = "greatest({})"


class Aside(_Word):
    """A column by which SQLite is not to look rows up, though it has an index (sqlite.org/optoverview.html)."""

    inherit_cache = True
    sqlite = "+{}"
    postgresql = "{}"


@compiles(_Word)
def _say(word: _Word, compiler: SQLCompiler, **how: object) -> str:
    said: str = getattr(word, compiler.dialect.name)
    return said.format(compiler.process(word.clauses, **how))
