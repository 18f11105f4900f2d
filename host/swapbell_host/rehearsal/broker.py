"""A broker of one's own for a rehearsal: mosquitto where it is installed, else amqtt; a child process on loopback.

Never a broker for the field: it asks nobody for a password and ends with the rehearsal.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path

from swapbell_models.fault import Breakdown, Mistake

LOOPBACK = "127.0.0.1"
# Our choice: a cold start of amqtt on a small board takes a few seconds; ten times that is a fault.
START_LIMIT_S = 30.0
STOP_LIMIT_S = 5.0
# Debian puts mosquitto where a plain user's PATH does not look.
SEARCH_PATH = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])

MOSQUITTO = """\
listener {port} 127.0.0.1
allow_anonymous true
max_queued_messages 100000
max_inflight_messages 100
"""
AMQTT = """\
listeners:
  default:
    type: tcp
    bind: 127.0.0.1:{port}
plugins:
  amqtt.plugins.authentication.AnonymousAuthPlugin:
    allow_anonymous: true
"""


def free_port() -> int:
    """Return a loopback TCP port that nobody listens on right now."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def loopback_broker(folder: Path, port: int | None = None) -> Generator[int]:
    """Run a broker as a child process while the context lasts.

    Parameters
    ----------
    folder : Path
        Where its configuration and its log are written.
    port : int, optional
        TCP port on loopback; a free one by default.

    Yields
    ------
    int
        The port it listens on.

    Raises
    ------
    Mistake
        If the port is taken.
    Breakdown
        If the broker does not start; its log is named.
    """
    chosen = free_port() if port is None else _unused(port)
    log = folder / "broker.log"
    with log.open("wb") as out:
        broker = subprocess.Popen(_command(folder, chosen), stdout=out, stderr=out, start_new_session=True)  # noqa: S603 - our own words
    try:
        _wait_until_open(broker, chosen, log)
        yield chosen
    finally:
        _stop(broker)


def _unused(port: int) -> int:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, port))
        except OSError as error:
            raise Mistake(f"port {port}: {error.strerror}; name another, or none for a free one") from error
    return port


def _command(folder: Path, port: int) -> list[str]:
    mosquitto = shutil.which("mosquitto", path=SEARCH_PATH)
    settings = folder / ("mosquitto.conf" if mosquitto else "amqtt.yaml")
    settings.write_text((MOSQUITTO if mosquitto else AMQTT).format(port=port))
    if mosquitto:
        return [mosquitto, "-c", str(settings)]
    return [sys.executable, "-m", "amqtt.scripts.broker_script", "-c", str(settings)]


def _wait_until_open(broker: subprocess.Popen[bytes], port: int, log: Path) -> None:
    give_up_at = time.monotonic() + START_LIMIT_S
    while broker.poll() is None and time.monotonic() < give_up_at:
        with socket.socket() as probe:
            if probe.connect_ex((LOOPBACK, port)) == 0:
                return
        time.sleep(0.05)
    raise Breakdown(f"the broker did not start on port {port}; {log} says why")


def _stop(broker: subprocess.Popen[bytes]) -> None:
    broker.terminate()
    try:
        broker.wait(STOP_LIMIT_S)
    except subprocess.TimeoutExpired:
        broker.kill()
        broker.wait()
