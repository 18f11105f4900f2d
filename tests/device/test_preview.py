"""The preview of a calibration: for one browser, until the station file is written."""

import re
import signal
import socket
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPResponse
from ipaddress import ip_address
from pathlib import Path
from threading import Event
from urllib.parse import urlencode

import cv2
import numpy as np
import pytest
from board_views import BoardView
from drawn_counter import COMMAND

from swapbell_device.calibrating.card import card
from swapbell_device.calibrating.command import Wish
from swapbell_device.calibrating.door import Keys
from swapbell_device.calibrating.picture import FRAMES
from swapbell_device.calibrating.preview import FORM_MAX_BYTES, QUIET_S, address, serving
from swapbell_device.calibrating.serving import Offer, serve_calibration
from swapbell_device.calibrating.sitting import Sitting
from swapbell_device.calibrating.watching import FIRST, Watcher
from swapbell_device.camera import Frame, Luma
from swapbell_device.cameras.live import Lost
from swapbell_device.stationfile import read_station
from swapbell_models.fault import EXIT_INTERRUPTED, Breakdown, Mistake

KEYS = Keys("token", "ticket", "form")
LOOPBACK = ip_address("127.0.0.1")
VIEW = BoardView(card("opening"), 0.25, tilt_deg=10.0)


@dataclass
class Camera:
    """A camera whose picture a test may change."""

    picture: Luma | None = field(default_factory=VIEW.picture)

    def take(self) -> Luma:
        if self.picture is None:
            raise Lost("its plug is out")
        return self.picture


@dataclass
class Browser:
    """A browser with its cookie; `read` is the last page that it was given."""

    port: int
    cookie: str = ""
    read: str = ""
    patience_s: float = 20.0

    def ask(self, method: str, path: str, fields: dict[str, str] | None = None) -> HTTPResponse:
        connection = HTTPConnection("127.0.0.1", self.port, timeout=self.patience_s)
        headers = {"Cookie": self.cookie} if self.cookie else {}
        body = None if fields is None else urlencode(fields)
        connection.request(method, path, body, headers)
        reply = connection.getresponse()
        self.read = reply.read().decode()
        if given := reply.headers["Set-Cookie"]:
            self.cookie = given.partition(";")[0]
        return reply

    def get(self, path: str) -> int:
        return self.ask("GET", path).status

    def send(self, action: str, form: str = KEYS.form, **fields: str) -> int:
        return self.ask("POST", f"/{action}", {"form": form, **fields}).status

    def click(self, *points: tuple[float, float]) -> None:
        for x, y in points:
            assert self.ask("POST", "/click", {"form": KEYS.form, "at.x": str(x), "at.y": str(y)}).status == 303

    @property
    def number(self) -> str:
        found = re.search(r'name="number" value="(\d+)"', self.read)
        assert found, self.read
        return found[1]


@dataclass
class House:
    """A preview that is served."""

    folder: Path
    camera: Camera
    sitting: Sitting
    over: Event
    port: int

    def browser(self, *, let_in: bool = True) -> Browser:
        visitor = Browser(self.port)
        if let_in:
            assert visitor.get("/enter/token") == 303
        return visitor


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    camera, over = Camera(), Event()
    sitting = Sitting(Wish(tmp_path / "any.png", tmp_path / "station.toml", tmp_path / "drawn.png"), camera.take)
    with serving((LOOPBACK, 0), sitting, KEYS, over) as port:
        yield House(tmp_path, camera, sitting, over, port)


def test_the_first_browser_with_the_token_sees_the_view_and_its_errors(house: House) -> None:
    visitor = house.browser()
    assert visitor.get("/") == 200
    assert "mm/px at the gate, give or take" in visitor.read
    assert "its ends known to" in visitor.read
    assert 'src="data:image/jpeg;base64,' in visitor.read


def test_a_second_browser_is_refused_with_the_same_token(house: House) -> None:
    house.browser()
    second = house.browser(let_in=False)
    assert (second.get("/enter/token"), second.get("/")) == (403, 403)
    assert "good for one browser, once" in second.read


def test_the_same_browser_may_come_back_with_its_address(house: House) -> None:
    visitor = house.browser()
    assert (visitor.get("/enter/token"), visitor.get("/")) == (303, 200)


@pytest.mark.parametrize("path", ["/", "/held", "/sides", "/enter/", "/enter/other", "/enter/t%C3%B6ken"])
def test_nobody_gets_in_without_the_token(house: House, path: str) -> None:
    assert house.browser(let_in=False).get(path) == 403


def test_a_ticket_is_worth_nothing_before_the_token_was_used(house: House) -> None:
    assert Browser(house.port, "swapbell-preview=ticket").get("/") == 403


