"""Orders to stop, heeded where nothing is half written: Ctrl-C, the end of a terminal, the end of a service."""

import signal
from collections.abc import Callable, Generator
from contextlib import ExitStack, contextmanager
from types import FrameType

ORDERS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Stopped(Exception):
    """Somebody ordered to stop.

    Attributes
    ----------
    exit_code
        What a POSIX shell reports of a command that a signal ended: 128 and its number.
    """

    def __init__(self, order: int) -> None:
        super().__init__(signal.Signals(order).name)
        self.exit_code = 128 + order


@contextmanager
def heeding() -> Generator[Callable[[], None]]:
    """Yield what is to be called between two pieces: it raises `Stopped` where an order came since.

    A second order is obeyed as the system does, at once: for whoever waits too long for a piece.
    """
    heard = list[int]()

    def hear(order: int, _: FrameType | None) -> None:
        heard.append(order)
        signal.signal(order, signal.SIG_DFL)

    def heed() -> None:
        if heard:
            raise Stopped(heard[0])

    with ExitStack() as afterwards:
        for order in ORDERS:
            afterwards.callback(signal.signal, order, signal.signal(order, hear))
        yield heed
