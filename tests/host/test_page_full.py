"""What the page says where the disk is full, or another program holds the ledger: nothing half done, nothing told."""

import shutil
import tempfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from host.page_client import PASSWORD, Client, Reply, client

from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.jobs.account import Right
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.page.house import House
from swapbell_host.page.serving.listening import Listening

OUTSIDE = Listening("192.0.2.20", 8080)
LOG = "/station/hill/north/log"
JPEG = b"\xff\xd8\xff\xe0 a photo, invented"


@pytest.fixture
def page(tmp_path: Path, small_disk: Path) -> Iterator[Client]:
    """Yield a browser that signed in at a host whose ledger lies on a small disk."""
    made = client(tmp_path)
    made.in_house(lambda house: plan(house, made))
    made.back.close()
    shutil.copy(made.config.ledger, small_disk / "ledger.sqlite")
    page = client(small_disk, listening=OUTSIDE)
    page.sign_in()
    yield page
    page.back.close()


def plan(house: House, page: Client) -> None:
    house.planbook.add_site(Site("hill"))
    house.planbook.add_station(Station("hill", "north", page.now - timedelta(days=3)))


def fill(page: Client) -> None:
    with (Path(page.config.ledger).parent / "filler").open("wb", buffering=0) as filler:
        for size in (4096, 1):
            while True:
                try:
                    filler.write(b"x" * size)
                except OSError:
                    break


def log(page: Client, photo: bytes | None = None) -> Reply:
    fields = {"act": "lured", "by": "Kim", "mass": "80 g", "note": "n" * 3000}
    return page.submit(LOG, fields, photo, shown_at=f"{LOG}?act=lured")


@pytest.mark.file
@pytest.mark.part("tmpfs")
def test_a_form_that_cannot_be_written_says_so_and_that_nothing_typed_is_lost(page: Client) -> None:
    fill(page)
    for photo in (None, JPEG * 1000):
        reply = log(page, photo)
        assert (reply.status, "Go back: what you typed is still there" in reply.words) == (503, True)
    assert page.get("/").status == 200
    assert page.in_house(lambda house: house.servicebook.entries("hill", "north", page.now)) == ()
    (Path(page.config.ledger).parent / "filler").unlink()
    assert log(page).status == 303


@pytest.mark.file
@pytest.mark.part("tmpfs")
def test_whoever_signs_out_is_signed_out_of_this_browser_also_where_the_disk_is_full(page: Client) -> None:
    fill(page)
    assert page.submit("/logout", {}, shown_at="/").status == 303
    assert "could not write that down" in page.get("/login").words
    assert page.get("/").status == 303


@pytest.mark.file
@pytest.mark.part("tmpfs")
def test_whoever_is_not_signed_in_is_not_told_where_the_ledger_lies(page: Client) -> None:
    page.cookies.clear()
    fill(page)
    reply = page.submit("/login", {"name": "Kim", "password": PASSWORD})
    assert reply.status == 503
    assert "ledger.sqlite" not in reply.text


@pytest.mark.file
@pytest.mark.part("tmpfs")
def test_a_photo_for_which_there_is_no_room_while_it_comes_is_told(
    page: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(Path(page.config.ledger).parent))
    reply = log(page, JPEG + bytes(3_000_000))
    assert (reply.status, "no room for the file" in reply.words) == (503, True)


def test_a_ledger_that_cannot_be_read_is_none_of_a_strangers_business(tmp_path: Path) -> None:
    page = client(tmp_path, listening=OUTSIDE)
    page.sign_in(Right.VIEW)
    with open_existing(ledger_url(page.config.ledger), writing=True) as other, other.transaction() as connection:
        connection.exec_driver_sql("ALTER TABLE sessions RENAME TO gone")
    for reply in (page.get("/"), page.get("/login")):
        assert (reply.status, "cannot read its ledger now" in reply.words) == (503, True)
    page.back.close()
