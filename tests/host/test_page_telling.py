"""Whether people are reached, as the page says it."""

from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from host.page_client import Client, page_at
from receivers import webhook
from telling import said

from swapbell_host.alerting.outbox import Why
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.jobs.plan import Contact, Site, Station
from swapbell_host.page.house import House
from swapbell_models.notice import NoticeKind

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def plan(house: House) -> None:
    house.planbook.add_site(Site("orchard", "Pacific/Auckland"))
    house.planbook.add_station(Station("orchard", "north", NOW))


page = page_at(NOW, plan)


def test_the_button_sends_a_test_message_and_says_whether_it_was_taken(page: Client) -> None:
    with webhook(200, 500) as (url, hook):
        page.in_house(lambda house: house.planbook.put_contact(Contact("Kim", url)))
        shown = "/plan/contact?name=Kim"
        assert "Send Kim a test message" in page.get(shown).text
        page.submit("/plan/contact/test", {"known": "Kim"}, shown_at=shown)
        assert "Kim (json): taken; see whether it has arrived." in unescape(page.get("/plan").text)
        page.submit("/plan/contact/test", {"known": "Kim"}, shown_at=shown)
        assert "Kim (json): not taken." in unescape(page.get("/plan").text)
    assert [post["title"] for post in hook.posts] == ["swapbell: test"]


def test_a_host_that_lives_and_reaches_everybody_is_no_news(page: Client) -> None:
    page.in_house(lambda house: Tellingbook(house.store).beat(NOW - MINUTE, None))
    assert "takes no message" not in page.get("/").text
    assert "sign of life" not in page.get("/").text


def test_an_address_that_stays_broken_is_shown(page: Client) -> None:
    def fail(house: House) -> None:
        book = Tellingbook(house.store)
        house.notebook.raise_notice(said(NoticeKind.READY), NOW)
        book.put("Kim", {1: Why.FIRST}, NOW - MINUTE, NOW - MINUTE)
        book.failed(book.waiting()[0].id, NOW)

    page.in_house(fail)
    assert "Kim takes no message since 2026-03-15 00:59 NZDT (tries: 1); see to the address." in page.get("/").text


@pytest.mark.parametrize(
    ("ago", "trouble", "words"),
    [
        (10 * MINUTE, None, "The host gives no sign of life since 2026-03-15 00:50 NZDT: nothing is judged"),
        (MINUTE, "the broker cannot be reached", "The host is not at work: the broker cannot be reached."),
    ],
)
def test_a_host_that_is_not_at_work_is_shown(page: Client, ago: timedelta, trouble: str | None, words: str) -> None:
    page.in_house(lambda house: Tellingbook(house.store).beat(NOW - ago, trouble))
    assert words in page.get("/").text
