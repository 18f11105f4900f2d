"""A Camtrap DP folder, held against the standard's own schemas and against the ledger that it came from."""

import csv
import json
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import frictionless
import jsonschema
import pytest
import requests
from exported import MADE_AT, at, body, control, log, plan, record
from frictionless.system import system
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard import NOON_AT, SITE, TALLY_S
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT4
from requests.adapters import BaseAdapter

from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.jobs.entry import Act
from swapbell_host.jobs.plan import Station, located
from swapbell_host.opendata import package, standard
from swapbell_host.opendata.choosing import Choice, choose
from swapbell_host.opendata.labelling import Labels
from swapbell_models.fault import Mistake
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Direction

KEPT = Path(package.__file__).parent / "camtrapdp"
GEOJSON = Path(frictionless.__file__).parent / "assets" / "profiles" / "geojson.json"
KIM = Labels(by="Kim")


class Shelf(BaseAdapter):
    """Answers every address with the schema that is kept here; there is no network."""

    def send(self, request: requests.PreparedRequest, *_: object, **__: object) -> requests.Response:
        answer, kept = requests.Response(), kept_at(str(request.url))
        answer.status_code, answer.url, answer.request = 200 if kept.is_file() else 404, str(request.url), request
        answer.raw = BytesIO(kept.read_bytes() if kept.is_file() else b"")
        return answer

    def close(self) -> None:
        pass


def kept_at(url: str) -> Path:
    return GEOJSON if url.endswith("geojson.json") else KEPT / url.rpartition("/")[2]


def complaints(folder: Path) -> list[str]:
    """Return what Frictionless' own validator says of a folder as it is."""
    session = requests.Session()
    for scheme in ("https://", "http://"):
        session.mount(scheme, Shelf())
    with system.use_context(http_session=session):
        report = frictionless.validate(str(folder / "datapackage.json"))
    return [message for (message,) in report.flatten(["message"])]


def by_profile() -> jsonschema.Draft4Validator:
    """Return what checks a descriptor against the standard's profile and the schemas that it builds on."""

    def retrieve(url: str) -> Resource[Any]:
        return Resource.from_contents(json.loads(kept_at(url).read_text(encoding="utf-8")), DRAFT4)

    profile = json.loads((KEPT / "camtrap-dp-profile.json").read_text(encoding="utf-8"))
    return jsonschema.Draft4Validator(profile, registry=Registry(retrieve=retrieve))


def descriptor(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    return found


def rows(folder: Path, table: str) -> list[dict[str, str]]:
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write(name: str, folder: Path, labels: Labels = KIM) -> package.Written:
    with open_existing(ledger_url(name)) as store:
        return package.write(store, choose(store, Choice()), folder, labels, NOON_AT, lambda: None)


@pytest.fixture
def name(tmp_path: Path) -> str:
    return str(tmp_path / "ledger.sqlite")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "package"


def test_a_package_is_what_the_standard_asks_for(name: str, folder: Path) -> None:
    plan(name)
    log(name, act=Act.LURED, at=NOON_AT)
    record(
        name,
        [at(15.0 * k, k + 1, body(1.0), body(2.0, Direction.OUT), body(3.0, size=SizeClass.LARGE)) for k in range(9)],
    )
    written = write(name, folder, Labels("A trial, invented", "Kim", "CC-BY-4.0"))
    assert complaints(folder) == []
    assert (written.deployments, written.observations, written.tallies) == (1, 18, 9)


def test_its_descriptor_fits_the_profile_and_the_profile_bites(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1, body(1.0))])
    write(name, folder)
    validator, found = by_profile(), descriptor(folder)
    assert list(validator.iter_errors(found)) == []
    for missing in ("resources", "profile", "created", "contributors", "project", "spatial", "temporal", "taxonomic"):
        assert not validator.is_valid({key: value for key, value in found.items() if key != missing})
    assert not validator.is_valid(
        found | {"resources": [{**found["resources"][0], "schema": "https://example.org/1.0.1"}] * 3}
    )


