"""Signs of life: given while all works, kept back or turned into a warning while it does not."""

import threading
import time
from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import datetime
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from receivers import Hook, webhook
from telling import DAY, HOUR, MINUTE, NOW

from swapbell_host.alerting.heartbeat import TROUBLE_AFTER, Heartbeat
from swapbell_host.alerting.people import People
from swapbell_host.config import AlertsSection, HeartbeatSection
from swapbell_host.jobs.plan import Contact
from swapbell_models.fault import Breakdown

AWAY = "the broker cannot be reached"
# Nine in the morning of a winter's day in UTC, by which those without a site are told.
MORNING = NOW + 12 * HOUR
# Ten in the morning there.
START_AT = NOW + 13 * HOUR


class Pulse:
    """A pulse in memory."""

    def __init__(self) -> None:
        self.beats: list[tuple[datetime, str | None]] = []
        self.alive: datetime | None = None

    def beat(self, at: datetime, trouble: str | None) -> None:
        self.beats.append((at, trouble))

    def alive_told_at(self) -> datetime | None:
        return self.alive

    def told_alive(self, at: datetime) -> None:
        self.alive = at


class Body:
    """A heartbeat with what it reported."""

    def __init__(self, section: HeartbeatSection | None, address: str = "", urls: tuple[str, ...] = ()) -> None:
        alerts = AlertsSection(urls=urls, heartbeat=section)
        self.people = People(alerts, {"Kim": Contact("Kim", address)} if address else {})
        self.pulse, self.reported = Pulse(), list[str]()
        self.heart = Heartbeat(alerts, self.reported.append)

    def work(self, at: datetime, trouble: str | None = None) -> None:
        self.heart.work(at, self.pulse, lambda _: self.people, trouble)

    def until(self, wanted: Callable[[], object], at: datetime, trouble: str | None = None) -> None:
        give_up = time.monotonic() + 20
        while not wanted() or self.heart.owing:
            assert time.monotonic() < give_up, "it never came about"
            self.work(at, trouble)
            time.sleep(0.005)
        self.work(at, trouble)


