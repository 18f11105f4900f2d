"""Whether the station's tallies have somewhere to wait and somewhere to go."""

import os
from collections.abc import Iterator
from contextlib import closing
from socket import getaddrinfo

from swapbell_device.checking.finding import Finding, Grade
from swapbell_device.checking.limit import Limits, within
from swapbell_device.config import BrokerSection, Config
from swapbell_device.linking.linksession import Door, Session
from swapbell_models.fault import Mistake

STEP_S = 0.2
NO_NAMES = "look at the network and its name server, or write the broker's address in numbers"
SILENT = "look at the network, and whether a broker runs at that port, with TLS or without as configured"


def reach_findings(config: Config, limits: Limits) -> Iterator[Finding]:
    """Yield whether the spool can be written and the broker lets the station in."""
    yield _spool(config)
    unnamed = within(limits.name_s, lambda: _name(config.broker), "broker", NO_NAMES)
    yield from unnamed or within(limits.broker_s, lambda: [_broker(config)], "broker", SILENT)


def _name(broker: BrokerSection) -> Iterator[Finding]:
    """Yield what is wrong with the broker's name, if anything."""
    try:
        getaddrinfo(broker.host, broker.port)
    except OSError as error:
        why = f"{broker.host} has no address ({error.strerror}); {NO_NAMES}"
        yield Finding("broker", Grade.FAIL, why)


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
    while session.step(STEP_S):
        if session.accepted:
            return Finding("broker", Grade.FIT, f"{where} lets the station in")
    if session.refusal is not None:
        return Finding("broker", Grade.FAIL, f"{where} refuses the station ({session.refusal}); look at its password")
    return Finding("broker", Grade.FAIL, f"{where} does not answer as a broker; look at its address and port")
