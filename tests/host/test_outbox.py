"""Tellings in the ledger: kept before they are sent, joined while they wait, and remembered; on either database."""

from collections.abc import Iterator

import pytest
from telling import DAY, KIM, MINUTE, NOW, said

from swapbell_host.alerting.outbox import Why
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_models.notice import NoticeKind

FIRST = {1: Why.FIRST}


@pytest.fixture
def store(ledger_name: str) -> Iterator[Store]:
    with open_existing(ledger_url(ledger_name), writing=True) as opened:
        notebook = Notebook(opened)
        for station in ("north", "south", "west"):
            notebook.raise_notice(said(NoticeKind.READY, station), NOW)
        yield opened


@pytest.fixture
def book(store: Store) -> Tellingbook:
    return Tellingbook(store)


def test_a_telling_waits_until_it_is_taken(book: Tellingbook) -> None:
    book.put("Kim", FIRST, NOW, NOW + MINUTE)
    (waiting,) = book.waiting()
    assert (waiting.person, waiting.made_at, waiting.due_at, waiting.tries, waiting.whys) == (
        "Kim",
        NOW,
        NOW + MINUTE,
        0,
        FIRST,
    )
    book.taken(waiting.id, NOW + MINUTE)
    assert book.waiting() == []


def test_what_is_put_while_a_telling_waits_joins_it(book: Tellingbook) -> None:
    book.put("Kim", FIRST, NOW, NOW + MINUTE)
    book.put("Kim", {2: Why.AGAIN}, NOW + MINUTE, NOW + 2 * MINUTE)
    book.put("Robin", {2: Why.BEHIND}, NOW, NOW)
    waiting = book.waiting()
    assert [(each.person, each.whys) for each in waiting] == [
        ("Kim", {1: Why.FIRST, 2: Why.AGAIN}),
        ("Robin", {2: Why.BEHIND}),
    ]
    assert waiting[0].due_at == NOW + MINUTE


def test_what_is_due_earlier_hurries_a_telling_on_but_not_one_that_was_not_taken(book: Tellingbook) -> None:
    book.put("Kim", FIRST, NOW, NOW + 9 * MINUTE)
    book.put("Kim", {2: Why.FIRST}, NOW, NOW + MINUTE)
    assert book.waiting()[0].due_at == NOW + MINUTE
    book.failed(book.waiting()[0].id, NOW + DAY)
    book.put("Kim", {3: Why.FIRST}, NOW, NOW + MINUTE)
    assert book.waiting()[0].due_at == NOW + DAY


def test_a_failure_is_counted_and_tried_again_later(book: Tellingbook) -> None:
    book.put("Kim", FIRST, NOW, NOW)
    book.failed(book.waiting()[0].id, NOW + MINUTE)
    (waiting,) = book.waiting()
    assert (waiting.tries, waiting.due_at) == (1, NOW + MINUTE)


def test_what_is_left_out_is_not_told_and_a_telling_of_nothing_is_gone(book: Tellingbook) -> None:
    book.put("Kim", {1: Why.FIRST, 2: Why.FIRST}, NOW, NOW)
    (waiting,) = book.waiting()
    book.leave_out(waiting.id, [1])
    assert book.waiting()[0].whys == {2: Why.FIRST}
    book.leave_out(waiting.id, [2])
    assert (book.waiting(), book.told(NOW - DAY)) == ([], [])


def test_a_telling_that_is_taken_makes_its_notices_told(book: Tellingbook, store: Store) -> None:
    book.put("Kim", {1: Why.FIRST, 2: Why.FIRST}, NOW, NOW)
    book.taken(book.waiting()[0].id, NOW + MINUTE)
    told = [(each.told_at, each.times_told) for each in Notebook(store).open_notices()]
    assert told == [(NOW + MINUTE, 1), (NOW + MINUTE, 1), (None, 0)]


def test_what_was_told_is_remembered_with_who_why_and_when(book: Tellingbook) -> None:
    book.put(KIM.name, FIRST, NOW, NOW)
    (word,) = book.told(NOW - DAY)
    assert (word.person, word.notice_id, word.why, word.made_at, word.taken_at) == ("Kim", 1, Why.FIRST, NOW, None)
    assert word.key == ("orchard", "north", NoticeKind.READY)


def test_an_open_notice_is_remembered_for_good_and_a_closed_one_for_a_while(book: Tellingbook, store: Store) -> None:
    book.put("Kim", {1: Why.FIRST, 2: Why.FIRST}, NOW, NOW)
    Notebook(store).acknowledge(1, NOW)
    assert [word.notice_id for word in book.told(NOW + DAY)] == [2]
    assert [word.notice_id for word in book.told(NOW - DAY)] == [1, 2]


def test_a_shelved_notice_stays_open_and_says_until_when(store: Store) -> None:
    notebook = Notebook(store)
    assert notebook.shelve(1, NOW + DAY, "Kim")
    assert [each.shelved_until for each in notebook.open_notices()] == [NOW + DAY, None, None]
    notebook.acknowledge(1, NOW)
    assert not notebook.shelve(1, NOW + DAY)


def test_what_ended_by_itself_is_a_spell_and_what_was_acknowledged_is_none(store: Store) -> None:
    notebook = Notebook(store)
    notebook.end(1, NOW)
    notebook.acknowledge(2, NOW)
    assert [each.id for each in notebook.spells(NOW - DAY)] == [1]
    assert notebook.spells(NOW) == []


def test_the_pulse_is_the_last_one(book: Tellingbook) -> None:
    assert book.pulse() is None
    book.beat(NOW, None)
    book.beat(NOW + MINUTE, "the broker is away")
    assert book.pulse() == (NOW + MINUTE, "the broker is away")
