"""What a station finds when it looks at itself."""

import json
import os
import re
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import certifi
import cv2
import numpy as np
import pytest
from clips import STATION, board, write_clip
from drawn_counter import COMMAND, configured
from listener import Listener, eventually
from mosquitto_child import Broker

from swapbell_device.camera import Luma
from swapbell_device.cameras.live import Lost
from swapbell_device.cameras.usb import UsbCamera
from swapbell_device.checking import command, reach, view
from swapbell_device.checking.board import board_findings
from swapbell_device.checking.command import check
from swapbell_device.checking.finding import Finding, Grade, amiss, graded, table
from swapbell_device.checking.limit import Limits, within
from swapbell_device.checking.reach import reach_findings
from swapbell_device.config import BrokerSection, Config, parse_config
from swapbell_device.linking.linksession import Door, Session
from swapbell_device.look import Look
from swapbell_device.service.unit import TEXT
from swapbell_models.fault import Mistake


def found(config: Config) -> dict[str, Finding]:
    return {each.about: each for each in check(config)}


def refused(*_: object) -> None:
    raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")


def of_usb(folder: Path, stated: str = "") -> Config:
    (folder / "north.toml").write_text(STATION)
    text = (
        configured(folder, 9)
        .read_text()
        .replace('kind = "drawn"\npace = 0.0', 'kind = "usb"\ndevice = "/dev/video99"\n' + stated)
        .replace("starts_at = 2026-02-03T12:00:00Z\n", "")
    )
    return parse_config('station_file = "north.toml"\n' + text, folder / "device.toml")


@pytest.mark.part("mosquitto")
def test_a_drawn_station_with_a_broker_is_fit(broker: Broker, tmp_path: Path) -> None:
    config = parse_config(configured(tmp_path, broker.port).read_text(), tmp_path / "device.toml")
    seen = found(config)
    assert {seen[about].grade for about in ("camera", "view", "sharpness", "spool", "broker")} == {Grade.FIT}


@pytest.mark.part("mosquitto")
def test_a_check_does_not_push_off_the_counter_that_runs(broker: Broker, tmp_path: Path) -> None:
    path = configured(tmp_path, broker.port, pace=1.0)
    with subprocess.Popen([COMMAND, "run", "--config", str(path)], stderr=subprocess.PIPE, text=True) as counter:
        for _ in range(3):
            check(parse_config(path.read_text(), path))
        counter.terminate()
        told = counter.communicate(timeout=30)[1]
    assert "cannot be reached" not in told
    assert "lost" not in told


@pytest.mark.part("mosquitto")
@pytest.mark.parametrize(("guest", "told"), [(None, ["lost"]), ("check", [])])
def test_a_check_that_is_cut_off_does_not_say_that_the_station_is_lost(
    broker: Broker, guest: str | None, told: list[str]
) -> None:
    with Listener(broker.port) as host:
        session = Session(Door(BrokerSection(host="127.0.0.1", port=broker.port), "orchard", "north", guest=guest))
        session.open()
        while not session.accepted:
            session.step(0.1)
        gone = session._client.socket()
        assert gone is not None
        gone.shutdown(socket.SHUT_RDWR)
        assert eventually(lambda: bool(host.states()), 2.0) == bool(told)
        assert host.states() == told
        session.close()


def test_a_camera_that_is_not_there_fails_with_its_name_and_what_to_do(tmp_path: Path) -> None:
    camera = found(of_usb(tmp_path))["camera"]
    assert camera.grade is Grade.FAIL
    assert camera.words == "/dev/video99 cannot be opened: it is not there; look at its plug"


