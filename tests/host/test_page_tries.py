"""How fast somebody may guess at passwords, and whom that never shuts out."""

import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import timedelta

import pytest
from host.page_client import PASSWORD, Client, Reply, page_at, password_hash
from orchard import NOON_AT

from swapbell_host import passwords
from swapbell_host.jobs.account import Account, Right
from swapbell_host.page.access import acquaintance, checking
from swapbell_host.page.access.tries import NAME, PAIR, PLACE, Track, Tries, neighbourhood, tracks
from swapbell_host.page.house import House
from swapbell_host.page.serving.listening import Listening

# The person is where the browser of `page_client` is.
ATTACKER, PERSON = "198.51.100.1", "127.0.0.1"
PATIENCE_S = 20.0
DAY = timedelta(days=1)
NOTHING = timedelta()


def furnish(house: House) -> None:
    house.accounts.put(Account("Kim", Right.WORK), password_hash(), NOON_AT)


page = page_at(furnish=furnish, listening=Listening("192.0.2.20", 8080))


def sign_in(page: Client, password: str = PASSWORD, name: str = "Kim") -> Reply:
    return page.submit("/login", {"name": name, "password": password})


def besieged(page: Client, *addresses: str, times: int = 200) -> None:
    """Let others fail by Kim's name; without the work of looking at each password."""

    def fail(house: House) -> None:
        for _ in range(times):
            for address in addresses:
                house.tries.count(tracks("Kim", address, None), page.now)

    page.in_house(fail)


