"""The page's foundation, without a socket."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from host.page_client import Client, client

from swapbell_host.jobs.account import Right
from swapbell_host.page.app import DOORS
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Go, Page, Visit
from swapbell_models.fault import Mistake


def hello(visit: Visit) -> Answer:
    if "wrong" in visit.query:
        raise Mistake(visit.query["wrong"])
    return Page("error.html", {"heading": "Hello", "words": visit.query.get("name", "nobody")})


def greet(visit: Visit) -> Answer:
    return Go("/hello", said=f"greeted {visit.form['name']} {len(visit.photo or b'')}")


TEST_DOORS = (*DOORS, Door("/hello", hello), Door("/greet", greet, right=Right.WORK, method="POST"))


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Client]:
    made = client(tmp_path, TEST_DOORS)
    yield made
    made.back.close()


def test_a_page_is_shown_without_login_on_this_machine(page: Client) -> None:
    reply = page.get("/hello?name=Kim")
    assert (reply.status, "Kim" in reply.words) == (200, True)


def test_a_form_leads_on_with_a_word(page: Client) -> None:
    assert page.submit("/greet", {"name": "Kim"}, shown_at="/login").headers["location"] == "/hello"
    assert "greeted Kim 0" in page.get("/hello").words
    assert "greeted Kim 0" not in page.get("/hello").words


def test_a_photo_comes_with_a_form(page: Client) -> None:
    page.submit("/greet", {"name": "Kim"}, photo=b"12345", shown_at="/login")
    assert "greeted Kim 5" in page.get("/hello").words
