"""Functions for which the two databases have no word in common."""

from sqlalchemy import BigInteger, FunctionElement
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler


class Whole(FunctionElement[int]):
    """A positive number without what is behind its point."""

    inherit_cache = True
    type = BigInteger()


class Least(FunctionElement[int]):
    """The smallest of some numbers."""

    inherit_cache = True
    type = BigInteger()


class Greatest(FunctionElement[int]):
    """The largest of some numbers."""

    inherit_cache = True
    type = BigInteger()


@compiles(Whole, "postgresql")
def _floor(element: Whole, compiler: SQLCompiler, **how: object) -> str:
    return f"CAST(floor({compiler.process(element.clauses, **how)}) AS BIGINT)"


@compiles(Whole, "sqlite")
def _cut(element: Whole, compiler: SQLCompiler, **how: object) -> str:
    return f"CAST({compiler.process(element.clauses, **how)} AS INTEGER)"


@compiles(Least, "postgresql")
def _least(element: Least, compiler: SQLCompiler, **how: object) -> str:
    return f"least({compiler.process(element.clauses, **how)})"


@compiles(Least, "sqlite")
def _min(element: Least, compiler: SQLCompiler, **how: object) -> str:
    return f"min({compiler.process(element.clauses, **how)})"


@compiles(Greatest, "postgresql")
def _greatest(element: Greatest, compiler: SQLCompiler, **how: object) -> str:
    return f"greatest({compiler.process(element.clauses, **how)})"


@compiles(Greatest, "sqlite")
def _max(element: Greatest, compiler: SQLCompiler, **how: object) -> str:
    return f"max({compiler.process(element.clauses, **how)})"
