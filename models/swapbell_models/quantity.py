"""A number, a day or a moment that someone gave: refused by name where it cannot be what it claims to be.

Each refusal is one line: which argument, what was given, what is allowed.
"""

import math
from datetime import date, datetime, timedelta

# Our choice: far above the rounding of a few multiplications, far below anything that can be measured.
FLOAT_SLACK = 1e-9


def positive(name: str, value: float, unit: str = "") -> float:
    """Return a finite number above zero, or refuse it.

    Raises
    ------
    ValueError
        If the value is zero, negative, infinite or not a number.
    """
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a number above {f'0 {unit}'.strip()}, not {value}")
    return value


def at_least(name: str, value: float, low: float, unit: str = "") -> float:
    """Return a finite number that is not below a bound, or refuse it.

    Raises
    ------
    ValueError
        If the value is below the bound, infinite or not a number.
    """
    if not low <= value < math.inf:
        raise ValueError(f"{name} must be a number from {f'{low:g} {unit}'.strip()} up, not {value}")
    return value


def at_most(name: str, value: float, high: float, unit: str = "") -> float:
    """Return a finite number that is not above a bound, or refuse it.

    Raises
    ------
    ValueError
        If the value is above the bound, infinite or not a number.
    """
    if not -math.inf < value <= high:
        raise ValueError(f"{name} must be a number up to {f'{high:g} {unit}'.strip()}, not {value}")
    return value


def within(name: str, value: float, low: float, high: float, unit: str) -> float:
    """Return a number between two bounds, both included, or refuse it.

    Raises
    ------
    ValueError
        If the value lies outside the bounds or is not a number.
    """
    if not low <= value <= high:
        raise ValueError(f"{name} must be from {low:g} to {high:g} {unit}, not {value}")
    return value


def between(name: str, value: float, low: float, high: float) -> float:
    """Return a plain number between two bounds, both left out, or refuse it.

    Raises
    ------
    ValueError
        If the value lies on or outside the bounds or is not a number.
    """
    if not low < value < high:
        raise ValueError(f"{name} must be above {low:g} and below {high:g}, not {value}")
    return value


def aware(name: str, at: datetime) -> datetime:
    """Return a moment that knows its offset from UTC, or refuse it.

    Raises
    ------
    ValueError
        If the moment is naive.
    """
    if at.utcoffset() is None:
        raise ValueError(
            f"{name} must say its offset from UTC, as in 2026-01-15T09:00:00+00:00, not {at.isoformat()}"
        )
    return at


def lasting(name: str, span: timedelta, longest: timedelta) -> timedelta:
    """Return a stretch of time above zero and not beyond the longest, or refuse it.

    Raises
    ------
    ValueError
        If the stretch is zero, negative or too long.
    """
    if not timedelta() < span <= longest:
        raise ValueError(f"{name} must be above 0 and at most {longest}, not {span}")
    return span


def day(name: str, on: date) -> date:
    """Return a calendar day, or refuse a moment given in its place.

    Raises
    ------
    ValueError
        If it is a moment: the day of a moment depends on the place.
    """
    if isinstance(on, datetime):
        raise ValueError(  # noqa: TRY004 - whatever is given and cannot be used is a ValueError here
            f"{name} must be a day at the place, as in 2026-01-15, not the moment {on.isoformat()}"
        )
    return on


def named(name: str, text: str) -> str:
    """Return a text that says something on one line, or refuse it.

    Raises
    ------
    ValueError
        If it is empty or blank, or holds a line break or another character that cannot be printed.
    """
    if not text.strip():
        raise ValueError(f"{name} must not be empty")
    if not text.isprintable():
        raise ValueError(f"{name} must be one line of plain text, not {text!r}")
    return text
