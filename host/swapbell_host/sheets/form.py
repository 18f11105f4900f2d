"""In which form a sheet leaves: as pages to print, as a table for a program, as one object with a version."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from swapbell_models.fault import Mistake


class Paper(Enum):
    """The paper that a sheet is laid out for."""

    A4 = "A4"
    LETTER = "Letter"


class Form(Enum):
    """What a sheet is written as; the word is also the ending of its file."""

    PDF = "pdf"
    CSV = "csv"
    JSON = "json"


# IANA's media types; the parameters of text/csv: RFC 4180, chapter 3.
MEDIA_TYPES = {
    Form.PDF: "application/pdf",
    Form.CSV: "text/csv; charset=utf-8; header=present",
    Form.JSON: "application/json",
}
Draw = Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class Issued:
    """A finished sheet.

    Attributes
    ----------
    content
        All of it.
    media_type
        What it is, for a browser.
    name
        A file's name for it: letters, digits, - and _ alone, and its ending.
    """

    content: bytes
    media_type: str
    name: str


def issued(name: str, form: Form, draw: dict[Form, Draw]) -> Issued:
    """Return a sheet in one of its forms."""
    return Issued(draw[form](), MEDIA_TYPES[form], f"{name}.{form.value}")


def form_of(path: Path) -> Form:
    """Return the form that a file's ending asks for.

    Raises
    ------
    Mistake
        If it asks for none.
    """
    ending = path.suffix.lower().removeprefix(".")
    if ending not in {form.value for form in Form}:
        raise Mistake(f"--out {path}: its ending must be {', '.join(f'.{form.value}' for form in Form)}")
    return Form(ending)


def paper(word: str) -> Paper:
    """Return the paper of that name; capitals do not matter.

    Raises
    ------
    ValueError
        If there is none.
    """
    known = {each.value.lower(): each for each in Paper}
    if word.strip().lower() not in known:
        raise ValueError(f"paper must be {' or '.join(each.value for each in Paper)}, not {word[:40]!r}")
    return known[word.strip().lower()]


def put(content: bytes, path: Path) -> None:
    """Write a file, whole or not at all; one that is there is replaced.

    Raises
    ------
    Mistake
        If it cannot be written.
    """
    partial = path.with_name(f"{path.name}.part")
    try:
        partial.write_bytes(content)
        partial.replace(path)
    except OSError as error:
        raise Mistake(f"--out {path}: {error.strerror}; choose another place") from error
    finally:
        with suppress(OSError):
            partial.unlink()
