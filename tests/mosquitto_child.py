"""A real MQTT broker as a child process that tests may kill and start again.

It has the limits of a broker in the field. Its autosave is a minute away, so that a kill loses all that it held in
memory: whoever relies on the broker's memory is found out.
"""

import getpass
import random
import socket
import subprocess
import time
from pathlib import Path

import parts

CONFIGURATION = """\
listener {port} 127.0.0.1
allow_anonymous true
user {user}
persistence true
persistence_location {folder}/
autosave_interval 60
max_queued_messages 100000
max_inflight_messages 100
log_dest file {folder}/mosquitto.log
"""
# Our choice: a start takes some 20 ms on a desk machine; a loaded board gets two hundred times that.
START_PATIENCE_S = 5.0
# Below the kernel's ephemeral ports (32768-60999 by default, Linux ip-sysctl): a client that knocks while the broker
# is down can then never be given the broker's own port as its source and so keep it from coming back.
PORTS = range(20_000, 32_000)


def free_port() -> int:
    """Return a loopback port that nobody listens on."""
    for port in random.sample(PORTS, 100):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError("no free loopback port among a hundred")


class Broker:
    """A mosquitto child on a loopback port, with its memory in a folder of its own."""

    host = "127.0.0.1"

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.folder = folder
        self._configuration = folder / "mosquitto.conf"
        self._configuration.write_text(
            CONFIGURATION.format(port=self.port, user=getpass.getuser(), folder=folder), encoding="utf-8"
        )
        self.start()

    @property
    def pid(self) -> int:
        """Return the broker's process id."""
        return self._process.pid

    def start(self) -> None:
        """Start the broker and return when it accepts connections."""
        program = parts.mosquitto()
        assert program is not None
        # The kernel ends the child with us, even if we are killed before we can.
        self._process = subprocess.Popen(["setpriv", "--pdeathsig", "KILL", program, "-c", str(self._configuration)])
        self._wait()

    def kill(self) -> None:
        """End the broker as a power cut would (SIGKILL); harmless if it is down."""
        self._process.kill()
        self._process.wait()

    def stop(self) -> None:
        """End the broker in good order (SIGTERM): it saves what it holds."""
        self._process.terminate()
        self._process.wait()

    def restart(self) -> None:
        """Start the broker again on the same port with what it had saved; kill it first if it is up."""
        self.kill()
        self.start()

    def log(self) -> str:
        """Return what the broker logged."""
        return (self.folder / "mosquitto.log").read_text(encoding="utf-8")

    def _wait(self) -> None:
        deadline = time.monotonic() + START_PATIENCE_S
        while not self._accepts():
            assert self._process.poll() is None, f"mosquitto ended at once: {self.log()}"
            assert time.monotonic() < deadline, f"mosquitto does not accept on port {self.port}"
            time.sleep(0.01)

    def _accepts(self) -> bool:
        with socket.socket() as client:
            return client.connect_ex((self.host, self.port)) == 0