@pytest.mark.parametrize(
    ("may", "why"),
    [
        (False, "this user may not; sudo usermod --append --groups video "),
        (True, "it is no camera, or something else"),
    ],
)
def test_a_device_that_may_not_be_opened_is_told_apart_from_one_that_cannot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, may: bool, why: str
) -> None:
    monkeypatch.setattr(Path, "exists", lambda *_: True)
    monkeypatch.setattr(os, "access", lambda *_: may)
    with pytest.raises(Lost, match=f"^/dev/video99 cannot be opened: {why}"):
        next(UsbCamera(device="/dev/video99", size=(32, 16), fps=30.0).pictures())


def test_a_broker_that_is_not_there_fails_with_its_address(tmp_path: Path) -> None:
    broker = found(parse_config(configured(tmp_path, 9).read_text(), tmp_path / "device.toml"))["broker"]
    assert broker.grade is Grade.FAIL
    assert broker.words.startswith("127.0.0.1:9 cannot be reached: Connection refused")


@pytest.mark.parametrize("secure", [False, True])
def test_a_port_that_takes_a_connection_and_stays_silent_fails_within_its_time(tmp_path: Path, secure: bool) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        text = configured(tmp_path, silent.getsockname()[1]).read_text()
        if secure:
            text = text.replace("[spool]", f'ca_file = "{certifi.where()}"\n[spool]')
        config = parse_config(text, tmp_path / "device.toml")
        broker = list(reach_findings(config, Limits(broker_s=0.5)))[-1]
    assert broker.grade is Grade.FAIL
    assert broker.words.startswith("no answer within 0.5 s; look at the network")


@pytest.mark.parametrize(
    ("resolver", "said"),
    [
        (lambda *_: time.sleep(30.0), "no answer within 0.3 s; look at the network and its name server"),
        (refused, "127.0.0.1 has no address (Name or service not known); look at the network and its name server"),
    ],
    ids=["silent", "unknown"],
)
def test_a_name_that_is_not_resolved_fails_within_its_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, resolver: Callable[..., object], said: str
) -> None:
    monkeypatch.setattr(reach, "getaddrinfo", resolver)
    config = parse_config(configured(tmp_path, 9).read_text(), tmp_path / "device.toml")
    assert list(reach_findings(config, Limits(name_s=0.3)))[-1].words.startswith(said)


def test_a_camera_that_never_answers_fails_within_its_time_and_the_rest_is_checked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "view_findings", lambda *_: [time.sleep(30.0)])
    config = parse_config(configured(tmp_path, 9).read_text(), tmp_path / "device.toml")
    seen = {each.about: each for each in check(config, Limits(camera_s=0.3))}
    assert seen["camera"].words.startswith("no answer within 0.3 s; look at its cable")
    assert {"camera", "clock", "disk", "spool", "broker"} <= seen.keys()


def test_all_limits_together_end_before_systemd_gives_up() -> None:
    start_s = re.search(r"^TimeoutStartSec=(\d+)$", TEXT, re.MULTILINE)
    assert start_s
    limits = Limits()
    assert limits.camera_s + limits.name_s + limits.broker_s < float(start_s[1]) / 2.0


def test_a_mistake_in_what_is_asked_is_still_the_callers() -> None:
    def ask() -> list[Finding]:
        raise Mistake("no such clip")

    with pytest.raises(Mistake, match="no such clip"):
        within(10.0, ask, "camera", "")


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_defect_in_what_is_asked_is_no_pass() -> None:
    def ask() -> list[Finding]:
        raise ZeroDivisionError

    assert within(10.0, ask, "camera", "")[0].grade is Grade.FAIL


@pytest.mark.parametrize(
    ("told_s", "stated", "grade", "said"),
    [
        (0.002, "", Grade.FIT, "2 ms smears"),
        (0.0123, "", Grade.LOOK, "12.3 ms smears"),
        (0.002, "exposure_s = 0.008", Grade.FIT, "2 ms smears"),
        (None, "exposure_s = 0.008", Grade.LOOK, "8 ms smears"),
        (None, "", Grade.LOOK, "found by the camera"),
    ],
)
def test_the_exposure_is_what_the_camera_tells_or_else_what_was_stated(
    tmp_path: Path, told_s: float | None, stated: str, grade: Grade, said: str
) -> None:
    look = Look(3.0, light=120.0, detail=4.0, noise=1.5, shake_mm=0.0, moving=0.0, exposure_s=told_s)
    text = of_usb(tmp_path, stated)
    finding = next(view._exposure(text, view.Seconds(look=look)))
    assert finding.grade is grade
    assert finding.words.startswith(said)


