"""The ledger at a PostgreSQL server: what becomes of what was counted, and of the host, when that serves badly."""

import subprocess
import threading
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg
import pytest
from host.page_client import client
from host.running import HOST_TOML, Stubborn, host, ran, stored
from listener import eventually
from mosquitto_child import Broker
from orchard import NOON_AT, STATIONS, tally, topic_of, visits
from postgres_child import CONNECTIONS, Cluster
from sqlalchemy import func, select, text

import parts
from swapbell_host.books import counting
from swapbell_host.books.counttables import counts
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.schema import tallies
from swapbell_host.books.store import Interrupted, ledger_url, open_existing, open_or_make
from swapbell_host.config import read_config
from swapbell_host.intake import Arrival
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import Receipt, Subject, encode
from swapbell_models.tally import Tally

NOW_AT = NOON_AT + timedelta(hours=1)
AWAY = "see that its server runs, has a connection left, and knows this database and its user"


@pytest.fixture
def server() -> Iterator[Cluster]:
    """Yield a server of one's own, to be halted."""
    parts.need("postgresql")
    running = Cluster()
    yield running
    running.stop()


@pytest.fixture
def name(cluster: Cluster, blank_database: str) -> str:
    return cluster.database(like=blank_database)


def sent(*seqs: int) -> list[Arrival]:
    return [Arrival(topic_of(Subject.TALLY), encode(tally(seq, crossings=visits(1.0, 2.0)))) for seq in seqs]


def test_who_reads_sees_one_moment_on_either_database(ledger_name: str) -> None:
    how_many = select(func.count()).select_from(tallies)
    with Ledger(ledger_url(ledger_name), STATIONS, NOW_AT) as ledger, open_existing(ledger_url(ledger_name)) as store:
        with store.reading() as connection:
            assert connection.execute(how_many).scalar() == 0
            ledger.record(sent(1), NOW_AT)
            assert connection.execute(how_many).scalar() == 0
        with store.reading() as connection:
            assert connection.execute(how_many).scalar() == 1


def test_one_program_at_a_time_writes_to_either_database(ledger_name: str) -> None:
    with (
        Ledger(ledger_url(ledger_name), STATIONS, NOW_AT, busy_ms=50) as ledger,
        open_existing(ledger_url(ledger_name), writing=True) as store,
    ):
        with store.transaction(), pytest.raises(Interrupted, match="another program holds it"):
            ledger.record(sent(1), NOW_AT)
        ledger.record(sent(1), NOW_AT)
    assert stored(ledger_name) == [(1, 2)]


def test_two_who_sum_the_same_tallies_count_nothing_twice(ledger_name: str) -> None:
    with Ledger(ledger_url(ledger_name), STATIONS, NOW_AT) as ledger:
        ledger.record(sent(*range(1, 101)), NOW_AT)

    def sum_up() -> None:
        with open_existing(ledger_url(ledger_name), writing=True) as store, store.transaction() as connection:
            counting.advance(connection, 1)
            time.sleep(0.2)

    both = [threading.Thread(target=sum_up) for _ in range(2)]
    for each in both:
        each.start()
    for each in both:
        each.join()
    with open_existing(ledger_url(ledger_name)) as store, store.reading() as connection:
        assert connection.execute(select(func.sum(counts.c.visits))).scalar() == 200


@pytest.mark.parametrize(("usually", "here"), [("off", "on"), ("on", "on"), ("remote_write", "remote_write")])
def test_what_a_server_took_is_on_its_disk_before_it_is_promised(
    cluster: Cluster, name: str, usually: str, here: str
) -> None:
    cluster.order(f"ALTER DATABASE {ledger_url(name).database} SET synchronous_commit = {usually}")
    with open_or_make(ledger_url(name)) as store, store.transaction() as connection:
        assert connection.execute(text("SHOW synchronous_commit")).scalar() == here