@pytest.mark.parametrize("other", ["theirs={1: 2}", "a@b=1", "theirs=[x]", "bare", 'q="a b', "=", "\xfc=1"])
def test_what_other_programs_of_this_address_left_in_the_browser_locks_nobody_out(house: House, other: str) -> None:
    visitor = house.browser()
    for cookie in (f"{other}; {visitor.cookie}", f"{visitor.cookie}; {other}"):
        assert Browser(house.port, cookie).get("/") == 200


@pytest.mark.parametrize("action", ["begin", "click", "back", "card", "write"])
def test_a_form_of_another_page_is_refused(house: House, action: str) -> None:
    visitor = house.browser()
    assert (visitor.send(action, form="guessed"), visitor.ask("POST", f"/{action}", {}).status) == (403, 403)
    assert not (house.folder / "station.toml").exists()


def test_a_form_too_long_to_be_ours_is_refused(house: House) -> None:
    assert house.browser().send("begin", length="1" * FORM_MAX_BYTES) == 403


def test_a_page_or_a_form_that_is_not_there_is_told(house: House) -> None:
    visitor = house.browser()
    assert (visitor.get("/etc"), visitor.send("etc")) == (404, 404)


def test_nothing_of_the_page_comes_from_elsewhere_or_is_kept(house: House) -> None:
    headers = house.browser().ask("GET", "/").headers
    assert headers["Content-Security-Policy"].startswith("default-src 'none'; img-src data:; ")
    assert headers["Cache-Control"] == "no-store"


def test_writing_writes_what_was_seen_and_ends_the_preview(house: House) -> None:
    visitor = house.browser()
    visitor.get("/")
    assert visitor.send("write", number=visitor.number) == 200
    assert house.over.wait(5.0)
    x, y = VIEW.seen((45.5, 32.5))[0]
    assert read_station(house.folder / "station.toml").view.mm_per_px(x, y) == pytest.approx(
        VIEW.true_scale(x, y), rel=0.01
    )
    assert (house.folder / "drawn.png").is_file()


def test_what_is_not_the_newest_any_more_is_not_written(house: House) -> None:
    visitor = house.browser()
    visitor.get("/")
    before = visitor.number
    visitor.get("/")
    visitor.get("/")
    assert visitor.send("write", number=before) == 409
    assert "look at the new one" in visitor.read
    assert not (house.folder / "station.toml").exists()
    assert not house.over.is_set()


def test_what_is_shown_is_written_even_while_the_page_asks_for_the_next_picture(house: House) -> None:
    visitor = house.browser()
    visitor.get("/")
    shown, house.camera.picture = visitor.number, None
    visitor.get("/")
    assert visitor.send("write", number=shown) == 200
    assert (house.folder / "station.toml").is_file()


def test_a_place_that_cannot_be_written_to_is_told_and_the_preview_goes_on(tmp_path: Path) -> None:
    over = Event()
    sitting = Sitting(Wish(None, tmp_path / "no" / "station.toml", tmp_path / "drawn.png"), Camera().take)
    with serving((LOOPBACK, 0), sitting, KEYS, over) as port:
        visitor = Browser(port)
        visitor.get("/enter/token")
        visitor.get("/")
        assert visitor.send("write", number=visitor.number) == 409
    assert "does not exist; create it" in visitor.read
    assert not over.is_set()


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (BoardView(card("opening"), 0.30, blur_px=3.2).picture(), "the card is not sharp: focus"),
        (BoardView(card("wide"), 0.40, tilt_deg=57.0).picture(), "looks too flat over the board"),
        (BoardView(card("lane"), 0.40).picture(), "the card is too small"),
        (BoardView(card("opening"), 0.25, cover_mm=(60.0, 32.0, 68.0)).picture(), "too little of the card is seen"),
        (None, "its plug is out"),
    ],
    ids=["blur", "tilt", "small", "covered", "lost"],
)
def test_what_is_wrong_is_said_and_nothing_can_be_written(house: House, picture: Luma | None, said: str) -> None:
    visitor, house.camera.picture = house.browser(), picture
    visitor.get("/")
    assert said in visitor.read
    assert 'action="/write"' not in visitor.read


def test_the_page_looks_again_by_itself_unless_it_is_held(house: House) -> None:
    visitor = house.browser()
    visitor.get("/")
    assert '<noscript><meta http-equiv="refresh"' in visitor.read
    visitor.get("/held")
    assert "refresh" not in visitor.read
    assert "<script>" not in visitor.read


def test_four_clicked_corners_a_gate_and_an_inside_make_a_station_file(house: House) -> None:
    visitor = house.browser()
    assert visitor.send("begin", length="70", width="50") == 303
    visitor.get("/")
    assert "1 of 7: click a corner of the rectangle" in visitor.read
    visitor.click((100, 60), (500, 80), (520, 400), (90, 380), (320, 100), (320, 360), (450, 240))
    visitor.get("/")
    assert visitor.send("write", number=visitor.number) == 200
    read = read_station(house.folder / "station.toml")
    assert read.view.to_mm(520.0, 400.0) == pytest.approx((70.0, 50.0), abs=1e-3)
    assert read.gate.inside_px == (450.0, 240.0)


