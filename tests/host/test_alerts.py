"""A notice is written down before it is told, told once, repeated until acknowledged, and waits for no channel."""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from receivers import mailbox, webhook
from tallies import moment

from swapbell_host.alerting.alerts import Alerts, OpenNotice, Outbox, acknowledge, current
from swapbell_host.alerting.channel import Channel, channels
from swapbell_host.alerting.courier import Courier, Errand
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_models.fault import Mistake
from swapbell_models.message import NoticeMessage
from swapbell_models.notice import Notice, NoticeKind, notice
from swapbell_models.phase import Phase

NOW = moment(0)
TESTS = Path(__file__).parents[1]
MINUTE_S = 60.0
HOUR_S = 3600.0
READY = notice("valley", "gate", NoticeKind.READY, NOW, "ready for the swap")
TOUCHED = notice("valley", "gate", NoticeKind.TOUCHED, NOW, "12 visits in 5 min")
SILENT = notice("valley", "gate", NoticeKind.SILENT, NOW, "no count so far")


class Drawer:
    """Notices kept in memory, for what needs no disk."""

    def __init__(self) -> None:
        self.entries: dict[int, OpenNotice] = {}

    def raise_notice(self, notice: Notice, at: datetime) -> bool:
        if notice in [entry.notice for entry in self.entries.values()]:
            return False
        self.entries[len(self.entries) + 1] = OpenNotice(len(self.entries) + 1, notice, None, 0)
        return True

    def open_notices(self) -> list[OpenNotice]:
        return list(self.entries.values())

    def mark_told(self, notice_id: int, at: datetime) -> None:
        entry = self.entries[notice_id]
        self.entries[notice_id] = replace(entry, told_at=at, times_told=entry.times_told + 1)

    def acknowledge(self, notice_id: int, at: datetime, by: str | None = None) -> bool:
        return self.entries.pop(notice_id, None) is not None


class Desk:
    """Alerts with what they said and reported."""

    def __init__(self, outbox: Outbox, ways: Sequence[Channel] = ()) -> None:
        self.said: list[NoticeMessage] = []
        self.reported: list[str] = []
        self.alerts = Alerts(outbox, ways, self.say, self.reported.append)

    def say(self, notice: Notice, message: NoticeMessage) -> None:
        assert (notice.station, notice.text) == (message.station, message.text)
        self.said.append(message)

    def settle(self, at: datetime) -> None:
        """Let the loop turn at one moment until what it sent has come back."""
        self.alerts.advance(at)
        self.until(lambda: not self.alerts.sending, at)
        self.alerts.advance(at)

    def until(self, wanted: Callable[[], object], at: datetime = NOW) -> None:
        """Let the loop turn until something has come about."""
        give_up = time.monotonic() + 20
        while not wanted():
            assert time.monotonic() < give_up, "it never came about"
            self.alerts.advance(at)
            time.sleep(0.005)


class Way:
    """A channel whose answers are given."""

    def __init__(self, name: str, *answers: bool | Exception) -> None:
        self.name, self.taken, self._answers = name, list[str](), iter(answers)
        self.tries = 0

    def send(self, title: str, body: str) -> bool:
        self.tries += 1
        answer = next(self._answers, True)
        if isinstance(answer, Exception):
            raise answer
        if answer:
            self.taken.append(title)
        return answer


@contextmanager
def ledger(folder: Path) -> Generator[Ledger]:
    with Ledger(ledger_url(str(folder / "ledger.sqlite")), {("valley", "gate"): Phase.LURING}, NOW) as opened:
        yield opened


def test_a_notice_is_written_down_before_it_is_said() -> None:
    drawer, written = Drawer(), list[int]()

    def say(notice: Notice, message: NoticeMessage) -> None:
        written.append(len(drawer.entries))

    assert Alerts(drawer, [], say, print).tell(READY, NOW)
    assert written == [1]


