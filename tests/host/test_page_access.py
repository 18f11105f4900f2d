"""Who gets in at the page, how, and for how long."""

from datetime import timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from host.page_client import PASSWORD, Client, client, page_at, password_hash

from swapbell_host import passwords
from swapbell_host.jobs.account import Account, Right
from swapbell_host.page.access import forgery
from swapbell_host.page.door import Door
from swapbell_host.page.serving import signing
from swapbell_host.page.serving.cookies import SESSION
from swapbell_host.page.serving.listening import Listening
from swapbell_host.page.visit import Answer, Go, Page, Visit
from swapbell_models.fault import Mistake

OUTSIDE = Listening("192.0.2.20", 8080)
BEHIND = Listening("127.0.0.1", 8080, "https://wasps.example.org")
STRANGE = """<b>"O'Neil" & 🐝</b>"""


def who(visit: Visit) -> Answer:
    words = f"{visit.account.name if visit.account else 'nobody'} may {'work' if visit.may_work else 'look'}"
    return Page("error.html", {"heading": "Who", "words": words})


def work(visit: Visit) -> Answer:
    return Go("/who", said="worked")


DOORS = (*signing.DOORS, Door("/who", who), Door("/work", work, right=Right.WORK, method="POST"))


outside = page_at(doors=DOORS, listening=OUTSIDE)
here = page_at(doors=DOORS)


def tried(page: Client, name: str, password: str) -> int:
    return page.submit("/login", {"name": name, "password": password}).status


def let(page: Client, name: str, right: Right = Right.WORK) -> None:
    page.in_house(lambda house: house.accounts.put(Account(name, right), password_hash(), page.now))


def test_whoever_knows_the_password_is_let_in(outside: Client) -> None:
    reply = outside.sign_in()
    assert (reply.status, reply.headers["location"]) == (303, "/")
    assert "Kim may work" in outside.get("/who").words


@pytest.mark.parametrize(
    ("name", "password"), [("Kim", "wrong words"), ("Kam", PASSWORD), ("", ""), ("kim", PASSWORD)]
)
def test_nobody_else_is(outside: Client, name: str, password: str) -> None:
    let(outside, "Kim")
    assert tried(outside, name, password) == 422
    assert outside.get("/who").status == 303


def test_the_name_that_was_typed_is_not_lost(outside: Client) -> None:
    let(outside, "Kim")
    reply = outside.submit("/login", {"name": STRANGE, "password": "wrong words", "next": "/who"})
    assert 'value="&lt;b&gt;&#34;O&#39;Neil&#34; &amp; 🐝&lt;/b&gt;"' in reply.text
    assert 'value="/who"' in reply.text
    assert "wrong words" not in reply.text


def test_whoever_signs_in_gets_a_secret_that_nobody_knew_before(outside: Client) -> None:
    outside.get("/login")
    before = outside.cookies["swapbell-browser"]
    outside.sign_in()
    assert outside.cookies["swapbell-browser"] != before
    outside.cookies["swapbell-browser"] = before
    assert outside.get("/who").status == 303


def test_the_ledger_does_not_hold_the_secret(outside: Client) -> None:
    outside.sign_in()
    ledger = Path(outside.config.ledger)
    content = b"".join(path.read_bytes() for path in ledger.parent.glob("ledger*"))
    assert outside.cookies["swapbell-browser"].encode() not in content
    assert PASSWORD.encode() not in content


def test_one_is_led_to_the_way_in_and_back(outside: Client) -> None:
    let(outside, "Kim")
    asked = outside.get("/who?a=1&b=2")
    assert (asked.status, asked.headers["location"]) == (303, "/login?next=%2Fwho%3Fa%3D1%26b%3D2")
    assert 'value="/who?a=1&amp;b=2"' in outside.get(asked.headers["location"]).text
    reply = outside.submit("/login", {"name": "Kim", "password": PASSWORD, "next": "/who?a=1&b=2"})
    assert reply.headers["location"] == "/who?a=1&b=2"


@pytest.mark.parametrize("way", ["https://evil.example", "//evil.example", "/\\evil.example", "evil", "/a\r\nb", ""])
def test_the_way_back_leads_nowhere_else(outside: Client, way: str) -> None:
    let(outside, "Kim")
    reply = outside.submit("/login", {"name": "Kim", "password": PASSWORD, "next": way})
    assert reply.headers["location"] == "/"


def test_a_sign_in_survives_a_restart(outside: Client, tmp_path: Path) -> None:
    outside.sign_in()
    again = client(tmp_path, DOORS, OUTSIDE)
    again.cookies, again.host = outside.cookies, outside.host
    assert again.get("/who").status == 200
    again.back.close()


def test_a_sign_in_ends_after_a_fortnight(outside: Client) -> None:
    outside.sign_in()
    outside.now += SESSION - timedelta(seconds=1)
    assert outside.get("/who").status == 200
    outside.now += timedelta(seconds=1)
    assert outside.get("/who").status == 303


def test_signing_out_ends_it_for_good(outside: Client) -> None:
    outside.sign_in()
    old = outside.cookies["swapbell-browser"]
    reply = outside.submit("/logout", {}, shown_at="/who")
    assert (reply.status, reply.headers["location"]) == (303, "/login")
    outside.cookies["swapbell-browser"] = old
    assert outside.get("/who").status == 303