def test_a_ruler_needs_two_clicks(house: House) -> None:
    visitor = house.browser()
    visitor.send("begin", length="70", width="")
    visitor.get("/")
    visitor.click((100, 60), (500, 60), (320, 60), (320, 420), (500, 240))
    visitor.get("/")
    visitor.send("write", number=visitor.number)
    assert read_station(house.folder / "station.toml").view.mm_per_px(0.0, 0.0) == pytest.approx(0.175)


def test_a_key_pressed_on_the_picture_or_a_point_beside_it_is_no_click(house: House) -> None:
    visitor = house.browser()
    visitor.send("begin", length="70")
    visitor.get("/")
    visitor.click((0, 0), (640, 10), (-1, 5))
    visitor.get("/")
    assert "1 of 5" in visitor.read


def test_the_last_point_can_be_taken_back(house: House) -> None:
    visitor = house.browser()
    visitor.send("begin", length="70")
    visitor.get("/")
    visitor.click((10, 10), (20, 20))
    assert visitor.send("back") == 303
    visitor.get("/")
    assert "2 of 5" in visitor.read


def test_points_from_which_nothing_can_be_measured_are_told(house: House) -> None:
    visitor = house.browser()
    visitor.send("begin", length="70")
    visitor.get("/")
    visitor.click((10, 10), (10, 10), (320, 60), (320, 420), (500, 240))
    visitor.get("/")
    assert "its two ends are one point" in visitor.read
    assert 'action="/write"' not in visitor.read


@pytest.mark.parametrize("length", ["", "x", "0", "-5", "nan", "1e9"])
def test_a_side_that_is_no_length_is_asked_for_again(house: House, length: str) -> None:
    visitor = house.browser()
    assert visitor.send("begin", length=length) == 200
    assert "the length: give millimetres from 1 to 10000" in visitor.read


def test_a_visitor_who_says_nothing_holds_nobody_up(house: House) -> None:
    visitor = house.browser()
    visitor.patience_s = QUIET_S / 2.0
    with socket.create_connection(("127.0.0.1", house.port)):
        assert visitor.get("/sides") == 200


@pytest.mark.parametrize(
    "request_",
    [
        b"POST /write HTTP/1.1\r\nContent-Length: -1\r\n\r\n",
        b"POST /write HTTP/1.1\r\nContent-Length: 1e9\r\n\r\n",
        b"POST /click HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nCookie: swapbell-preview=\xff; =;;\r\n\r\n",
        b"GET /enter/%00\xff HTTP/1.1\r\n\r\n",
        b"GET http://elsewhere.example/ HTTP/1.1\r\n\r\n",
        b"PUT / HTTP/1.1\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\r\n\r\n",
        b"GET /[ HTTP/1.1\r\n\r\n",
        b"GET http://[::1 HTTP/1.1\r\n\r\n",
    ],
)
def test_no_request_however_odd_gets_in_or_breaks_it(
    house: House, capsys: pytest.CaptureFixture[str], request_: bytes
) -> None:
    with socket.create_connection(("127.0.0.1", house.port), timeout=20.0) as odd:
        odd.sendall(request_)
        assert b" 200 " not in odd.recv(65536)
    assert house.browser().get("/") == 200
    assert capsys.readouterr().err == ""


def test_a_browser_that_goes_away_leaves_no_trace_on_the_terminal(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    visitor = house.browser()
    for _ in range(3):
        with socket.create_connection(("127.0.0.1", house.port)) as gone:
            gone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            gone.sendall(f"GET / HTTP/1.0\r\nCookie: {visitor.cookie}\r\n\r\n".encode())
    assert visitor.get("/") == 200
    assert capsys.readouterr().err == ""


def test_it_ends_by_itself_when_its_time_is_over(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "board.png"), VIEW.picture())
    said: list[str] = []
    wish = Wish(tmp_path / "board.png", tmp_path / "station.toml", tmp_path / "drawn.png")
    with pytest.raises(Breakdown, match=r"0\.001 minutes are over and nothing was written"):
        serve_calibration(wish, Offer((LOOPBACK, 0), 0.001), KEYS, said.append)
    assert re.fullmatch(r"open in a browser: http://127\.0\.0\.1:\d+/enter/token", said[0])
    assert re.fullmatch(r"from another computer, first: ssh -L (\d+):127\.0\.0\.1:\1 \S+@\S+", said[1])


