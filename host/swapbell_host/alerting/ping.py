"""A URL of somebody else's that is asked at a steady pace: whoever watches there notices when the asking stops."""

from urllib.request import Request, urlopen

# Our choice: a server that has not answered by then is down.
TIMEOUT_S = 10.0


class Ping:
    """A way by HTTP on which nothing is said but that we are there."""

    def __init__(self, url: str) -> None:
        self._url = url

    def send(self, title: str, body: str) -> bool:  # noqa: ARG002 - that we ask says it all
        """Ask for the URL, which may take seconds; true if it was answered well, by RFC 9110."""
        request = Request(self._url, headers={"User-Agent": "swapbell"})  # noqa: S310 - http(s), by the configuration
        with urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310 - as above; what fails raises
            return bool(answer.status)
