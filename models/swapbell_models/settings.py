"""Configuration files, strictly: TOML text in, a typed struct out, or one line that says what is wrong.

An unknown key is a mistake, answered with the nearest one that is known: a misspelling is never a silent default.
"""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from difflib import get_close_matches
from typing import Any, TypeVar, cast

import msgspec
from msgspec import inspect

from swapbell_models.fault import Mistake

Settings = TypeVar("Settings", bound=msgspec.Struct)


def parse(text: str, kind: type[Settings], what: str, dec_hook: Callable[[type, Any], Any] | None = None) -> Settings:
    """Read the text of a configuration file.

    Parameters
    ----------
    text : str
        TOML.
    kind : type
        The struct that it must fill.
    what : str
        What to call the file in a complaint.
    dec_hook : callable, optional
        msgspec's own: makes values of types that TOML does not know, such as paths.

    Raises
    ------
    Mistake
        If it is no TOML, has an unknown key, or a value that cannot be.
    """
    try:
        document = tomllib.loads(text)
    except ValueError as error:  # tomllib.TOMLDecodeError, and what Python says of endless numbers
        raise Mistake(f"{what}: not valid TOML: {error}") from error
    for key, nearest in _strangers(document, inspect.type_info(kind), ""):
        raise Mistake(f"{what}: unknown key {key}; did you mean {nearest}?")
    try:
        return msgspec.convert(document, kind, dec_hook=dec_hook)
    except msgspec.ValidationError as error:
        raise Mistake(f"{what}: {_plain(error)}") from error


def _strangers(value: object, kind: inspect.Type, where: str) -> Iterator[tuple[str, str]]:
    """Yield each unknown key with the nearest known one, both with the tables that they stand in."""
    if isinstance(kind, inspect.VarTupleType):
        for item in _items(value):
            yield from _strangers(item, kind.item_type, where)
    struct = _struct(value, kind)
    if struct is None:
        return
    fields = {field.encode_name: field.type for field in struct.fields}
    for key, inner in cast("Mapping[str, object]", value).items():
        if key in fields:
            yield from _strangers(inner, fields[key], f"{where}{key}.")
        elif key != struct.tag_field:
            yield f"{where}{key}", where + get_close_matches(key, sorted(fields), n=1, cutoff=0.0)[0]


def _items(value: object) -> list[object]:
    return cast("list[object]", value) if isinstance(value, list) else []


def _struct(value: object, kind: inspect.Type) -> inspect.StructType | None:
    """Return the struct that a table must be, picked by its tag where there are several."""
    if not isinstance(value, dict):
        return None
    table = cast("Mapping[str, object]", value)
    choices = kind.types if isinstance(kind, inspect.UnionType) else (kind,)
    structs = [each for each in choices if isinstance(each, inspect.StructType)]
    fitting = [each for each in structs if each.tag_field is None or table.get(each.tag_field) == each.tag]
    return fitting[0] if fitting else None


def _plain(error: Exception) -> str:
    """Say where in the file's own words: `$.broker.port` is `broker.port`."""
    return re.sub(r"`\$\.?([^`]*)`$", lambda where: f"`{where[1] or 'the file'}`", str(error))
