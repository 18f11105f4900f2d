"""How a client of the broker says who it is, and whom it trusts."""

import ssl
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt

from swapbell_host.config import BrokerSection
from swapbell_models.fault import Mistake


def sign_in(client: mqtt.Client, broker: BrokerSection) -> None:
    """Let a client sign in, and encrypt, as the configuration says.

    Raises
    ------
    Mistake
        If the password or the certificate cannot be read.
    """
    if broker.username is not None:
        client.username_pw_set(broker.username, _password(broker.password_file))
    if broker.ca_file is not None:
        _trust(client, broker.ca_file)


def _password(name: str | None) -> str | None:
    if name is None:
        return None
    try:
        return Path(name).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise Mistake(
            f"password file {name}: cannot be read ({error}); check [broker] in the configuration"
        ) from error


def _trust(client: mqtt.Client, ca_file: str) -> None:
    untyped: Any = client  # paho does not say what a context is
    try:
        untyped.tls_set_context(ssl.create_default_context(cafile=ca_file))
    except OSError as error:
        raise Mistake(
            f"certificate {ca_file}: cannot be read ({error}); check [broker] in the configuration"
        ) from error