@pytest.mark.parametrize("encoding", ["SQL_ASCII", "LATIN1"])
def test_a_database_that_cannot_hold_every_name_is_refused(cluster: Cluster, encoding: str) -> None:
    name = cluster.database(how=f"ENCODING '{encoding}' LOCALE_PROVIDER libc")
    with pytest.raises(Mistake, match=f"its encoding is {encoding}, .* make another database with ENCODING 'UTF8'"):
        open_or_make(ledger_url(name))


def test_a_user_who_may_not_is_told_who_should_own_the_database(cluster: Cluster) -> None:
    name = cluster.database()
    cluster.order("CREATE USER guest")
    with pytest.raises(Breakdown, match="its user may not do this here; make that user the owner of the database"):
        open_or_make(ledger_url(name.replace("tester@", "guest@")))


def test_a_server_that_only_reads_is_refused_in_one_line(cluster: Cluster) -> None:
    name = cluster.database()
    cluster.order(f"ALTER DATABASE {ledger_url(name).database} SET default_transaction_read_only = on")
    with pytest.raises(Breakdown, match="this server only reads; name the one that it follows"):
        open_or_make(ledger_url(name))


@pytest.mark.parametrize("wrong", ["user", "database"])
def test_a_url_that_the_server_does_not_know_is_one_line(cluster: Cluster, wrong: str) -> None:
    name = cluster.database()
    database = str(ledger_url(name).database)
    with pytest.raises(Breakdown) as caught:
        open_or_make(ledger_url(name.replace(*(("tester@", "nobody@") if wrong == "user" else (database, "none")))))
    assert str(caught.value).endswith(f"does not exist; {AWAY}")
    assert "\n" not in str(caught.value)


def test_a_server_without_a_connection_left_is_one_line_and_may_be_reached_later(server: Cluster) -> None:
    name = server.database()
    with ExitStack() as stack:
        for _ in range(CONNECTIONS):
            stack.enter_context(psycopg.connect(host=str(server.folder), user="tester", dbname="postgres"))
        with pytest.raises(Interrupted) as caught:
            open_or_make(ledger_url(name))
        assert str(caught.value).endswith(f"too many clients already; {AWAY}")
        assert "\n" not in str(caught.value)
    with open_or_make(ledger_url(name)):
        pass


def test_a_connection_that_was_cut_is_no_trouble_for_the_next_who_asks(cluster: Cluster, name: str) -> None:
    with open_existing(ledger_url(name), writing=True) as store:
        with store.reading() as connection:
            connection.execute(text("SELECT 1"))
        cluster.order("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()")
        with store.reading() as connection:
            assert connection.execute(text("SELECT 1")).scalar() == 1


@pytest.mark.part("tmpfs")
def test_a_server_whose_disk_is_full_is_told_in_one_line_and_loses_nothing(
    cluster: Cluster, blank_database: str
) -> None:
    with disk(cluster) as place:
        cluster.order(f"CREATE TABLESPACE small LOCATION '{place}'")
        name = cluster.database(like=blank_database, how="TABLESPACE small")
        with Ledger(ledger_url(name), STATIONS, NOW_AT) as ledger:
            full, taken = filled(ledger)
        assert "the disk is full; free some space and start again" in str(full)
        assert "\n" not in str(full)
        assert stored(name) == [(seq, 2) for seq in range(1, taken + 1)]
        subprocess.run(["mount", "-o", "remount,size=64m", str(place)], check=True)
        with Ledger(ledger_url(name), STATIONS, NOW_AT) as ledger:
            ledger.record(sent(taken + 1), NOW_AT)
        assert stored(name)[-1] == (taken + 1, 2)
        cluster.order(f"DROP DATABASE {ledger_url(name).database}")
        cluster.order("DROP TABLESPACE small")


