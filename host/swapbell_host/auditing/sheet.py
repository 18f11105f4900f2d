"""The sheet that a person fills in: one row for each film and strip, the answers empty. An empty cell is no zero.

It does not show what the counter reported, so that the recount owes nothing to it.
"""

import csv
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from swapbell_host.auditing.folder import Fetched
from swapbell_models.evidence import MINUTE_S, Label
from swapbell_models.fault import Breakdown, Mistake

COLUMNS = ("item", "question", "answer", "moments_s")
VISITS = "how many wasp-sized insects pass in; and in moments_s, if you like, when, such as 3.5 41"
YES, NO = ("yes", "y"), ("no", "n")


@dataclass(frozen=True, slots=True)
class Recounted:
    """What a person saw, by the item's name; what nobody answered is not there.

    Attributes
    ----------
    visits
        In each film.
    moments_s
        When, from the first frame [s], of those films where that was noted.
    passed
        Whether a strip shows what its name says.
    """

    visits: Mapping[str, int]
    moments_s: Mapping[str, tuple[float, ...]]
    passed: Mapping[str, bool]


def write_sheet(path: Path, fetched: Fetched) -> int:
    """Write a sheet with empty answers and return how many rows it has; one that is there is never overwritten.

    Raises
    ------
    Mistake
        If it is there already, or there is nothing to ask about.
    Breakdown
        If it cannot be written.
    """
    rows = [*_rows(fetched)]
    if path.exists():
        raise Mistake(f"sheet {path}: it is there already, and may hold somebody's work; choose another name")
    if not rows:
        raise Mistake(f"sheet {path}: the folder holds neither film nor strip; fetch evidence first")
    part = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([COLUMNS, *rows])
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True) if part.parent.is_dir() else None
        raise Breakdown(f"sheet {path}: cannot be written ({error.strerror}); choose another place") from error
    return len(rows)


def read_sheet(path: Path, fetched: Fetched) -> Recounted:
    """Read a sheet that somebody filled in.

    Raises
    ------
    Mistake
        If it cannot be read, or a row of it is none; the line says which.
    """
    films, strips = {film.name for film in fetched.films}, {strip.name for strip in fetched.strips}
    visits, moments_s, passed = dict[str, int](), dict[str, tuple[float, ...]](), dict[str, bool]()
    for number, row in _read(path):
        name, answer, moments = (row.get(column, "").strip() for column in ("item", "answer", "moments_s"))
        where = f"sheet {path}, line {number}"
        if name not in films | strips:
            raise Mistake(f"{where}: {name or 'no item'} is not in the folder; write a sheet for it anew")
        if name in visits.keys() | passed.keys():
            raise Mistake(f"{where}: {name} was answered above; leave one of the two")
        if name in strips:
            if answer:
                passed[name] = _yes(where, answer)
            continue
        if moments:
            moments_s[name] = _moments(where, moments)
        if answer or moments:
            visits[name] = _visits(where, answer, moments_s.get(name))
    return Recounted(visits, moments_s, passed)


def _rows(fetched: Fetched) -> Iterator[Sequence[str]]:
    for film in fetched.films:
        if film.about.left_out is None:
            yield film.name, VISITS, "", ""
    for strip in fetched.strips:
        yield strip.name, _passing(strip), "", ""


def _passing(strip: Label) -> str:
    assert strip.passing is not None
    seen = strip.passing
    return f"does one {seen.size.value} insect pass {seen.direction.value} here, yes or no (inside is on the right)"


def _read(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, restval="")
            if not {"item", "answer"} <= set(reader.fieldnames or ()):
                raise Mistake(f"sheet {path}: its first line must name {', '.join(COLUMNS)}; write one with `sheet`")
            for row in reader:
                yield reader.line_num, row
    except OSError as error:
        raise Mistake(f"sheet {path}: {error.strerror}; write one with `swapbell-host evidence sheet`") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise Mistake(f"sheet {path}: it is no CSV in UTF-8 ({error}); save it as that") from error


def _yes(where: str, answer: str) -> bool:
    if answer.casefold() not in YES + NO:
        raise Mistake(f"{where}: answer must be yes, no or empty, not {answer!r}")
    return answer.casefold() in YES


def _visits(where: str, answer: str, moments_s: Sequence[float] | None) -> int:
    if not answer and moments_s is not None:
        return len(moments_s)
    if not (answer.isascii() and answer.isdigit()):
        raise Mistake(f"{where}: answer must be a number of visits, such as 3 or 0, or empty, not {answer!r}")
    if moments_s is not None and len(moments_s) != int(answer):
        raise Mistake(f"{where}: the answer is {answer}, but {len(moments_s)} moments are noted; make them agree")
    return int(answer)


def _moments(where: str, text: str) -> tuple[float, ...]:
    try:
        moments_s = sorted(float(word) for word in text.replace(";", " ").split())
    except ValueError:
        moments_s = [-1.0]
    if not all(0.0 <= at_s <= MINUTE_S for at_s in moments_s):
        wanted = f"seconds from 0 to {MINUTE_S:g} with spaces between, such as 3.5 41"
        raise Mistake(f"{where}: moments_s must be {wanted}, not {text!r}")
    return tuple(moments_s)