def of_pictures(folder: Path, *pictures: Luma) -> Finding:
    (folder / "north.toml").write_text(STATION)
    write_clip(folder / "view.avi", [picture for picture in pictures for _ in range(120)])
    text = configured(folder, 9).read_text().replace('kind = "drawn"', 'kind = "clip"\npath = "view.avi"')
    return found(parse_config('station_file = "north.toml"\n' + text, folder / "device.toml"))["sharpness"]


def lane() -> Luma:
    picture = board()
    picture[:35] = picture[-35:] = 50
    return picture


def test_a_view_out_of_focus_fails_with_the_width_of_its_edges(tmp_path: Path) -> None:
    sharpness = of_pictures(tmp_path, np.asarray(cv2.GaussianBlur(lane(), (0, 0), 12.0), np.uint8))
    assert sharpness.grade is Grade.FAIL
    assert sharpness.words.startswith("out of focus: an edge is ")
    assert sharpness.words.endswith("; focus the camera on the board")


def test_a_view_without_an_edge_is_worth_a_look(tmp_path: Path) -> None:
    assert of_pictures(tmp_path, np.full_like(board(), 120)).grade is Grade.LOOK


def test_a_dark_view_fails_for_its_light(tmp_path: Path) -> None:
    (tmp_path / "north.toml").write_text(STATION)
    write_clip(tmp_path / "dark.avi", [board() // 60] * 120)
    text = configured(tmp_path, 9).read_text().replace('kind = "drawn"', 'kind = "clip"\npath = "dark.avi"')
    view = found(parse_config('station_file = "north.toml"\n' + text, tmp_path / "device.toml"))["view"]
    assert (view.grade, view.words) == (Grade.FAIL, "too dark or too bright; look at the light and the exposure")


def test_a_spool_without_a_folder_fails(tmp_path: Path) -> None:
    text = configured(tmp_path, 9).read_text().replace('path = "spool.sqlite"', 'path = "nowhere/spool.sqlite"')
    told = {each.about: each for each in board_findings(parse_config(text, tmp_path / "device.toml"))}
    assert told["disk"].grade is Grade.FAIL
    assert "create the folder of the spool" in told["disk"].words


@pytest.mark.parametrize(
    ("value", "grade"), [(1.0, Grade.FIT), (1.5, Grade.LOOK), (2.0, Grade.FAIL), (3.0, Grade.FAIL)]
)
def test_advice_comes_only_with_what_is_amiss(value: float, grade: Grade) -> None:
    finding = graded("heat", value, 1.0, 2.0, "warm", "shade it")
    assert finding == Finding("heat", grade, "warm" if grade is Grade.FIT else "warm; shade it")


def test_a_table_has_a_line_for_each_finding_and_health_one_for_each_that_is_amiss() -> None:
    findings = [Finding("clock", Grade.FIT, "well"), Finding("disk", Grade.FAIL, "full; free some space")]
    assert table(findings) == ["pass  clock        well", "fail  disk         full; free some space"]
    assert amiss(findings) == ["fail: disk: full; free some space"]


def test_the_command_ends_with_1_if_anything_fails_and_speaks_json(tmp_path: Path) -> None:
    path = configured(tmp_path, 9)
    done = subprocess.run(
        [COMMAND, "check", "--config", str(path), "--json"], capture_output=True, text=True, check=False
    )
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 1
    assert {each["about"]: each["grade"] for each in told}["broker"] == "fail"
