"""Where the page listens, what it is called there, and who can reach it."""

import os
import socket
from contextlib import suppress
from dataclasses import dataclass, replace
from fcntl import ioctl
from ipaddress import ip_address
from typing import TYPE_CHECKING, Literal

from swapbell_models.fault import Mistake

if TYPE_CHECKING:
    from swapbell_host.config import PageSection

# Our choice: as many as may wait to be let in while the page is busy with others.
WAITING_MAX = 128
# Linux, netdevice(7) and <linux/sockios.h>: asks for the IPv4 address of a line; it is bytes 20 to 23 of the answer.
SIOCGIFADDR, IFREQ_BYTES, IFREQ_ADDRESS = 0x8915, 40, slice(20, 24)


@dataclass(frozen=True, slots=True)
class Listening:
    """Where the page listens.

    Attributes
    ----------
    address
        What people type where something stands in front of the host.
    encrypts
        Whether the host encrypts by itself.
    """

    host: str
    port: int
    address: str | None = None
    encrypts: bool = False

    @property
    def secure(self) -> bool:
        """Whether what people type begins with https."""
        return self.encrypts or (self.address or "").startswith("https:")

    @property
    def private(self) -> bool:
        """Whether nobody but whoever sits at this machine can come here."""
        return self.address is None and is_loopback(self.host)

    @property
    def url(self) -> str:
        """What people type."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return self.address or f"http{'s' * self.encrypts}://{host}:{self.port}"

    @property
    def urls(self) -> list[str]:
        """All that people can type; where it listens at every address of the machine, those."""
        everywhere = self.address is None and _means(self.host, "is_unspecified")
        return [replace(self, host=name).url for name in own_names()] if everywhere else [self.url]

    def knows(self, host: str) -> bool:
        """Tell whether a request names this machine; where no login stands guard, no other name may lead here."""
        return not self.private or is_loopback(_name(host))

    def sent_from(self, origin: str, host: str) -> bool:
        """Tell whether a form that a browser says came from `origin` came from this page, asked for at `host`."""
        return origin in {self.address, f"http{'s' * self.encrypts}://{host}"}

    def bind(self) -> socket.socket:
        """Take the port.

        Raises
        ------
        Mistake
            If that cannot be.
        """
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        try:
            return socket.create_server(
                (self.host, self.port), family=family, backlog=WAITING_MAX, dualstack_ipv6=self.host == "::"
            )
        except (OSError, UnicodeError, OverflowError) as error:
            raise Mistake(
                f"page: cannot listen at {self.host} port {self.port}: {_why(error)}; end what uses it, or choose "
                "another under [page] listen"
            ) from error


def listening(section: "PageSection") -> Listening:
    """Return where a configuration lets the page listen."""
    host, _, port = section.listen.rpartition(":")
    return Listening(host.strip("[]"), int(port), section.address, section.certificate_file is not None)


def own_names() -> list[str]:
    """Return the machine's name, and its addresses beyond itself, one for each line to a network."""
    found = [name] if not is_loopback(name := socket.gethostname()) else []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        for _, line in socket.if_nameindex():
            with suppress(OSError):  # it has no address
                known = ioctl(asked, SIOCGIFADDR, line.encode().ljust(IFREQ_BYTES, b"\0"))
                found.append(socket.inet_ntoa(known[IFREQ_ADDRESS]))
    return [each for each in found if not is_loopback(each)]


def is_loopback(host: str) -> bool:
    """Tell whether a name or an address means this machine alone."""
    return host.lower() == "localhost" or _means(host, "is_loopback")


def _means(host: str, what: Literal["is_loopback", "is_unspecified"]) -> bool:
    """Tell whether an address means this machine alone, or every address of it; a name means neither."""
    try:
        return bool(getattr(ip_address(host), what))
    except ValueError:
        return False


def _name(host: str) -> str:
    """Return the name of a Host header without its port."""
    name, colon, port = host.rpartition(":")
    return (name if colon and port.isdigit() else host).strip("[]")


def _why(error: Exception) -> str:
    """Return what the system says, without the address that Python adds; a name that is not found has no number."""
    number = error.errno if isinstance(error, OSError) else None
    return os.strerror(number) if number is not None and number > 0 else str(error)