@pytest.mark.parametrize(
    ("where", "wrong"),
    [
        (("contributors", 0, "role"), "beekeeper"),
        (("project", "samplingDesign"), "baited"),
        (("project", "captureMethod"), ["activityDetection", "counting"]),
        (("project", "captureMethod"), []),
        (("project", "individualAnimals"), "no"),
        (("project", "observationLevel"), ["tally"]),
        (("licenses",), [{"name": "CC-BY-4.0", "scope": "data"}]),
        (("licenses", 1, "scope"), "pictures"),
        (("temporal",), {"start": "2026-03-14"}),
        (("taxonomic", 0, "taxonRank"), "size class"),
        (("spatial", "type"), "Circle"),
        (("resources", 0, "profile"), "data-resource"),
        (("resources", 0, "schema"), "https://example.org/1.0.1/deployments-table-schema.json"),
    ],
    ids=str,
)
def test_a_wrong_fact_of_the_descriptor_would_be_found(
    name: str, folder: Path, where: tuple[str | int, ...], wrong: object
) -> None:
    plan(name)
    record(name, [at(0.0, 1, body(1.0))])
    write(name, folder, Labels("A trial, invented", "Kim", "CC-BY-4.0"))
    validator, found = by_profile(), descriptor(folder)
    assert validator.is_valid(found)
    within: Any = found
    for step in where[:-1]:
        within = within[step]
    within[where[-1]] = wrong
    assert not validator.is_valid(found)


def test_what_the_descriptor_says_is_what_the_tables_hold(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1, body(1.0)), at(86_400.0, 2, body(1.0, size=SizeClass.SMALL))])
    write(name, folder)
    found, deployments, observations = descriptor(folder), rows(folder, "deployments"), rows(folder, "observations")
    assert found["profile"].endswith("/1.0.2/camtrap-dp-profile.json")
    assert [(each["name"], each["path"]) for each in found["resources"]] == [
        (table, f"{table}.csv") for table in ("deployments", "media", "observations", "effort")
    ]
    assert found["temporal"]["start"] == min(each["deploymentStart"] for each in deployments)[:10]
    assert found["temporal"]["end"] == max(each["deploymentEnd"] for each in deployments)[:10]
    assert {each["scientificName"] for each in found["taxonomic"]} == {
        each["scientificName"] for each in observations
    }
    assert found["project"]["observationLevel"] == sorted({each["observationLevel"] for each in observations})
    places = [[float(each["longitude"]), float(each["latitude"])] for each in deployments]
    assert found["spatial"]["coordinates"] == places


@pytest.mark.parametrize(
    ("table", "right", "wrong"),
    [
        ("observations", ",event,", ",lure,"),
        ("observations", ",animal,", ",wasp,"),
        ("observations", "orchard/north/1,,", "orchard/elsewhere/1,,"),
        ("deployments", "-42.8821", "-142.8821"),
        ("effort", ",15.0,15.0,", ",15.0,,"),
    ],
)
def test_a_wrong_cell_would_be_found(name: str, folder: Path, table: str, right: str, wrong: str) -> None:
    plan(name)
    record(name, [at(0.0, 1, body(1.0))])
    write(name, folder)
    file = folder / f"{table}.csv"
    before = file.read_text(encoding="utf-8")
    assert right in before
    file.write_text(before.replace(right, wrong), encoding="utf-8")
    assert complaints(folder) != []


def test_two_counters_of_one_name_are_neither_observed_nor_watched(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(15.0 * k, k + 1, body(1.0)) for k in range(40)])
    record(name, [at(15.0 * k, k + 1, body(1.0), boot="b2") for k in range(20)])
    written = write(name, folder)
    assert "orchard/north: two counters reported under its name for 5 min" in written.remarks[-1]
    effort = rows(folder, "effort")
    assert {row["watchedSeconds"] for row in effort[:20] + effort[40:]} == {"0.0"}
    assert {row["inWasp"] for row in effort[:20] + effort[40:]} == {""}
    assert {row["watchedSeconds"] for row in effort[20:40]} == {"15.0"}
    assert len(rows(folder, "observations")) == 20


