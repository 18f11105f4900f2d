"""What `calibrate --serve` does: shows what the camera sees to one browser until the station file is written."""

import os
import secrets
from collections.abc import Callable, Generator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from getpass import getuser
from socket import gethostname
from threading import Event

from swapbell_device.calibrating import command
from swapbell_device.calibrating.door import Keys
from swapbell_device.calibrating.picture import read_picture
from swapbell_device.calibrating.preview import Address, serving
from swapbell_device.calibrating.sitting import Sitting
from swapbell_device.calibrating.watching import Take, watching
from swapbell_device.cameras.live import Live, boot_clock
from swapbell_device.eye import source
from swapbell_models.fault import Breakdown, Mistake

TOKEN_BYTES = 16
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Offer:
    """How the preview is offered.

    Attributes
    ----------
    at
        Where it listens.
    minutes
        For how long [min].
    """

    at: Address
    minutes: float


def new_keys() -> Keys:
    """Return words that nobody can guess."""
    return Keys(*(secrets.token_urlsafe(TOKEN_BYTES) for _ in range(3)))


def serve_calibration(wish: command.Wish, offer: Offer, keys: Keys, say: Say) -> list[str]:
    """Serve the preview, and return what is to be said once the station file has been written.

    Raises
    ------
    Mistake
        If the wish contradicts itself, its picture cannot be read, or nobody can listen there.
    Breakdown
        If the time is over and nothing was written.
    """
    _check(wish)
    over = Event()
    with _taking(wish) as take:
        sitting = Sitting(wish, take)
        with serving(offer.at, sitting, keys, over) as port:
            for line in _hints((offer.at[0], port), offer.minutes, keys.token):
                say(line)
            over.wait(60.0 * offer.minutes)
    if not sitting.written:
        raise Breakdown(f"calibrate: {offer.minutes:g} minutes are over and nothing was written; see --minutes")
    return sitting.written


def _check(wish: command.Wish) -> None:
    command.check(wish)
    if wish.length is not None or wish.rectangle is not None:
        raise Mistake(
            "calibrate: with --serve points are clicked; leave out --length, --rectangle, --gate and --inside"
        )


@contextmanager
def _taking(wish: command.Wish) -> Generator[Take]:
    """Yield what returns the picture of now: the camera's, or always the one that was given."""
    if wish.picture is not None:
        picture = read_picture(wish.picture)
        yield lambda: picture
        return
    assert wish.config is not None
    stop = Event()
    with watching(Live(source(command.live_camera(wish.config)), stop, boot_clock), stop) as take:
        yield take


def _hints(at: Address, minutes: float, token: str) -> Generator[str]:
    host, port = at
    name = gethostname() if host.is_unspecified else f"[{host}]" if ":" in str(host) else str(host)
    yield f"open in a browser: http://{name}:{port}/enter/{token}"
    if host.is_loopback:
        yield f"from another computer, first: ssh -L {port}:{name}:{port} {getuser()}@{_reached(os.environ)}"
    else:
        yield "unencrypted: whoever listens in on this network can see it too; without --listen, go by ssh -L instead"
    yield f"good for one browser; ends after {minutes:g} minutes, when the station file is written, or by Ctrl-C"


def _reached(environment: Mapping[str, str]) -> str:
    """Return how this board is reached: by what somebody has called it who came by ssh(1), or by its own name."""
    came = environment.get("SSH_CONNECTION", "").split()
    return came[2] if len(came) == 4 else gethostname()  # noqa: PLR2004  (theirs, its port, ours, its port)
