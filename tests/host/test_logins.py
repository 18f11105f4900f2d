"""The command `login`, as a person types it."""

import json
import os
import pty
import select
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from swapbell_host.books.accountbook import Accountbook
from swapbell_host.books.store import ledger_url, open_or_make
from swapbell_host.desk import logins
from swapbell_host.jobs.account import Account, Right
from swapbell_host.main import app
from swapbell_host.passwords import is_right
from swapbell_models.fault import Mistake

PATIENCE_S = 30.0
PASSWORD = "four words and one"
STRANGE = """<b>"O'Neil" & 🐝</b>"""
NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n')


def ran(*words: str, typed: str = "") -> Result:
    return CliRunner().invoke(app, ["login", *words], input=typed)


def refused(*words: str, typed: str = "") -> str:
    result = ran(*words, typed=typed)
    assert isinstance(result.exception, Mistake), result.output
    assert "\n" not in str(result.exception)
    return str(result.exception)


def kept(name: str) -> str | None:
    with open_or_make(ledger_url("ledger.sqlite")) as store:
        found = Accountbook(store).named(name)
    return found and found.password


def test_a_login_is_set_with_a_password_from_standard_input() -> None:
    assert ran("set", STRANGE, "--right", "work", typed=f"{PASSWORD}\n").stdout == f"{STRANGE} can sign in to work\n"
    assert is_right(kept(STRANGE), PASSWORD)


def test_a_login_is_set_with_a_password_from_a_file() -> None:
    Path("secret").write_text(f"{PASSWORD}\n")
    ran("set", "Kim", "--right", "view", "--password-file", "secret")
    assert is_right(kept("Kim"), PASSWORD)


def test_on_a_terminal_the_password_is_asked_for_twice_and_not_shown() -> None:
    ours, theirs = pty.openpty()
    program = [str(Path(sys.executable).parent / "swapbell-host"), "login", "set", "Kim", "--right", "work"]
    running = subprocess.Popen(program, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True)
    os.close(theirs)
    seen = b""
    for question in (b"Password: ", b"Once more: "):  # the space comes once nothing is shown any more
        while question not in seen:
            assert select.select([ours], [], [], PATIENCE_S)[0], seen
            seen += os.read(ours, 4096)
        os.write(ours, f"{PASSWORD}\n".encode())
    assert running.wait(PATIENCE_S) == 0, seen
    seen += os.read(ours, 4096)
    os.close(ours)
    assert PASSWORD.encode() not in seen
    assert is_right(kept("Kim"), PASSWORD)


def test_no_option_takes_a_password_where_others_could_see_it() -> None:
    assert "--password-file" in ran("set", "--help").stdout
    assert "--password " not in ran("set", "--help").stdout


def test_a_password_that_is_too_short_is_refused() -> None:
    assert "it has 5 letters" in refused("set", "Kim", "--right", "work", typed="short\n")
    assert kept("Kim") is None


def test_a_right_that_is_none_is_refused() -> None:
    said = refused("set", "Kim", "--right", "all", typed=f"{PASSWORD}\n")
    assert said == "right must be view or work, not 'all'"


@pytest.mark.parametrize("name", ["", " ", "x" * 10_000, "a\x1bb"])
def test_a_name_that_is_none_is_refused(name: str) -> None:
    assert refused("set", name, "--right", "work", typed=f"{PASSWORD}\n").startswith("login must ")


def test_logins_are_listed_without_their_passwords() -> None:
    ran("set", "Kim", "--right", "work", typed=f"{PASSWORD}\n")
    ran("set", "Ada", "--right", "view", typed=f"{PASSWORD}\n")
    assert [(each["name"], each["right"]) for each in json.loads(ran("list", "--json").stdout)] == [
        ("Ada", "view"),
        ("Kim", "work"),
    ]
    assert "argon2" not in ran("list").stdout


def test_a_login_is_removed() -> None:
    ran("set", "Kim", "--right", "work", typed=f"{PASSWORD}\n")
    removed = ran("remove", "Kim")
    assert removed.stdout == "Kim can sign in no more\n"
    assert "nobody can sign in now" in removed.stderr
    assert kept("Kim") is None


def test_whom_nobody_knows_cannot_be_removed() -> None:
    ran("set", "Kim", "--right", "work", typed=f"{PASSWORD}\n")
    assert refused("remove", "Kam") == "login 'Kam': there is none of that name; there are: Kim"


def test_a_password_file_that_is_no_text_is_refused() -> None:
    Path("secret").write_bytes(b"\xff\xfe\x00")
    assert (
        refused("set", "Kim", "--right", "view", "--password-file", "secret")
        == "password file secret: not a text file"
    )


def test_accounts_and_sign_ins_are_kept_by_both_databases(ledger_name: str) -> None:
    with open_or_make(ledger_url(ledger_name)) as store:
        book = Accountbook(store)
        book.put(Account(STRANGE, Right.VIEW), "hash", NOW)
        book.put(Account(STRANGE, Right.WORK), "other", NOW)
        found = book.named(STRANGE)
        assert found is not None
        book.begin(b"\x00digest", found, NOW, datetime.max.replace(tzinfo=UTC))
        assert book.of(b"\x00digest", NOW) == Account(STRANGE, Right.WORK)
        book.end(b"\x00digest")
        assert book.of(b"\x00digest", NOW) is None
        book.drop(STRANGE)
        assert not book.any()


def test_the_room_of_logins_is_told_in_the_help() -> None:
    assert {"set", "remove", "list"} == {command.name for command in logins.LOGIN.registered_commands}
