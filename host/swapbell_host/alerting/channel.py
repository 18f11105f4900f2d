"""The ways out of the host: e-mail, push, webhooks and the rest, each by an apprise URL.

Such a URL holds passwords and tokens, so nothing of it but its scheme is ever shown.
"""

from collections.abc import Mapping
from datetime import timedelta
from typing import Protocol

from swapbell_host.alerting.people import scheme
from swapbell_host.config import AlertsSection
from swapbell_host.jobs.moment import span
from swapbell_host.jobs.quiet import quiet
from swapbell_models.fault import Mistake

# Our choice: a sign of life that comes less than once a day is missed by nobody.
EVERY_MAX = timedelta(days=1)


class Channel(Protocol):
    """One way to reach a person."""

    def send(self, title: str, body: str) -> bool:
        """Deliver the text, which may take many seconds, and tell whether it was taken."""
        ...


class Sender(Protocol):
    """What is used of apprise, whose own annotations are incomplete."""

    def add(self, services: str) -> bool:
        """Take an address; False if it cannot be sent to."""
        ...

    def notify(self, body: str, title: str, *, body_format: str | None) -> object:
        """Send to every address; true if all took it."""
        ...


class UrlChannel:
    """A way by apprise, made by `channel`."""

    def __init__(self, sender: Sender) -> None:
        self._sender = sender

    def send(self, title: str, body: str) -> bool:
        """Deliver the text as it is, and tell whether it was taken."""
        from apprise import NotifyFormat

        return bool(self._sender.notify(body=body, title=title, body_format=NotifyFormat.TEXT))


def channel(url: str) -> UrlChannel:
    """Return the way to a URL.

    Raises
    ------
    ValueError
        If apprise cannot send to it.
    """
    from apprise import Apprise

    return _made(Apprise(), url)


def check_section(section: AlertsSection) -> None:
    """Refuse addresses of the configuration that cannot be sent to, and times that are none.

    Raises
    ------
    Mistake
        In one line, without secrets.
    """
    for number, url in enumerate(section.urls, start=1):
        _check(f"alerts.urls: channel {number}", url)
    for name, url in section.channels.items():
        _check(f"alerts.channels: {name}", url)
    try:
        if section.quiet is not None:
            quiet(section.quiet)
        if section.heartbeat is not None:
            span("every", section.heartbeat.every, EVERY_MAX)
    except ValueError as error:
        raise Mistake(f"alerts: {error}") from error


def check_contact(name: str, address: str, channels: Mapping[str, str]) -> None:
    """Refuse a contact's address that is neither a channel of the configuration nor one that can be sent to.

    Raises
    ------
    Mistake
        In one line, without secrets.
    """
    if "://" not in address and address not in channels:
        named = ", ".join(channels) or "none"
        raise Mistake(f"contact {name}: the address is neither a URL nor a channel of [alerts.channels] ({named})")
    _check(f"contact {name}: the address", channels.get(address, address))


def _check(what: str, url: str) -> None:
    try:
        channel(url)
    except ValueError as error:
        raise Mistake(f"{what} {error}") from error


def _made(sender: Sender, url: str) -> UrlChannel:
    if not sender.add(url):
        raise ValueError(f"({scheme(url)}) is not an address that can be sent to; see apprise's list of services")
    return UrlChannel(sender)
