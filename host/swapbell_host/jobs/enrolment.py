"""What a station needs to report for itself alone: its counter's configuration, and its leave at the broker.

The broker's files are mosquitto's: a line for its password file (`mosquitto_passwd`(1)) and lines for its access list
(`acl_file` in `mosquitto.conf`(5)).
"""

from base64 import b64encode
from dataclasses import dataclass
from hashlib import pbkdf2_hmac

import msgspec

from swapbell_host.config import BrokerSection
from swapbell_host.intake import Station as Key
from swapbell_models.message import Subject, topic

# mosquitto's own default for its format 7, PBKDF2 over SHA-512 (mosquitto_passwd(1)): few, so no password that a
# person made up belongs there. Ours is random.
ROUNDS = 101
# What mosquitto_passwd 2.0 writes: a salt of 12 bytes, a hash of 64.
SALT_BYTES = 12
HASH_BYTES = 64
# Our choice: 192 bits, beyond any guessing.
PASSWORD_BYTES = 24
WRITES = (Subject.TALLY, Subject.HEALTH, Subject.ANSWER)
READS = (Subject.RECEIPT, Subject.QUESTION)

KEY_FILE = "broker.password"
CA_FILE = "broker-ca.pem"
CONFIG_FILE = "device.toml"
STATION_FILE = "station.toml"
SPOOL_FILE = "spool.sqlite"


@dataclass(frozen=True, slots=True)
class Credentials:
    """A station's leave at the broker.

    Attributes
    ----------
    password_line, access_lines
        For mosquitto's password file, which holds no password but its hash; for its access list.
    """

    username: str
    password: str
    password_line: str
    access_lines: tuple[str, ...]


def credentials(station: Key, password: str, salt: bytes) -> Credentials:
    """Return the credentials with which a station may write its own topics and read what is said to it, nothing else.

    Parameters
    ----------
    station : (site, station)
        Whose.
    password : str
        Random, of `PASSWORD_BYTES`.
    salt : bytes
        Random, `SALT_BYTES` long.
    """
    name = username(station)
    return Credentials(name, password, password_line(name, password, salt), access(station))


def password_line(name: str, password: str, salt: bytes) -> str:
    """Return somebody's line in mosquitto's password file."""
    digest = pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS, HASH_BYTES)
    return f"{name}:$7${ROUNDS}${b64encode(salt).decode()}${b64encode(digest).decode()}"


def username(station: Key) -> str:
    """Return a station's name at the broker: no site's or station's name holds a dot."""
    return ".".join(station)


def access(station: Key) -> tuple[str, ...]:
    """Return a station's lines in mosquitto's access list."""
    return (
        f"user {username(station)}",
        *(f"topic write {topic(*station, subject)}" for subject in WRITES),
        *(f"topic read {topic(*station, subject)}" for subject in READS),
    )


def device_config(station: Key, broker: BrokerSection, clip: str | None = None) -> str:
    """Return the counter's configuration, whose files lie beside it.

    Parameters
    ----------
    station : (site, station)
        Whose.
    broker : BrokerSection
        The broker as the station reaches it.
    clip : str, optional
        A clip that it counts; without one, the camera on its board.
    """
    site, name = station
    lines = [
        f"site = {_toml(site)}",
        f"station = {_toml(name)}",
        f"station_file = {_toml(STATION_FILE)}  # where the gate lies: calibration writes it",
        "",
        "[camera]",
        *(['kind = "board"  # or "usb"'] if clip is None else ['kind = "clip"', f"path = {_toml(clip)}"]),
        "",
        "[broker]",
        f"host = {_toml(broker.host)}",
        f"port = {broker.port}",
        f"username = {_toml(username(station))}",
        f"password_file = {_toml(KEY_FILE)}",
        *([f"ca_file = {_toml(CA_FILE)}"] if broker.ca_file else []),
        "",
        "[spool]",
        f"path = {_toml(SPOOL_FILE)}",
    ]
    return "\n".join(lines) + "\n"


def _toml(text: str) -> str:
    """Return a text as TOML quotes it: as JSON does, which leaves only DEL to be escaped (TOML 1.0, String)."""
    return msgspec.json.encode(text).decode().replace("\x7f", "\\u007f")