def held(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """Let no check of a password end before the event is set."""
    go_on, is_right = threading.Event(), passwords.is_right

    def slow(kept: str | None, given: str) -> bool:
        assert go_on.wait(PATIENCE_S)
        return is_right(kept, given)

    monkeypatch.setattr(passwords, "is_right", slow)
    return go_on


def guesses(tries: Tries, within: timedelta, each: Callable[[int], tuple[Track, ...]], many: int = 1) -> int:
    """Return how often `many` guess who never miss the moment from which on they may."""
    now, made = NOON_AT, 0
    while now < NOON_AT + within:
        waits = list[timedelta]()
        for one in map(each, range(many)):
            if not (wait := tries.wait(one, now)):
                tries.count(one, now)
                made, wait = made + 1, tries.wait(one, now)
            waits.append(wait)
        now += max(min(waits), timedelta(seconds=1))
    return made


def test_a_browser_that_signed_in_before_is_not_shut_out_by_anybody(page: Client) -> None:
    sign_in(page)
    page.submit("/logout", {}, shown_at="/")
    besieged(page, ATTACKER, PERSON, *(f"192.0.2.{n}" for n in range(100)))
    assert sign_in(page).status == 303


def test_a_person_at_another_address_is_not_shut_out_by_one_who_guesses(page: Client) -> None:
    now = page.now
    page.address = ATTACKER
    assert [sign_in(page, "wrong words").status for _ in range(PAIR.free + 1)] == [422] * PAIR.free + [429]
    page.address = PERSON
    assert sign_in(page).status == 303
    one = Tries()
    guesses(one, 30 * DAY, lambda _: tracks("Kim", ATTACKER, None))
    assert one.wait(tracks("Kim", PERSON, None), now + 30 * DAY) == NOTHING


def test_whoever_is_let_in_is_forgiven_what_they_mistyped(page: Client) -> None:
    for _ in range(3):
        besieged(page, PERSON, times=PAIR.free - 1)
        assert sign_in(page).status == 303
        page.cookies.clear()


def test_a_crew_that_signs_in_by_one_link_makes_nobody_wait_who_mistypes_there() -> None:
    tries, link = Tries(), "203.0.113.7"
    for n in range(2 * NAME.free):
        who = tracks(f"worker {n}", link, None)
        tries.count(who, NOON_AT)
        tries.forgive(who)
    tries.count(tracks("Kim", link, None), NOON_AT)
    assert tries.wait(tracks("Kim", link, None), NOON_AT) == NOTHING


def test_whoever_must_wait_is_told_how_long(page: Client) -> None:
    besieged(page, PERSON, times=PAIR.free)
    assert "Too many tries. Wait 1 min" in sign_in(page).words
    besieged(page, PERSON, times=10)
    assert "Wait 1 h" in sign_in(page).words


def test_names_that_are_not_there_make_wait_like_those_that_are(page: Client) -> None:
    assert [sign_in(page, "wrong words", "Kam").status for _ in range(PAIR.free + 1)] == [422] * PAIR.free + [429]


def test_a_mark_opens_nothing_by_itself(page: Client) -> None:
    sign_in(page)
    page.cookies = {name: value for name, value in page.cookies.items() if name == "swapbell-mark"}
    assert page.get("/").status == 303
    assert sign_in(page, "wrong words").status == 422


def test_whoever_has_a_known_browser_does_not_guess_without_end(page: Client) -> None:
    sign_in(page)
    statuses = [sign_in(page, "wrong words").status for _ in range(PAIR.free + 1)]
    assert statuses == [422] * PAIR.free + [429]


@pytest.mark.parametrize(
    "given",
    ["", ".", "number.", "number.seal", "é.é", acquaintance.mark("what is kept of another"), "x" * 4000],
    ids=["none", "dot", "number alone", "no number", "letters", "of another", "long"],
)
def test_a_mark_of_another_account_or_none_is_a_strangers(given: str) -> None:
    assert acquaintance.known(given, "what is kept") is None


def test_a_mark_is_known_until_the_password_changes() -> None:
    mark = acquaintance.mark("what is kept")
    assert acquaintance.known(mark, "what is kept") == mark.partition(".")[0]
    assert acquaintance.known(mark, "what is kept since") is None


def test_the_waits_grow_to_an_hour() -> None:
    waits = [PAIR.wait(count).total_seconds() for count in range(PAIR.free, PAIR.free + 9)]
    assert waits == [30, 60, 120, 240, 480, 960, 1920, 3600, 3600]
    assert PAIR.wait(PAIR.free - 1) == NOTHING


def test_one_address_guesses_at_one_name_no_more_than_once_an_hour_at_last() -> None:
    tries, days = Tries(), 30
    assert guesses(tries, days * DAY, lambda _: tracks("Kim", ATTACKER, None)) <= 24 * days + PAIR.free + 8


def test_one_address_guesses_at_all_names_together_no_more_than_each_quarter_of_an_hour() -> None:
    tries, names = Tries(), iter(range(100_000))
    made = guesses(tries, 10 * DAY, lambda _: tracks(f"name {next(names)}", ATTACKER, None))
    assert made <= 96 * 10 + PLACE.free + 8


def test_many_addresses_guess_at_one_name_hardly_faster_than_one() -> None:
    made = guesses(Tries(), DAY, lambda n: tracks("Kim", f"192.0.2.{n}", None), many=200)
    assert made <= 96 + NAME.free + 8


def test_a_clock_that_is_set_back_shuts_nobody_out() -> None:
    tries, mine = Tries(), tracks("Kim", PERSON, None)
    for _ in range(20):
        tries.count(mine, NOON_AT + 365 * DAY)
    assert tries.wait(mine, NOON_AT) == NOTHING
    for _ in range(20):
        tries.count(mine, NOON_AT)
    assert tries.wait(mine, NOON_AT) == PAIR.longest


def test_ever_new_names_fill_no_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("swapbell_host.page.access.tries.KEYS_MAX", 9)
    tries, made = Tries(), [tracks(f"name {n}", f"192.0.2.{n}", None) for n in range(10)]
    for each in made:
        for _ in range(PAIR.free):
            tries.count(each, NOON_AT)
    assert [n for n in range(10) if tries.wait(made[n], NOON_AT)] == [7, 8, 9]


@pytest.mark.parametrize(
    ("address", "shared"),
    [("192.0.2.1", "192.0.2.1"), ("::ffff:192.0.2.1", "192.0.2.1"), ("2001:db8:1:2::3", "2001:db8:1::/48"),
     ("2001:db8:1:ffff::", "2001:db8:1::/48"), ("", ""), ("testclient", "testclient")],
)  # fmt: skip
def test_a_whole_site_of_ipv6_is_one_place(address: str, shared: str) -> None:
    assert neighbourhood(address) == shared


def test_the_page_answers_while_a_password_is_looked_at(page: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on = held(monkeypatch)
    with ThreadPoolExecutor(1) as aside:
        coming = aside.submit(sign_in, page)
        while not page.in_house(lambda house: house.checking.waiting):
            time.sleep(0.01)
        assert page.get("/login").status == 200
        go_on.set()
        assert coming.result(PATIENCE_S).status == 303


def test_what_does_not_fit_is_answered_at_once_and_is_no_try(page: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on = held(monkeypatch)
    checks = [page.in_house(begun) for _ in range(checking.STRANGERS_MAX)]
    refused = [sign_in(page) for _ in range(PAIR.free + 1)]
    go_on.set()
    assert [each.result(PATIENCE_S) for each in checks] == [False] * checking.STRANGERS_MAX
    assert {(each.status, "Too many sign in at this moment" in each.words) for each in refused} == {(503, True)}
    assert sign_in(page).status == 303


def test_strangers_leave_room_for_those_who_are_known(page: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    sign_in(page)
    monkeypatch.setattr(checking, "STRANGERS_MAX", 0)
    assert sign_in(page).status == 303
    page.cookies.clear()
    assert sign_in(page).status == 503


def begun(house: House) -> Future[bool]:
    return house.checking.begin(None, "a guess", known=False)