def test_nobody_watches_at_night_and_what_was_seen_is_observed(name: str, folder: Path) -> None:
    plan(name, Station(SITE, "north", MADE_AT, place=located(-42.9, 179.0)))
    record(name, [at(0.0, 1, body(1.0)), at(15.0, 2)])
    write(name, folder)
    assert [(row["watchedSeconds"], row["inWasp"]) for row in rows(folder, "effort")] == [("0.0", "1"), ("0.0", "")]
    assert len(rows(folder, "observations")) == 1


def test_no_species_is_claimed(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1, *(body(1.0, size=size) for size in SizeClass))])
    write(name, folder)
    found = rows(folder, "observations")
    assert {each["scientificName"] for each in found} == {"Animalia"}
    assert [each["observationTags"] for each in found] == [
        f"sizeClass:{size.value} | direction:in | phase:planned" for size in SizeClass
    ]
    assert descriptor(folder)["taxonomic"] == [{"scientificName": "Animalia", "taxonRank": "kingdom"}]


def test_what_went_out_stands_in_the_effort_alone(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1, body(1.0, Direction.OUT), body(2.0, Direction.OUT))])
    assert write(name, folder).observations == 0
    (effort,) = rows(folder, "effort")
    assert (effort["inWasp"], effort["outWasp"]) == ("0", "2")
    assert complaints(folder) == []


def test_where_nothing_was_watched_the_effort_has_no_zero(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1, watched_s=0.0)])
    write(name, folder)
    (effort,) = rows(folder, "effort")
    assert (effort["watchedSeconds"], effort["inWasp"]) == ("0.0", "")


def test_a_station_that_was_moved_has_two_deployments(name: str, folder: Path) -> None:
    plan(name)
    log(name, act=Act.MOVED, at=NOON_AT + NOON_AT.resolution * 60_000_000, place=located(-42.9, 27.3))
    record(name, [at(0.0, 1, body(1.0)), at(90.0, 2, body(1.0))])
    write(name, folder)
    assert [(each["deploymentID"], each["latitude"]) for each in rows(folder, "deployments")] == [
        ("orchard/north/1", "-42.8821"),
        ("orchard/north/2", "-42.9"),
    ]
    assert [each["deploymentID"] for each in rows(folder, "observations")] == ["orchard/north/1", "orchard/north/2"]
    assert complaints(folder) == []


def test_a_deployment_holds_its_events(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.25, 1, body(1.0)), at(20.75, 2, body(1.0))])
    write(name, folder)
    (deployment,) = rows(folder, "deployments")
    assert (deployment["deploymentStart"], deployment["deploymentEnd"]) == (
        "2026-03-14T12:00:00Z",
        "2026-03-14T12:00:36Z",
    )
    for each in rows(folder, "observations"):
        assert deployment["deploymentStart"] <= each["eventStart"] < each["eventEnd"] <= deployment["deploymentEnd"]


def test_a_station_without_a_place_is_left_out_and_named(name: str, folder: Path) -> None:
    plan(name, Station(SITE, "north", MADE_AT), control())
    record(name, {"north": [at(0.0, 1)], "far": [at(0.0, 1, station="far")]})
    written = write(name, folder)
    assert [each["deploymentID"] for each in rows(folder, "deployments")] == ["orchard/far/1"]
    assert written.remarks == (
        "orchard/north: 1 tallies are left out, for nobody has said where it hung; say it with "
        "`swapbell-host station change orchard/north --place`",
    )


def test_without_any_place_nothing_is_written(name: str, folder: Path) -> None:
    plan(name, Station(SITE, "north", MADE_AT))
    record(name, [at(0.0, 1)])
    with pytest.raises(Mistake, match="nobody has said where it hung"):
        write(name, folder)
    assert [path.name for path in folder.parent.iterdir() if not path.name.startswith("ledger")] == []


