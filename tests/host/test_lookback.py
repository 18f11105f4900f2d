"""What the ledger tells of one station's past, and that Today and Station are read from either database."""

import json
from datetime import timedelta
from pathlib import Path

from host.page_client import client
from orchard import NOON_AT, SITE, STATION, tally, topic_of, visits

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.lookback import NOTICES_MAX, last_word, noticed
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.intake import Arrival
from swapbell_models.message import Health, StationState, Subject, encode
from swapbell_models.notice import NoticeKind, notice

HOUR = timedelta(hours=1)


def test_notices_of_a_stretch_are_told_oldest_first_and_what_became_of_them(ledger_name: str) -> None:
    with open_existing(ledger_url(ledger_name), writing=True) as store:
        book = Notebook(store)
        for hours, kind in ((1, NoticeKind.TOUCHED), (3, NoticeKind.READY), (9, NoticeKind.SILENT)):
            book.raise_notice(notice(SITE, STATION, kind, NOON_AT - hours * HOUR, kind.value), NOON_AT)
        book.raise_notice(notice(SITE, "south", NoticeKind.HOLE, NOON_AT - HOUR, "another"), NOON_AT)
        book.acknowledge(
            next(each.id for each in book.open_notices() if each.notice.kind is NoticeKind.READY), NOON_AT, "Kim"
        )
        found = noticed(store, SITE, STATION, NOON_AT - 4 * HOUR, NOON_AT)
    assert [(each.kind, each.acknowledged_by) for each in found] == [
        (NoticeKind.READY, "Kim"),
        (NoticeKind.TOUCHED, None),
    ]


def test_of_very_many_notices_the_newest_are_told(ledger_name: str) -> None:
    with open_existing(ledger_url(ledger_name), writing=True) as store:
        for minutes in range(NOTICES_MAX + 5):
            at = NOON_AT - timedelta(minutes=minutes)
            Notebook(store).raise_notice(notice(SITE, STATION, NoticeKind.SILENT, at, "silent"), NOON_AT)
        found = noticed(store, SITE, STATION, NOON_AT - 99 * HOUR, NOON_AT)
    assert (len(found), found[-1].raised_at) == (NOTICES_MAX, NOON_AT)


def test_a_stations_last_word_is_told_with_when_it_was_first_and_last_said(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), {}, NOON_AT) as ledger:
        for minutes, fps in ((0, 30.0), (5, 29.0)):
            word = Health(station=STATION, state=StationState.WATCHING, fps=fps)
            ledger.record([Arrival(topic_of(Subject.HEALTH), encode(word))], NOON_AT + timedelta(minutes=minutes))
    with open_existing(ledger_url(ledger_name)) as store:
        word = last_word(store, SITE, STATION)
        assert last_word(store, SITE, "south") is None
    assert word is not None
    assert (word.health.fps, word.since_at, word.heard_at) == (29.0, NOON_AT, NOON_AT + timedelta(minutes=5))


def test_today_and_station_are_read_from_either_database(ledger_name: str, tmp_path: Path) -> None:
    with Ledger(ledger_url(ledger_name), {}, NOON_AT) as ledger:
        batch = [tally(seq, crossings=visits(7.0)) for seq in range(1, 41)]
        ledger.record([Arrival(topic_of(Subject.TALLY), encode(each)) for each in batch], NOON_AT)
    page = client(tmp_path, ledger=ledger_name)
    page.now = NOON_AT + HOUR
    assert "not judged yet" in page.get("/").words
    for span in ("day", "week", "season"):
        assert "40 visits counted in 10 min watched" in page.get(f"/station/{SITE}/{STATION}?span={span}").words
    found = json.loads(page.get(f"/station/{SITE}/{STATION}/counts.json").content)
    assert [each for each in found["most"] if each is not None] == [20, 20]
    page.back.close()