def test_the_line_for_ssh_names_the_board_as_it_was_reached(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cv2.imwrite(str(tmp_path / "board.png"), VIEW.picture())
    monkeypatch.setenv("SSH_CONNECTION", "192.0.2.7 50000 192.0.2.20 22")
    said: list[str] = []
    wish = Wish(tmp_path / "board.png", None, tmp_path / "drawn.png")
    with pytest.raises(Breakdown):
        serve_calibration(wish, Offer((LOOPBACK, 0), 0.001), KEYS, said.append)
    assert said[1].endswith("@192.0.2.20")


def test_the_command_prints_an_address_of_its_own_each_time_and_ends_when_all_is_written(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "board.png"), VIEW.picture())
    command = [COMMAND, "calibrate", "board.png", "--serve", "--listen", "127.0.0.1:0"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as calibration:
        assert calibration.stdout
        assert calibration.stderr
        told = re.search(r":(\d+)/enter/(\S{22})$", calibration.stderr.readline().rstrip())
        assert told
        visitor = Browser(int(told[1]))
        assert visitor.get(f"/enter/{told[2]}") == 303
        visitor.get("/")
        form = re.search(r'name="form" value="([^"]+)"', visitor.read)
        assert form
        visitor.send("write", form=form[1], number=visitor.number)
        assert calibration.wait(20) == 0
        assert "written: station.toml" in calibration.stdout.read()
    assert "Written" in visitor.read


@pytest.mark.parametrize("text", ["", "8074", "localhost:8074", "127.0.0.1:x", "127.0.0.1:70000", "192.0.2.1:-1"])
def test_an_address_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(Mistake, match="--listen: give an address and a port"):
        address(text)


def test_an_address_of_the_sixth_version_is_one() -> None:
    assert address("[::1]:8074") == (ip_address("::1"), 8074)


def test_a_port_that_is_taken_is_told_with_the_way_out(tmp_path: Path) -> None:
    sitting = Sitting(Wish(None, None, tmp_path / "drawn.png"), Camera().take)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        at = LOOPBACK, taken.getsockname()[1]
        with pytest.raises(Mistake, match="choose another with --listen"), serving(at, sitting, KEYS, Event()):
            pass


def test_points_are_not_stated_where_they_are_clicked(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "board.png"), VIEW.picture())
    wish = Wish(tmp_path / "board.png", None, tmp_path / "d.png", length="1,1 2,2 is 5", gate="1,1 2,2", inside="3,3")
    with pytest.raises(Mistake, match="with --serve points are clicked"):
        serve_calibration(wish, Offer((LOOPBACK, 0), 1.0), KEYS, print)


class Plugged:
    """A camera whose plug comes out after each of its lives; when no life is left, it says stop."""

    size = (8, 4)

    def __init__(self, stop: Event, *lives: list[int]) -> None:
        self._stop, self._lives = stop, iter(lives)
        self.told: list[str] = []
        self.watcher = Watcher(self, stop)

    def frames(self) -> Iterator[Frame]:
        self.told.append(self._seen())
        for number, level in enumerate(next(self._lives)):
            yield Frame(np.full((4, 8), level, np.uint8), float(number))
        self.told.append(self._seen())
        if len(self.told) == 4:
            self._stop.set()
        raise Lost("its plug is out")

    def _seen(self) -> str:
        try:
            return str(self.watcher.picture()[0, 0])
        except Lost as lost:
            return str(lost)


def test_a_camera_shows_the_middle_of_its_newest_pictures_and_is_opened_again_when_lost() -> None:
    camera = Plugged(Event(), [0] * 5 + [100] * FRAMES, [1, 9, 200])
    camera.watcher.watch()
    assert camera.told == [FIRST, "100", "its plug is out", "9"]


def test_ctrl_c_ends_it_and_writes_nothing(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "board.png"), VIEW.picture())
    command = [COMMAND, "calibrate", "board.png", "--serve", "--listen", "127.0.0.1:0"]
    with subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE, text=True) as calibration:
        assert calibration.stderr
        assert "open in a browser" in calibration.stderr.readline()
        calibration.send_signal(signal.SIGINT)
        assert calibration.wait(20) == EXIT_INTERRUPTED
        assert "Traceback" not in calibration.stderr.read()
    assert [each.name for each in tmp_path.iterdir()] == ["board.png"]


class Broken:
    """A camera whose driver fails as no driver should."""

    size = (8, 4)

    def frames(self) -> Iterator[Frame]:
        yield Frame(np.zeros((4, 8), np.uint8), 0.0)
        raise ZeroDivisionError


def test_a_picture_is_not_shown_as_that_of_now_once_its_camera_has_failed_for_good() -> None:
    watcher = Watcher(Broken(), Event())
    with pytest.raises(ZeroDivisionError):
        watcher.watch()
    with pytest.raises(Lost, match="begin again"):
        watcher.picture()
