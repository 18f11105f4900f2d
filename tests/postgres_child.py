"""A throw-away PostgreSQL cluster on a unix socket, run by somebody who is not root, as PostgreSQL demands."""

import os
import pwd
import shutil
import subprocess
import tempfile
from itertools import count
from pathlib import Path

import psycopg
from sqlalchemy import make_url

import parts

# How one asks for the suite on PostgreSQL; see `postgres_instead`.
OPTION, POSTGRESQL = "--ledger", "postgresql"

CONNECTIONS = 20
# For tests only: nothing of it must survive a power cut. Its clock is not ours, it writes dates in its own order,
# and by its language a small letter comes before a capital one: nobody can choose how a server is set up.
SETTINGS = (
    "listen_addresses=''",
    "fsync=off",
    "synchronous_commit=off",
    "full_page_writes=off",
    f"max_connections={CONNECTIONS}",
    "timezone=Asia/Kathmandu",
    "datestyle=SQL,DMY",
)
MADE = "-A trust -U tester -E UTF8 --locale=C --locale-provider=icu --icu-locale=en-US --no-sync"


class Cluster:
    """A running server whose databases last as long as it does."""

    def __init__(self) -> None:
        programs = parts.postgresql()
        assert programs is not None
        self._programs = programs
        self._user = _unprivileged()
        self.folder = Path(tempfile.mkdtemp(prefix="pg"))  # short: a unix socket's path has at most 107 bytes
        self.lend(self.folder)
        self._numbers = count(1)
        self._run("initdb", "-D", "data", *MADE.split())
        self.start()

    def start(self) -> None:
        """Begin to serve."""
        settings = " ".join(f"-c {setting}" for setting in (*SETTINGS, f"unix_socket_directories={self.folder}"))
        self._run("pg_ctl", "-D", "data", "-w", "-l", "log", "-o", settings, "start")

    def halt(self) -> None:
        """Cease to serve, without a word to anybody."""
        self._run("pg_ctl", "-D", "data", "-m", "immediate", "stop")

    def database(self, like: str | None = None, how: str = "") -> str:
        """Make a database, empty or like the one of a URL, `how` else in words of SQL, and return its URL."""
        name = f"ledger{next(self._numbers)}"
        template = make_url(like).database if like else "template0"
        self.order(f"CREATE DATABASE {name} TEMPLATE {template} {how}")
        return f"postgresql+psycopg://tester@/{name}?host={self.folder}"

    def order(self, words: str) -> None:
        """Have the server do something, outside of any transaction."""
        with psycopg.connect(host=str(self.folder), user="tester", dbname="postgres", autocommit=True) as connection:
            connection.execute(words.encode())

    def lend(self, folder: Path) -> None:
        """Let the server write to a folder."""
        if self._user:
            shutil.chown(folder, self._user)

    def stop(self) -> None:
        """End the server and forget all of it."""
        self.halt()
        shutil.rmtree(self.folder)

    def _run(self, program: str, *arguments: str) -> None:
        command = [str(self._programs / program), *arguments]
        done = subprocess.run(
            command,
            cwd=self.folder,
            user=self._user,
            env={"PATH": os.defpath},
            check=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert done.returncode == 0, done.stderr


def _unprivileged() -> str | None:
    """Return whom to run as: ourselves, or where we are root, whoever Debian made for it, or nobody."""
    if os.getuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"