def test_a_notice_that_is_there_is_not_told_again() -> None:
    desk = Desk(Drawer())
    assert (desk.alerts.tell(READY, NOW), desk.alerts.tell(READY, NOW)) == (True, False)
    assert [message.times_told for message in desk.said] == [1]


def test_an_open_notice_is_repeated_after_a_quarter_an_hour_and_then_each_four_hours() -> None:
    desk, told_min = Desk(Drawer()), list[int]()
    desk.alerts.tell(READY, NOW)
    for minute in range(12 * 60):
        desk.alerts.advance(moment(minute * MINUTE_S))
        if len(desk.said) > len(told_min):
            told_min.append(minute)
    assert told_min == [0, 15, 75, 75 + 240, 75 + 480]
    assert [message.times_told for message in desk.said] == [1, 2, 3, 4, 5]


def test_an_acknowledged_notice_is_told_no_more() -> None:
    drawer = Drawer()
    desk = Desk(drawer)
    desk.alerts.tell(READY, NOW)
    assert acknowledge(drawer, 1, NOW) == [READY]
    desk.alerts.advance(moment(24 * HOUR_S))
    assert len(desk.said) == 1


def test_touched_is_not_repeated_while_ready_is_open_and_closes_with_it() -> None:
    drawer = Drawer()
    for told in (TOUCHED, SILENT, READY, replace(TOUCHED, station="other")):
        drawer.raise_notice(told, NOW)
    assert [entry.id for entry in current(drawer.open_notices())] == [2, 3, 4]
    assert acknowledge(drawer, 3, NOW) == [TOUCHED, READY]
    assert [entry.id for entry in drawer.open_notices()] == [2, 4]


def test_acknowledging_what_is_not_open_names_what_is() -> None:
    drawer = Drawer()
    with pytest.raises(Mistake, match="notice 7 is not open; open are: none"):
        acknowledge(drawer, 7, NOW)
    drawer.raise_notice(READY, NOW)
    with pytest.raises(Mistake, match="notice 7 is not open; open are: 1"):
        acknowledge(drawer, 7, NOW)


def test_a_clock_set_back_repeats_nothing() -> None:
    desk = Desk(Drawer())
    desk.alerts.tell(READY, NOW)
    desk.alerts.advance(moment(-10 * HOUR_S))
    assert len(desk.said) == 1


def test_telling_waits_for_no_channel() -> None:
    class Slow:
        name = "slow"

        def send(self, title: str, body: str) -> bool:
            return released.wait(timeout=10)

    released, drawer = threading.Event(), Drawer()
    desk = Desk(drawer, [Slow()])
    desk.alerts.tell(READY, NOW)
    assert len(desk.said) == 1
    assert drawer.entries[1].told_at is None
    released.set()
    desk.until(lambda: drawer.entries[1].told_at)


def test_one_channel_that_takes_it_makes_it_told_and_the_other_is_tried_again() -> None:
    drawer, good, bad = Drawer(), Way("good"), Way("bad", False)
    desk = Desk(drawer, [bad, good])
    desk.alerts.tell(READY, NOW)
    desk.until(lambda: drawer.entries[1].told_at and desk.reported)
    assert (drawer.entries[1].times_told, bad.taken) == (1, [])
    desk.until(lambda: len(desk.reported) == 2, moment(MINUTE_S))
    assert desk.reported == ["bad did not take a notice; it is kept and tried again", "bad works again"]
    assert (len(good.taken), len(bad.taken), len(desk.said)) == (1, 1, 1)


def test_a_failing_channel_is_tried_again_on_its_schedule_and_reported_once() -> None:
    way = Way("mail", *[False] * 9)
    desk = Desk(Drawer(), [way])
    desk.alerts.tell(READY, NOW)
    desk.settle(NOW)
    for tries, at_s in enumerate((60, 360, 1260, 2160), start=1):
        desk.settle(moment(at_s - 1))
        assert way.tries == tries
        desk.settle(moment(at_s))
        assert way.tries == tries + 1
    assert len(desk.reported) == len(desk.said) == 1