def test_without_anyone_who_contributed_nothing_is_written(name: str, folder: Path) -> None:
    plan(name, owner=None)
    record(name, [at(0.0, 1)])
    with pytest.raises(Mistake, match="--by"):
        write(name, folder, Labels())
    assert not folder.exists()


def test_what_is_there_already_is_left_alone(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1)])
    folder.mkdir()
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(Mistake, match="something already"):
        write(name, folder)
    assert [path.name for path in folder.iterdir()] == ["notes.txt"]


def test_a_control_station_makes_it_an_experiment(name: str, folder: Path) -> None:
    plan(name, control())
    record(name, {"far": [at(0.0, 1, station="far")]})
    write(name, folder)
    assert descriptor(folder)["project"]["samplingDesign"] == "experimental"


def test_tallies_whose_time_nobody_knows_are_left_out_and_their_deployment_says_so(name: str, folder: Path) -> None:
    plan(name)
    record(name, [at(0.0, 1), at(0.0, 1, boot="adrift", clock=Clock.FREE)])
    written = write(name, folder)
    assert written.remarks == ("1 tallies are left out, for their counters never knew the time of day",)
    assert [each["timestampIssues"] for each in rows(folder, "deployments")] == ["true"]


def test_a_name_that_a_spreadsheet_would_run_is_harmless(name: str, folder: Path) -> None:
    plan(name, Station(SITE, "north", MADE_AT, place=located(-42.9, 27.3), camera="=cmd()", bait="fish | =1+1"))
    record(name, [at(0.0, 1)])
    write(name, folder)
    (deployment,) = rows(folder, "deployments")
    assert deployment["cameraModel"] == "'=cmd()"
    assert deployment["deploymentTags"] == "bait:fish / =1+1 | timeZone:Pacific/Auckland"
    assert complaints(folder) == []


def test_the_tables_have_the_standards_columns_in_its_order() -> None:
    for table in standard.TABLES:
        schema = json.loads((KEPT / f"{table}-table-schema.json").read_text(encoding="utf-8"))
        assert standard.columns(table) == tuple(field["name"] for field in schema["fields"])


def test_a_column_that_the_standard_does_not_have_is_a_defect() -> None:
    with pytest.raises(KeyError, match="colour"):
        standard.row("media", {"colour": "red"})


BODIES = st.builds(body, st.floats(0.0, TALLY_S), st.sampled_from(Direction), st.sampled_from(SizeClass))
TALLIES = st.lists(st.tuples(st.lists(BODIES, max_size=3), st.floats(0.0, TALLY_S)), min_size=1, max_size=8)


@given(TALLIES)
@settings(max_examples=15)
def test_visits_and_watched_seconds_are_those_of_the_ledger(told: list[tuple[list[Any], float]]) -> None:
    sent = [at(15.0 * n, n + 1, *bodies, watched_s=watched_s) for n, (bodies, watched_s) in enumerate(told)]
    with TemporaryDirectory() as scratch:
        name, folder = f"{scratch}/ledger.sqlite", Path(scratch) / "package"
        plan(name)
        record(name, sent)
        write(name, folder)
        assert complaints(folder) == []
        observations, effort = rows(folder, "observations"), rows(folder, "effort")
    counted = sum(int(each["count"]) for each in observations if "sizeClass:wasp" in each["observationTags"])
    assert counted == sum(len(each.visits_at()) for each in sent)
    assert sum(int(each["inWasp"] or 0) for each in effort) == counted
    assert sum(float(each["watchedSeconds"]) for each in effort) == pytest.approx(
        sum(each.watched_s for each in sent)
    )
    assert bodies_of(effort) == sum(len(each.crossings) for each in sent)


def bodies_of(effort: list[dict[str, str]]) -> int:
    names = [f"{way.value}{size.value.title()}" for way in Direction for size in SizeClass]
    return sum(int(each[name] or 0) for each in effort for name in names)
