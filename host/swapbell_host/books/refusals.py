"""What was refused, kept with the reason; the same payload sent again stays one row."""

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256

from sqlalchemy import Connection, String, bindparam, func, insert, select

from swapbell_host.books.prepared import Prepared
from swapbell_host.books.schema import rejected
from swapbell_host.intake import Rejection

_CLAIMED = Prepared(
    select(rejected.c.seq).where(
        *(rejected.c[name] == bindparam(name, type_=String) for name in ("site", "station", "boot")),
        rejected.c.seq.is_not(None),
    )
)


def put(connection: Connection, rejections: Sequence[Rejection], received_at: datetime) -> None:
    """Keep what was refused, unless the same payload on the same topic was kept before."""
    if not rejections:
        return
    rows = {digest(rejection): rejection for rejection in rejections}
    known = connection.execute(select(rejected.c.digest).where(rejected.c.digest.in_(rows))).scalars()
    for seen in known:
        del rows[seen]
    if rows:
        connection.execute(insert(rejected), [_row(mark, rejection, received_at) for mark, rejection in rows.items()])


def digest(rejection: Rejection) -> bytes:
    """Return what tells one refused message from another: SHA-256 over topic and payload (FIPS 180-4)."""
    return sha256(rejection.arrival.topic.encode() + b"\0" + rejection.arrival.payload).digest()


def claimed(connection: Connection, site: str, station: str, boot: str) -> list[int]:
    """Return the seqs of a boot that were refused and kept whole."""
    return [seq for (seq,) in _CLAIMED.run(connection, site=site, station=station, boot=boot)]


def counts(connection: Connection) -> dict[tuple[str | None, str | None], int]:
    """Return how many refused messages are kept of each (site, station); of nobody known under (None, None)."""
    of_station = (rejected.c.site, rejected.c.station)
    rows = connection.execute(select(*of_station, func.count()).group_by(*of_station)).all()
    return {(site, station): count for site, station, count in rows}


def newest(connection: Connection) -> dict[tuple[str | None, str | None], str]:
    """Return why the last refused message of each (site, station) was refused."""
    last = select(func.max(rejected.c.id)).group_by(rejected.c.site, rejected.c.station)
    rows = connection.execute(select(rejected).where(rejected.c.id.in_(last))).all()
    return {(row.site, row.station): row.reason for row in rows}


def _row(mark: bytes, rejection: Rejection, received_at: datetime) -> dict[str, object]:
    site, station = rejection.station or (None, None)
    claim = rejection.claim
    return {
        "received_at": received_at,
        "topic": rejection.arrival.topic.replace("\0", "\ufffd"),  # which PostgreSQL takes in no text
        "payload": rejection.kept,
        "payload_bytes": len(rejection.arrival.payload),
        "reason": rejection.reason,
        "digest": mark,
        "site": site,
        "station": station,
        "boot": claim.boot if claim else None,
        "seq": claim.seq if claim else None,
    }