def test_two_notices_that_a_channel_owes_both_arrive() -> None:
    way = Way("mail", False, False)
    desk = Desk(Drawer(), [way])
    desk.alerts.tell(READY, NOW)
    desk.alerts.tell(SILENT, NOW)
    desk.settle(NOW)
    desk.settle(moment(MINUTE_S))
    assert way.taken == ["swapbell: ready at valley/gate", "swapbell: silent at valley/gate"]


def test_a_reminder_takes_the_place_of_what_a_channel_still_owes() -> None:
    good, bad = Way("good"), Way("bad", False, False)
    desk = Desk(Drawer(), [good, bad])
    desk.alerts.tell(READY, NOW)
    for at_s in (0, 60, 900):
        desk.settle(moment(at_s))
    assert bad.taken == ["swapbell: ready at valley/gate, reminder 1"]


def test_a_channel_that_breaks_is_one_that_failed() -> None:
    way = Way("push", OSError("secret-token refused"))
    desk = Desk(Drawer(), [way])
    desk.alerts.tell(READY, NOW)
    desk.until(lambda: desk.reported)
    assert desk.reported == ["push did not take a notice; it is kept and tried again"]
    desk.until(lambda: way.taken, moment(MINUTE_S))


def test_what_was_acknowledged_meanwhile_is_not_sent() -> None:
    drawer, way = Drawer(), Way("mail", False)
    desk = Desk(drawer, [way])
    desk.alerts.tell(READY, NOW)
    desk.until(lambda: desk.reported)
    acknowledge(drawer, 1, NOW)
    desk.alerts.advance(moment(HOUR_S))
    desk.alerts.close(moment(HOUR_S))
    assert (way.tries, way.taken) == (1, [])


def test_what_another_notice_says_better_meanwhile_is_not_sent() -> None:
    way = Way("mail", False)
    desk = Desk(Drawer(), [way])
    desk.alerts.tell(TOUCHED, NOW)
    desk.settle(NOW)
    desk.alerts.tell(READY, NOW)
    desk.settle(moment(10 * MINUTE_S))
    assert way.taken == ["swapbell: ready at valley/gate"]


def test_the_end_of_a_run_waits_for_no_dead_channel() -> None:
    class Dead:
        name = "dead"

        def send(self, title: str, body: str) -> bool:
            return threading.Event().wait()

    courier = Courier()
    courier.carry(Errand(1, Dead(), "", "", NOW))
    courier.close(patience_s=0.01)


def test_closing_lets_a_letter_on_its_way_arrive() -> None:
    drawer, way = Drawer(), Way("mail")
    desk = Desk(drawer, [way])
    desk.alerts.tell(READY, NOW)
    desk.alerts.close(NOW)
    assert drawer.entries[1].told_at == NOW


def test_a_restart_neither_repeats_nor_forgets(tmp_path: Path) -> None:
    with ledger(tmp_path) as opened:
        first = Desk(opened.notebook)
        first.alerts.tell(READY, NOW)
        opened.notebook.raise_notice(SILENT, NOW)
    with ledger(tmp_path) as opened:
        second = Desk(opened.notebook)
        assert not second.alerts.tell(READY, NOW)
        second.alerts.advance(NOW)
    assert [message.kind for message in first.said + second.said] == ["ready", "silent"]


KILLED = """
import sys
from tallies import moment
from swapbell_host.alerting.alerts import Alerts
from swapbell_host.alerting.channel import channels
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_models.notice import NoticeKind, notice
from swapbell_models.phase import Phase

path, url = sys.argv[1:]
book = Ledger(ledger_url(path), {("valley", "gate"): Phase.LURING}, moment(0)).notebook
alerts = Alerts(book, channels([url]), lambda *_: None, print)
alerts.tell(notice("valley", "gate", NoticeKind.READY, moment(0), "ready for the swap"), moment(0))
while True:
    alerts.advance(moment(0))
    print(book.open_notices()[0].times_told, flush=True)
"""