@contextmanager
def watcher() -> Generator[tuple[str, list[str]]]:
    """Yield a URL, and what was asked there."""
    asked: list[str] = []

    class Watcher(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(500 if len(asked) == 1 else 200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Keep quiet."""

    with HTTPServer(("127.0.0.1", 0), Watcher) as server:
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}/token-hush", asked
        server.shutdown()


def texts(hook: type[Hook]) -> list[str]:
    return [post["message"] for post in hook.posts]


def test_the_pulse_is_written_down_each_minute_with_what_is_wrong() -> None:
    body = Body(None)
    for at, trouble in ((START_AT, None), (START_AT + MINUTE / 2, None), (START_AT + MINUTE, AWAY)):
        body.work(at, trouble)
    assert body.pulse.beats == [(START_AT, None), (START_AT + MINUTE, AWAY)]


def test_a_trouble_that_begins_or_ends_is_written_down_at_once() -> None:
    body = Body(None)
    for seconds, trouble in enumerate((AWAY, AWAY, None, None)):
        body.work(START_AT + seconds * MINUTE / 60, trouble)
    assert [trouble for _, trouble in body.pulse.beats] == [AWAY, None]


def test_the_url_is_asked_at_its_pace_as_long_as_all_works() -> None:
    with watcher() as (url, asked):
        body = Body(HeartbeatSection(url=url, every="10 min"))
        body.until(lambda: body.reported, START_AT)
        body.work(START_AT + 9 * MINUTE)
        body.work(START_AT + 11 * MINUTE, AWAY)
        assert len(asked) == 1
        body.until(lambda: len(body.reported) == 2, START_AT + 12 * MINUTE)
    assert asked == ["/token-hush"] * 2
    assert body.reported == ["the heartbeat's URL does not answer", "the heartbeat's URL answers again"]


def test_a_person_is_told_once_a_day_that_all_works() -> None:
    with webhook() as (url, hook):
        body = Body(HeartbeatSection(contact="Kim"), url)
        body.work(MORNING - 3 * HOUR)
        assert hook.posts == []
        body.until(lambda: hook.posts, MORNING)
        body.work(MORNING + HOUR)
        body.until(lambda: len(hook.posts) == 2, MORNING + DAY)
    assert texts(hook)[0].startswith("swapbell is at work, 2026-02-03 09:00 UTC.")


def test_a_restart_does_not_say_it_again() -> None:
    with webhook() as (url, hook):
        body = Body(HeartbeatSection(contact="Kim"), url)
        body.pulse.alive = MORNING
        body.work(MORNING + HOUR)
        time.sleep(0.1)
    assert hook.posts == []


def test_a_broker_that_stays_away_is_told_once_and_so_is_its_return() -> None:
    with webhook() as (url, hook):
        body = Body(None, urls=(url,))
        body.work(START_AT, AWAY)
        body.work(START_AT + TROUBLE_AFTER - MINUTE, AWAY)
        assert hook.posts == []
        body.until(lambda: hook.posts, START_AT + TROUBLE_AFTER, AWAY)
        body.work(START_AT + HOUR, AWAY)
        body.until(lambda: len(hook.posts) == 2, START_AT + 2 * HOUR)
    assert texts(hook) == [
        "swapbell runs, but is not at work since 2026-02-03 10:00 UTC: the broker cannot be reached. "
        "No alert may come meanwhile.",
        "swapbell works again since 2026-02-03 12:00 UTC.",
    ]


def test_a_trouble_of_the_night_is_told_in_the_morning_or_never() -> None:
    with webhook() as (url, hook):
        for over in (True, False):
            body = Body(None, urls=(url,))
            body.work(NOW + 2 * HOUR, AWAY)
            body.work(NOW + 3 * HOUR, AWAY)
            if over:
                body.work(NOW + 4 * HOUR)
            assert (hook.posts, body.heart.owing) == ([], not over)
        body.until(lambda: hook.posts, MORNING, AWAY)


def test_a_short_trouble_is_told_to_nobody() -> None:
    with webhook() as (url, hook):
        body = Body(None, urls=(url,))
        body.work(START_AT, AWAY)
        body.work(START_AT + MINUTE)
        body.work(START_AT + TROUBLE_AFTER, AWAY)
        time.sleep(0.1)
    assert hook.posts == []


def test_a_warning_that_is_not_taken_is_said_again() -> None:
    with webhook(500) as (url, hook):
        body = Body(None, urls=(url,))
        body.work(START_AT, AWAY)
        at, give_up = START_AT + TROUBLE_AFTER, time.monotonic() + 20
        while not hook.posts:
            assert time.monotonic() < give_up, "it never came about"
            body.work(at, AWAY)
            time.sleep(0.05)
            at += MINUTE
    assert len(hook.posts) == 1


def test_a_ledger_that_cannot_be_used_is_told_without_it() -> None:
    with webhook() as (url, hook):
        body = Body(None, urls=(url,))
        body.heart.suffer(START_AT, "another program holds it")
        body.heart.suffer(START_AT + TROUBLE_AFTER, "another program holds it")
        body.until(lambda: hook.posts, START_AT + TROUBLE_AFTER, AWAY)
    assert "not at work since 2026-02-03 10:00 UTC: another program holds it" in texts(hook)[0]


def test_a_host_that_gives_up_says_so() -> None:
    with webhook() as (url, hook):
        body = Body(None, urls=(url,))
        with pytest.raises(Breakdown), body.heart.beating(lambda: START_AT):
            raise Breakdown("ledger: the disk is full")
    assert texts(hook) == ["swapbell has stopped at 2026-02-03 10:00 UTC: ledger: the disk is full"]


def test_an_unknown_contact_is_reported_in_one_line() -> None:
    body = Body(HeartbeatSection(contact="Jo"))
    body.work(MORNING)
    body.work(MORNING + HOUR)
    assert body.reported == ["the heartbeat's contact 'Jo' has no address that can be sent to"]
