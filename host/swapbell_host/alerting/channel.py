"""The ways out of the host: e-mail, push, webhooks and the rest, each by an apprise URL.

Such a URL holds passwords and tokens, so nothing of it but its scheme is ever shown.
"""

import re
from collections.abc import Sequence
from typing import Protocol

from swapbell_models.fault import Mistake

_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]{0,30})://")


class Channel(Protocol):
    """One way to reach a person."""

    @property
    def name(self) -> str:
        """What to call it in a line of text, without secrets."""
        ...

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
    """A way by apprise URL.

    Attributes
    ----------
    name
        Its number among the channels, and its scheme.
    """

    def __init__(self, name: str, sender: Sender) -> None:
        self.name = name
        self._sender = sender

    def send(self, title: str, body: str) -> bool:
        """Deliver the text as it is, and tell whether it was taken."""
        from apprise import NotifyFormat

        return bool(self._sender.notify(body=body, title=title, body_format=NotifyFormat.TEXT))


def channels(urls: Sequence[str]) -> list[UrlChannel]:
    """Return a channel for each URL.

    Raises
    ------
    Mistake
        If one of them is no URL that apprise can send to.
    """
    if not urls:
        return []
    from apprise import Apprise

    return [_channel(Apprise(), number, url) for number, url in enumerate(urls, start=1)]


def _channel(sender: Sender, number: int, url: str) -> UrlChannel:
    scheme = _SCHEME.match(url)
    name = f"channel {number} ({scheme[1] if scheme else 'no scheme'})"
    if not sender.add(url):
        raise Mistake(f"alerts.urls: {name} is not an address that can be sent to; see apprise's list of services")
    return UrlChannel(name, sender)
