"""Whether the station's tallies have somewhere to wait and somewhere to go."""

import os
import time
from collections.abc import Iterator
from contextlib import closing

from swapbell_device.checking.finding import Finding, Grade
from swapbell_device.config import Config
from swapbell_device.linking.linksession import Door, Session
from swapbell_models.fault import Mistake

# Our choice: a broker at the other end of a mobile link answers within.
PATIENCE_S = 10.0
STEP_S = 0.2


def reach_findings(config: Config) -> Iterator[Finding]:
    """Yield whether the spool can be written and the broker lets the station in."""
    yield _spool(config)
    yield _broker(config)


def _spool(config: Config) -> Finding:
    path = config.spool.path
    if not os.access(path.parent, os.W_OK | os.X_OK):
        return Finding("spool", Grade.FAIL, f"{path.parent} may not be written to; give it to the counter's user")
    size = path.stat().st_size if path.is_file() else 0
    return Finding("spool", Grade.FIT, f"{size / 1e6:.1f} of {config.spool.keep_bytes / 1e6:.0f} MB at {path}")


def _broker(config: Config) -> Finding:
    broker = config.broker
    where = f"{broker.host}:{broker.port}"
    try:
        # Under a name of its own, so that a counter that runs is not pushed off.
        door = Door(broker, config.site, config.station, guest="check")
        with closing(Session(door)) as session:
            return _answer(session, where)
    except (Mistake, OSError) as error:
        why = error.strerror or str(error) if isinstance(error, OSError) else str(error)
        return Finding("broker", Grade.FAIL, f"{where} cannot be reached: {why}; look at the network and its address")


def _answer(session: Session, where: str) -> Finding:
    session.open()
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s and session.step(STEP_S):
        if session.accepted:
            return Finding("broker", Grade.FIT, f"{where} lets the station in")
    if session.refusal is not None:
        return Finding("broker", Grade.FAIL, f"{where} refuses the station ({session.refusal}); look at its password")
    return Finding("broker", Grade.FAIL, f"{where} does not answer as a broker; look at its address and port")
