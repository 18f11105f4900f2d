"""Who may sign in, and which browsers are signed in: kept in the ledger, so that a restart signs nobody out."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select, update

from swapbell_host.books.accounttables import accounts, sessions
from swapbell_host.books.planrows import one
from swapbell_host.books.store import Book
from swapbell_host.jobs.account import Account, Right


@dataclass(frozen=True, slots=True)
class Kept:
    """An account as the ledger keeps it: with the hash of its password, and since when it is so, aware UTC."""

    account: Account
    password: str
    changed_at: datetime


class Accountbook(Book):
    """The accounts and sessions of one ledger; each call reads or writes it at once."""

    def any(self) -> bool:
        """Tell whether anybody can sign in."""
        with self._store.reading() as connection:
            return connection.execute(select(accounts.c.name).limit(1)).first() is not None

    def all(self) -> dict[str, Kept]:
        """Return every account by name, in the order of the names."""
        with self._store.reading() as connection:
            return _read(connection)

    def named(self, name: str) -> Kept | None:
        """Return the account of that name; nothing if there is none."""
        return self.all().get(name)

    def put(self, account: Account, password: str, now: datetime) -> None:
        """Write an account down, in place of one of the same name, and sign out whoever used it.

        Parameters
        ----------
        password : str
            The hash.
        now : datetime
            Aware UTC.
        """
        row = {"name": account.name, "access": account.right.value, "password": password, "changed_at": now}
        with self._store.transaction() as connection:
            connection.execute(delete(sessions).where(sessions.c.account == account.name))
            if connection.execute(update(accounts).where(accounts.c.name == account.name).values(row)).rowcount == 0:
                connection.execute(insert(accounts).values(row))

    def drop(self, name: str) -> None:
        """Forget an account, and sign out whoever used it.

        Raises
        ------
        Mistake
            If there is none of that name.
        """
        with self._store.transaction() as connection:
            one(_read(connection), name, "login")
            connection.execute(delete(sessions).where(sessions.c.account == name))
            connection.execute(delete(accounts).where(accounts.c.name == name))

    def begin(self, digest: bytes, kept: Kept, now: datetime, until_at: datetime) -> None:
        """Sign a browser in, and forget those whose time is over.

        Parameters
        ----------
        digest : bytes
            What is kept of the browser's secret.
        kept : Kept
            The account as it was when its password was looked at; one that was changed since signs nobody in.
        now, until_at : datetime
            From when until when, aware UTC.
        """
        row = {"digest": digest, "account": kept.account.name, "began_at": now, "until_at": until_at}
        with self._store.transaction() as connection:
            connection.execute(delete(sessions).where(sessions.c.until_at <= now))
            if _read(connection).get(kept.account.name) == kept:
                connection.execute(insert(sessions).values(row))

    def end(self, digest: bytes) -> None:
        """Sign a browser out."""
        with self._store.transaction() as connection:
            connection.execute(delete(sessions).where(sessions.c.digest == digest))

    def of(self, digest: bytes, now: datetime) -> Account | None:
        """Return who is signed in with that browser at `now` (aware UTC); nothing if nobody is."""
        signed = select(accounts.c.name, accounts.c.access).join_from(sessions, accounts)
        mine = signed.where(sessions.c.digest == digest, sessions.c.began_at <= now, sessions.c.until_at > now)
        with self._store.reading() as connection:
            row = connection.execute(mine).first()
        return None if row is None else Account(row.name, Right(row.access))


def _read(connection: Connection) -> dict[str, Kept]:
    rows = connection.execute(select(accounts).order_by(accounts.c.name))
    return {row.name: Kept(Account(row.name, Right(row.access)), row.password, row.changed_at) for row in rows}