@contextmanager
def disk(cluster: Cluster) -> Generator[Path]:
    """Yield a folder of the server's on a disk of its own that holds an empty ledger and little more."""
    place = cluster.folder / "disk"
    place.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(place)], check=True)
    cluster.lend(place)
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def filled(ledger: Ledger) -> tuple[Breakdown, int]:
    """Write until no more can be written; return what was said then and how many tallies were taken."""
    for first in range(1, 100_000, 1000):
        try:
            ledger.record(sent(*range(first, first + 1000)), NOON_AT + timedelta(days=99))
        except Breakdown as full:
            return full, first - 1
    raise AssertionError("the disk is never full")


@pytest.fixture
def host_toml(tmp_path: Path, broker: Broker, server: Cluster) -> Path:
    path = tmp_path / "host.toml"
    path.write_text(HOST_TOML.format(port=broker.port, ledger=server.database()))
    return path


def counted(many: int) -> list[Tally]:
    start_at = datetime.now(UTC) - timedelta(hours=2)
    return [tally(seq, start_at=start_at, crossings=visits(1.0)) for seq in range(1, many + 1)]


def ledger_of(config: Path) -> str:
    return read_config(config).ledger


def through(seq: int) -> Callable[[Receipt], bool]:
    return lambda receipt: receipt.through >= seq


@pytest.mark.part("mosquitto")
def test_a_server_that_falls_down_while_the_host_runs_loses_nothing_that_was_promised(
    host_toml: Path, broker: Broker, server: Cluster
) -> None:
    """And nothing is promised while it lies there; then the host goes on by itself."""
    sending = counted(300)
    with host(host_toml) as running, Stubborn(broker.port, sending) as station:
        for seq in (50, 150):
            station.party.wait_for(Subject.RECEIPT, Receipt, through(seq), 60.0)
            server.halt()
            time.sleep(0.5)  # what was on its way has come
            promised = station.party.received()
            time.sleep(2.0)
            assert station.party.received() == promised
            server.start()
            assert [seq for seq, _ in stored(ledger_of(host_toml))][:promised] == list(range(1, promised + 1))
        station.party.wait_for(Subject.RECEIPT, Receipt, through(300), 60.0)
        running.terminate()
        said = running.communicate(timeout=20.0)[1].splitlines()
        assert running.returncode == 0
    assert stored(ledger_of(host_toml)) == [(each.seq, 1) for each in sending]
    assert [line.endswith("trying again, and nothing is acknowledged meanwhile") for line in said if "ledger" in line]
    assert "Traceback" not in "".join(said)


@pytest.mark.part("mosquitto")
def test_of_two_hosts_on_one_ledger_at_least_one_ends_and_all_is_stored_once(host_toml: Path, broker: Broker) -> None:
    sending = counted(100)
    with Stubborn(broker.port, sending) as station:
        with host(host_toml) as first, host(host_toml) as second:
            assert eventually(lambda: first.poll() == 1 or second.poll() == 1, 60.0)
            ended = first if first.poll() == 1 else second
            assert ended.communicate()[1].endswith("another host writes to it; give each its own\n")
        with host(host_toml):
            station.party.wait_for(Subject.RECEIPT, Receipt, through(100), 60.0)
    assert stored(ledger_of(host_toml)) == [(each.seq, 1) for each in sending]


def test_a_command_at_a_server_that_is_away_is_one_line(host_toml: Path, server: Cluster) -> None:
    server.halt()
    done = ran(host_toml, "status")
    server.start()
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.endswith(f"{AWAY}\n")
    assert done.stderr.count("\n") == 1


def test_a_page_whose_server_is_away_says_so_to_a_stranger_and_no_more(server: Cluster, tmp_path: Path) -> None:
    page = client(tmp_path, ledger=server.database())
    server.halt()
    reply = page.get("/")
    server.start()
    assert (reply.status, page.get("/").status) == (503, 200)
    assert "The host cannot read its ledger now" in reply.words
    assert "ledger1" not in reply.text
    page.back.close()