@pytest.mark.parametrize("how", ["new password", "removed"])
def test_a_changed_or_removed_login_is_signed_out(outside: Client, how: str) -> None:
    outside.sign_in()
    if how == "removed":
        let(outside, "Robin")
        outside.in_house(lambda house: house.accounts.drop("Kim"))
    else:
        let(outside, "Kim")
    assert outside.get("/who").status == 303


def test_a_login_that_changed_while_its_password_was_looked_at_lets_nobody_in(outside: Client) -> None:
    let(outside, "Kim")
    kept = outside.in_house(lambda house: house.accounts.named("Kim"))
    outside.now += timedelta(seconds=1)
    let(outside, "Kim", Right.VIEW)
    until_at = outside.now + SESSION
    outside.in_house(lambda house: house.accounts.begin(forgery.digest("secret"), kept, outside.now, until_at))
    assert outside.in_house(lambda house: house.accounts.of(forgery.digest("secret"), outside.now)) is None


def test_whoever_may_look_sees_all_and_changes_nothing(outside: Client) -> None:
    outside.sign_in(Right.VIEW)
    assert "Kim may look" in outside.get("/who").words
    reply = outside.submit("/work", {}, shown_at="/who")
    assert reply.status == 403
    assert "not change it" in reply.words


def test_whoever_may_work_sends_forms(outside: Client) -> None:
    outside.sign_in()
    assert outside.submit("/work", {}, shown_at="/who").status == 303


def test_this_machine_is_open_until_a_login_is_set_up(here: Client) -> None:
    assert "nobody may work" in here.get("/who").words
    let(here, "Kim", Right.VIEW)
    assert here.get("/who").status == 303


def test_what_stands_in_front_of_the_host_does_not_open_it(tmp_path: Path) -> None:
    behind = client(tmp_path, DOORS, BEHIND)
    assert behind.get("/who").status == 303
    assert "Nobody can sign in yet" in behind.get("/login").words
    behind.back.close()


def test_over_https_the_cookies_stay_there(tmp_path: Path) -> None:
    behind = client(tmp_path, DOORS, BEHIND)
    said = behind.get("/login").headers["set-cookie"]
    behind.back.close()
    assert said.startswith("__Host-swapbell-browser=")
    assert {"HttpOnly", "Secure", "Path=/", "SameSite=lax"} <= set(said.split("; "))


def test_no_script_reads_the_cookies_and_no_other_site_sends_them(here: Client) -> None:
    said = here.get("/login").headers["set-cookie"].split("; ")
    assert {"HttpOnly", "SameSite=lax"} <= set(said)


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8080", "192.0.2.1:8080", "", "127.0.0.1.evil.example"]
)
def test_another_name_of_this_machine_leads_nowhere(here: Client, host: str) -> None:
    """A name that a stranger points at 127.0.0.1 would let a page of theirs read what is open here."""
    assert here.get("/who", host=host).status == 421


@pytest.mark.parametrize("host", ["127.0.0.1:8080", "localhost:8080", "LOCALHOST", "[::1]:8080", "127.0.0.2"])
def test_this_machines_own_names_lead_here(here: Client, host: str) -> None:
    assert here.get("/who", host=host).status == 200


@pytest.mark.parametrize(
    "origin", ["https://evil.example", "null", "http://127.0.0.1:9090", "https://127.0.0.1:8080"]
)
def test_a_form_from_another_sites_page_is_refused_though_it_knew_the_key(here: Client, origin: str) -> None:
    here.get("/who")
    key = {forgery.FIELD: forgery.form_key(here.cookies["swapbell-browser"])}
    assert here.post("/work", key, origin=origin).status == 403
    assert here.post("/work", key, origin="http://127.0.0.1:8080").status == 303


@pytest.mark.parametrize("host", ["wasps.example.org", "127.0.0.1:8080"])
def test_a_form_from_the_address_that_people_type_is_ours(tmp_path: Path, host: str) -> None:
    behind = client(tmp_path, DOORS, BEHIND)
    behind.host = host
    behind.sign_in()
    key = {forgery.FIELD: forgery.form_key(behind.cookies["__Host-swapbell-browser"])}
    assert behind.post("/work", key, origin="https://wasps.example.org").status == 303
    behind.back.close()


def test_an_unknown_name_takes_as_much_work_as_a_known_one(outside: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    let(outside, "Kim")
    looked: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> bool:  # noqa: A002 - argon2's name
            looked.append(str(hash).split("$")[3])
            return super().verify(hash, password)

    monkeypatch.setattr(passwords, "_HASHER", Counting())
    tried(outside, "Kim", "wrong words")
    tried(outside, "Kam", "wrong words")
    assert len(looked) == 2
    assert len(set(looked)) == 1


@pytest.mark.parametrize("password", ["", "short", "x" * 501])
def test_a_password_is_neither_guessed_nor_endless(password: str) -> None:
    with pytest.raises(Mistake, match=f"it has {len(password)} letters"):
        passwords.hashed(password)


def test_a_password_of_two_lines_that_nobody_could_type_is_refused() -> None:
    with pytest.raises(Mistake, match="more than one line"):
        passwords.hashed(f"{PASSWORD}\n{PASSWORD}")


def test_a_hash_that_was_damaged_lets_nobody_in() -> None:
    assert not passwords.is_right("damaged", PASSWORD)