@pytest.mark.parametrize(("status", "sign"), [(500, "channel 1 (json) did not take"), (200, "1")])
def test_a_killed_host_tells_what_nobody_has_got_and_repeats_nothing_else(
    tmp_path: Path, status: int, sign: str
) -> None:
    path = tmp_path / "ledger.sqlite"
    with webhook(status) as (url, hook):
        command = [sys.executable, "-c", KILLED, str(path), url]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={"PYTHONPATH": str(TESTS)}) as host:
            assert host.stdout is not None
            assert any(line.startswith(sign) for line in host.stdout)
            host.kill()
        with ledger(tmp_path) as opened:
            desk = Desk(opened.notebook, channels([url]))
            assert not desk.alerts.tell(READY, NOW)
            desk.settle(NOW)
            desk.until(lambda: opened.notebook.open_notices()[0].times_told)
    assert len(hook.posts) == 1


def test_a_mail_server_takes_a_notice() -> None:
    with mailbox() as (url, letters):
        drawer = Drawer()
        desk = Desk(drawer, channels([url]))
        desk.alerts.tell(READY, NOW)
        desk.until(lambda: drawer.entries[1].told_at)
    (letter,) = letters
    assert letter["Subject"] == "swapbell: ready at valley/gate"
    content = letter.get_body(("plain", "html"))
    assert content is not None
    assert "valley/gate: ready for the swap" in content.get_content()
    assert "swapbell-host ack 1" in content.get_content()


def test_a_webhook_takes_a_notice_and_its_reminder() -> None:
    with webhook() as (url, hook):
        drawer = Drawer()
        desk = Desk(drawer, channels([url]))
        desk.alerts.tell(READY, NOW)
        desk.until(lambda: drawer.entries[1].times_told == 1)
        desk.until(lambda: drawer.entries[1].times_told == 2, moment(15 * MINUTE_S))
    first, reminder = hook.posts
    assert (first["title"], reminder["title"]) == (
        "swapbell: ready at valley/gate",
        "swapbell: ready at valley/gate, reminder 1",
    )
    assert reminder["message"].startswith("First told of 2026-02-03 01:00 UTC. valley/gate: ready for the swap")


def test_a_refusing_webhook_is_tried_again_and_shows_no_secret(capfd: pytest.CaptureFixture[str]) -> None:
    with webhook(500) as (url, hook):
        drawer = Drawer()
        desk = Desk(drawer, channels([url]))
        desk.alerts.tell(READY, NOW)
        desk.until(lambda: desk.reported)
        desk.until(lambda: drawer.entries[1].told_at, moment(MINUTE_S))
    assert len(hook.posts) == 1
    assert desk.reported == [
        "channel 1 (json) did not take a notice; it is kept and tried again",
        "channel 1 (json) works again",
    ]
    printed = capfd.readouterr()
    assert (printed.out, printed.err) == ("", "")


def test_nobody_listening_is_one_line() -> None:
    with webhook() as (url, _):
        pass
    desk = Desk(Drawer(), channels([url]))
    desk.alerts.tell(READY, NOW)
    desk.until(lambda: desk.reported)
    assert desk.reported == ["channel 1 (json) did not take a notice; it is kept and tried again"]


@pytest.mark.parametrize(
    ("url", "name"),
    [("hush-hush", "channel 2 (no scheme)"), ("nowhere://me:hush-hush@x", "channel 2 (nowhere)")],
)
def test_an_address_that_cannot_be_used_is_named_without_its_secrets(url: str, name: str) -> None:
    with pytest.raises(Mistake, match=r"alerts\.urls: channel 2") as refused:
        channels(["json://127.0.0.1/", url])
    assert name in str(refused.value)
    assert "hush" not in str(refused.value)
