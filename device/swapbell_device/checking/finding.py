"""What a check found."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum


class Grade(Enum):
    """How good a finding is: as it should be, worth a look, or nothing to count with."""

    FIT = "pass"
    LOOK = "look"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's result.

    Attributes
    ----------
    about
        What was looked at, in a word.
    words
        What was found, and what to do where it is not as it should be.
    """

    about: str
    grade: Grade
    words: str


def graded(about: str, value: float, look: float, fail: float, words: str, advice: str) -> Finding:
    """Return the finding of a value that is good up to `look` and nothing to count with from `fail` on."""
    grade = Grade.FIT if value <= look else Grade.LOOK if value < fail else Grade.FAIL
    return Finding(about, grade, words if grade is Grade.FIT else f"{words}; {advice}")


def amiss(findings: Iterable[Finding]) -> list[str]:
    """Return what is not as it should be, a line each."""
    return [
        f"{found.grade.value}: {found.about}: {found.words}" for found in findings if found.grade is not Grade.FIT
    ]


def table(findings: Iterable[Finding]) -> list[str]:
    """Return the findings as lines, a column for each part."""
    return [f"{found.grade.value}  {found.about:<12} {found.words}" for found in findings]
