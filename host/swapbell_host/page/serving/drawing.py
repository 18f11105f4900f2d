"""Templates filled with values, and the words for moments in them."""

from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from swapbell_host.jobs.moment import localized
from swapbell_models.notice import lapse

TEMPLATES = Path(__file__).parents[1] / "templates"
UNKNOWN = "not known"
_TIME = Markup('<time datetime="%s">%s</time>')


def when(at: datetime | None, zone: str | tzinfo = UTC) -> Markup | str:
    """Return a moment as it is read in a time zone, with the zone's abbreviation on that day."""
    if at is None:
        return UNKNOWN
    there = at.astimezone(ZoneInfo(zone) if isinstance(zone, str) else zone)
    return _time(at, f"{there:%a} {there.day} {there:%b} {there.year}, {there:%H:%M} {there.tzname()}")


def ago(at: datetime | None, now: datetime) -> Markup | str:
    """Return how long ago a moment was, or how far ahead it is."""
    if at is None:
        return UNKNOWN
    return _time(at, f"in {lapse(at - now)}" if at > now else f"{lapse(now - at)} ago")


def told(words: str, zone: str | tzinfo) -> str:
    """Return words of the host, which say their moments in UTC, by the clock of a site."""
    return localized(words, ZoneInfo(zone) if isinstance(zone, str) else zone)


@pass_context
def age(context: Context, at: datetime | None) -> Markup | str:
    """Return how long ago a moment was when the page was made."""
    return ago(at, context["now"])


def _time(at: datetime, words: str) -> Markup:
    return _TIME % (f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}", words)


class Drawing:
    """The templates of the page."""

    def __init__(self) -> None:
        self._templates = Environment(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            undefined=StrictUndefined,
            auto_reload=False,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        ours: dict[str, Any] = {"when": when, "age": age, "told": told}  # Jinja2 has no type for a filter
        self._templates.filters.update(ours)

    def fill(self, template: str, values: Mapping[str, object]) -> str:
        """Return a template filled with values; every text among them is shown as it is, never as markup."""
        return self._templates.get_template(template).render(values)
