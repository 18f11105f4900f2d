"""The broker's files as mosquitto reads them (`mosquitto.conf`(5)), laid out as Debian's package expects them.

Debian's own configuration keeps messages on disk, names the log and includes what lies in conf.d; the rest is here.
"""

from collections.abc import Iterable

from swapbell_host.intake import Station as Key
from swapbell_host.jobs import enrolment
from swapbell_models.message import PAYLOAD_MAX_BYTES, ROOT, Subject

# IANA's registered port for MQTT over TLS.
PORT = 8883
HOME = "/etc/mosquitto/swapbell"
CONF = "/etc/mosquitto/conf.d/swapbell.conf"
# Our choice: more than any topic of ours and its header take.
TOPIC_MAX_BYTES = 1024
# Names at the broker: no station's is like them, for each of those holds a dot.
HOST, VIEWER, AUDITOR = "host", "home", "auditor"
PUBLIC = ("broker.pem", enrolment.CA_FILE)
PRIVATE = ("broker.key", "passwords", "access")


def configuration() -> str:
    """Return the configuration: encrypted, nobody without a name, and limits that fit a morning without a network.

    Each client goes by its user's name, so that none can push the host out by taking the host's.
    """
    return f"""\
listener {PORT}
certfile {HOME}/broker.pem
keyfile {HOME}/broker.key
tls_version tlsv1.2

allow_anonymous false
password_file {HOME}/passwords
acl_file {HOME}/access
use_username_as_clientid true

autosave_interval 60
max_queued_messages 100000
max_inflight_messages 100
max_packet_size {PAYLOAD_MAX_BYTES + TOPIC_MAX_BYTES}
"""


def access(stations: Iterable[Key], prefix: str | None) -> str:
    """Return the access list: the host all that is ours, each station its own topics, who audits what is asked for.

    Parameters
    ----------
    stations : iterable of (site, station)
        All of the plan.
    prefix : str or None
        Where home automation listens, if it is told of the stations; then it gets a name that reads.
    """
    blocks = [
        [f"user {HOST}", f"topic readwrite {ROOT}/#"],
        [
            f"user {AUDITOR}",
            f"topic write {ROOT}/+/+/{Subject.QUESTION.value}",
            *(f"topic read {ROOT}/+/+/{subject.value}" for subject in (Subject.ANSWER, Subject.HEALTH)),
        ],
        *(list(enrolment.access(key)) for key in stations),
    ]
    if prefix is not None:
        shown = (Subject.STANDING, Subject.HEALTH, Subject.NOTICE)
        blocks[0].append(f"topic write {prefix}/device/#")
        blocks.append(
            [
                f"user {VIEWER}",
                *(f"topic read {ROOT}/+/+/{subject.value}" for subject in shown),
                f"topic readwrite {prefix}/#",
            ]
        )
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def installer() -> str:
    """Return the script that puts the files in place; with DESTDIR set, below there, and nothing is restarted.

    What a renewal changes, mosquitto reads anew and parts from nobody; its configuration it reads as it starts.
    """
    return f"""\
#!/bin/sh
# Puts the broker's files in place on Debian. On the broker, with mosquitto installed: sudo sh install.sh
set -eu
here=$(dirname "$0")
to=${{DESTDIR:-}}
install -d -m 755 "$to{HOME}" "$to{CONF.rpartition("/")[0]}"
for file in {" ".join(PUBLIC)}; do
    install -m 644 "$here/$file" "$to{HOME}/$file"
done
for file in {" ".join(PRIVATE)}; do
    install -o root -g mosquitto -m 640 "$here/$file" "$to{HOME}/$file"
done
how=reload-or-restart
cmp -s "$here/broker.conf" "$to{CONF}" || how=restart
install -m 644 "$here/broker.conf" "$to{CONF}"
if [ -z "$to" ]; then
    systemctl enable mosquitto
    systemctl "$how" mosquitto
fi
"""
