"""An application record holds what was said, says where it is from, and is loud about what nobody said."""

import csv
import io
import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from orchard import NOON_AT, SITE
from paperwork import DAY, KEY, NOW_AT, STATED, Paperwork, applied, paperwork, text

from swapbell_host.books.notebook import Notebook
from swapbell_host.jobs.entry import Act
from swapbell_host.jobs.plan import place
from swapbell_host.sheets import fields
from swapbell_host.sheets.field import Origin
from swapbell_host.sheets.form import Form
from swapbell_host.sheets.issue import application_record
from swapbell_host.sheets.regimes import Regime, deadlines
from swapbell_models.fault import Mistake
from swapbell_models.notice import NoticeKind, notice


@pytest.fixture
def books(tmp_path: Path) -> Iterator[Paperwork]:
    with paperwork(tmp_path) as books:
        yield books


def pdf(books: Paperwork) -> str:
    return text(application_record(books.store, books.service, [KEY], NOW_AT).content)


def told(books: Paperwork) -> dict[str, Any]:
    (found,) = json.loads(application_record(books.store, books.service, [KEY], NOW_AT, Form.JSON).content)["records"]
    record: dict[str, Any] = found
    return record


def answers(books: Paperwork) -> dict[str, Any]:
    return {key: each["value"] for key, each in told(books)["answers"].items()}


def test_the_superset_of_all_three_rules_is_asked_for() -> None:
    # The list of fields that the trade's summary of the three rules comes to.
    assert {each.key for each in fields.FIELDS} >= {
        *("record", "operator", "licence", "owner", "authority", "authority_until", "product", "reg_no", "batch"),
        *("supplier", "product_strength", "product_ml", "diluent", "bait", "mass_out_g", "mg_per_kg", "ai_mg"),
        *("station", "latitude_deg", "longitude_deg", "stations", "area", "crop", "out_at", "in_at", "mass_in_g"),
        *("disposal", "weather", "ppe", "neighbours", "beekeepers", "signs", "non_targets", "incident"),
        *("device_version", "decided_by", "evidence"),
    }


@pytest.mark.parametrize(
    ("regime", "keys"),
    [
        # (EU) 2023/564 by its recitals and two German explanations.
        (Regime.EU, {"product", "reg_no", "use_type", "out_at", "mg_per_kg", "area", "crop", "operator"}),
        # USDA, by three state departments of agriculture.
        (Regime.RUP, {"product", "reg_no", "out_at", "product_ml", "area", "crop", "operator", "licence"}),
        # NSW Pesticides Regulation 2017, clause 36.
        (Regime.NSW, {"product", "use_type", "out_at", "mg_per_kg", "product_ml", "address", "area", "weather"}),
    ],
)
def test_each_field_names_the_rules_that_it_serves(regime: Regime, keys: set[str]) -> None:
    assert {each.key for each in fields.required(regime)} >= keys


def test_what_a_log_form_is_to_ask_is_named_as_a_detail() -> None:
    asked = {each.key for act in Act for each in fields.asked(act)} | {each.key for each in fields.of_site()}
    assert asked == {each.key for each in fields.FIELDS if each.origin is Origin.DETAILS}


def test_deadlines_are_the_rules_own() -> None:
    found = {each.regime: (each.due_at - NOON_AT, each.keep_until.year - NOON_AT.year) for each in deadlines(NOON_AT)}
    assert found == {
        Regime.EU: (timedelta(days=30), 3),
        Regime.RUP: (timedelta(days=14), 2),
        Regime.NSW: (timedelta(hours=48), 3),
    }


def test_a_record_of_29_february_is_kept_to_the_end() -> None:
    leap_at = NOON_AT.replace(year=2028, month=2, day=29)
    assert next(each.keep_until.strftime("%Y-%m-%d") for each in deadlines(leap_at)) == "2031-03-01"


def test_the_active_ingredient_is_mass_times_strength(books: Paperwork) -> None:
    applied(books)
    found = answers(books)  # 85 g at 98 mg/kg, by arithmetic
    assert (found["ai_mg"], found["taken_g"], found["product_ml"]) == pytest.approx((8.33, 53.5, 0.085))


def test_moments_are_by_the_clock_of_the_place(books: Paperwork) -> None:
    applied(books)
    assert answers(books)["out_at"] == "2026-03-18T01:00:00+13:00"


def test_what_nobody_said_is_missing_and_never_none(books: Paperwork) -> None:
    applied(books)
    record = told(books)
    assert {"incident", "non_targets", "weather", "beekeepers", "disposal"} <= set(record["missing"])
    assert [record["answers"][key]["value"] for key in ("incident", "non_targets", "weather")] == [None] * 3


def test_none_is_an_answer_where_a_person_said_so(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + DAY, incident="none", details={"beekeepers": "none"})
    found = answers(books)
    assert found["incident"].startswith("none (swapped")
    assert found["beekeepers"] == "none"


def test_what_is_missing_stands_before_all_else(books: Paperwork) -> None:
    applied(books)
    shown = pdf(books)
    assert shown.index("WHAT IS MISSING") < shown.index("MISSING authorisation or registration number")
    assert shown.index("MISSING licence") < shown.index("Record orchard/north/2")
    assert "This is no legal advice" in shown


def test_what_is_still_out_or_lost_is_said_so(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + DAY)
    assert told(books)["answers"]["in_at"] == {"value": None, "from": "still out on 2026-04-14 00:00 +1200"}
    books.log(Act.LOST, NOON_AT + 9 * DAY)
    assert told(books)["answers"]["outcome"] == {"value": "lost", "from": "entry 3 of 2026-03-24 01:00 +1300"}


def outcomes(books: Paperwork) -> str:
    content = application_record(books.store, books.service, [KEY], NOW_AT, Form.CSV).content
    (row,) = csv.DictReader(io.StringIO(content.decode(), newline=""))
    return row["outcome"]


def test_a_table_tells_what_became_of_the_bait(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + DAY)
    found = [outcomes(books)]
    for act in (Act.WITHDRAWN, Act.DISPOSED):
        books.log(act, NOON_AT + 9 * DAY)
        found.append(outcomes(books))
    assert found == ["still out", "withdrawn", "disposed"]
    assert "what became of the bait" in pdf(books)


def test_of_bait_that_was_lost_nothing_is_missing_that_nobody_can_say(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + DAY)
    came_back = {"in_at", "mass_in_g", "taken_g", "disposed_at", "disposal"}
    assert came_back <= set(told(books)["missing"])
    books.log(Act.LOST, NOON_AT + 9 * DAY)
    record = told(books)
    assert (outcomes(books), came_back & set(record["missing"])) == ("lost", set())
    assert {key: record["answers"][key]["value"] for key in came_back} == dict.fromkeys(came_back)
    assert "it was lost" in pdf(books)


def test_a_correction_shows_what_stands_and_that_it_was_corrected(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    wrong = books.log(Act.SWAPPED, NOON_AT + DAY, mass_g=8.5)
    books.log(Act.SWAPPED, NOON_AT + DAY, mass_g=85.0, corrects=wrong.id)
    record = told(books)
    assert record["answers"]["mass_out_g"] == {"value": 85.0, "from": "entry 3"}
    assert record["corrections"][0].endswith("stands in the place of entry 2, which said: 8.5 g")
    assert "CORRECTED" in pdf(books)


def test_what_was_struck_out_is_told(books: Paperwork) -> None:
    applied(books)
    seen = books.log(Act.SEEN, NOON_AT + 4 * DAY, corrects=None, incident="a dog")
    books.log(Act.STRUCK_OUT, NOON_AT + 4 * DAY, corrects=seen.id)
    record = told(books)
    assert "was struck out by entry 5" in record["corrections"][0]
    assert record["answers"]["incident"]["value"] is None


def test_a_number_that_is_none_is_a_gap(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + DAY, mass_g=85.0, details={"mg_per_kg": "about right"})
    answer = told(books)["answers"]["mg_per_kg"]
    assert answer == {"value": None, "from": "entry 2 says 'about right', which is no number of mg/kg"}


def test_more_back_than_out_is_unknown_and_not_negative(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + DAY, mass_g=85.0)
    books.log(Act.WITHDRAWN, NOON_AT + 2 * DAY, mass_g=90.0)
    assert told(books)["answers"]["taken_g"] == {
        "value": None,
        "from": "more came back than went out: rain, or a wrong mass",
    }


def test_the_call_that_led_to_the_swap_is_its_evidence(books: Paperwork) -> None:
    ready = notice(*KEY, NoticeKind.READY, NOON_AT + 2 * DAY, "12, 11, 14 visits")
    Notebook(books.store).raise_notice(ready, NOON_AT + 2 * DAY)
    applied(books)
    assert "ready: orchard/north: 12, 11, 14 visits" in answers(books)["evidence"]
    assert "not watched, not watched" in answers(books)["evidence"]


def test_the_moments_in_its_evidence_are_by_the_clock_of_the_place(books: Paperwork) -> None:
    words = "3 honey bees (logged 2026-03-16 10:00 UTC by Kim)"
    ready = notice(*KEY, NoticeKind.READY, NOON_AT + 2 * DAY, words)
    Notebook(books.store).raise_notice(ready, NOON_AT + 2 * DAY)
    applied(books)
    assert "3 honey bees (logged 2026-03-16 23:00 NZDT by Kim)" in answers(books)["evidence"]


def test_a_call_of_an_earlier_lure_is_no_evidence(books: Paperwork) -> None:
    early = notice(*KEY, NoticeKind.READY, NOON_AT - DAY, "12, 11, 14 visits")
    Notebook(books.store).raise_notice(early, NOON_AT - DAY)
    applied(books)
    assert answers(books)["evidence"] is None


def test_a_record_says_where_the_station_hung_then(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT)
    books.log(Act.MOVED, NOON_AT + DAY, place=place("42.8830 S 147.3280 E"))
    books.log(Act.SWAPPED, NOON_AT + 2 * DAY)
    assert (answers(books)["latitude_deg"], answers(books)["longitude_deg"]) == (-42.883, 147.328)


def test_stations_out_at_the_same_time_are_counted(books: Paperwork) -> None:
    books.log(Act.LURED, NOON_AT, station="west")
    books.log(Act.SWAPPED, NOON_AT + 2 * DAY, station="west")
    applied(books)
    assert answers(books)["stations"] == 2


def test_what_was_never_swapped_has_no_record(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="nothing to hand over"):
        application_record(books.store, books.service, [KEY], NOW_AT)


def test_the_plan_shows_the_stations_with_scale_and_north(books: Paperwork) -> None:
    applied(books)
    shown = pdf(books)
    assert all(words in shown for words in ("Where", "1 km", "N", "far", "north is up"))


def test_a_table_has_a_row_for_each_application_and_numbers_stay_numbers(books: Paperwork) -> None:
    applied(books)
    content = application_record(books.store, books.service, [KEY], NOW_AT, Form.CSV).content
    (row,) = csv.DictReader(io.StringIO(content.decode(), newline=""))
    assert (row["latitude_deg"], row["mass_out_g"], row["weather"]) == ("-42.8821", "85.0", "")
    assert "reg_no" in row["missing_eu"]


def test_a_formula_in_a_name_stays_a_text(tmp_path: Path) -> None:
    with paperwork(tmp_path, {**STATED, "crop": "=HYPERLINK(1)"}) as books:
        applied(books)
        content = application_record(books.store, books.service, [KEY], NOW_AT, Form.CSV).content
    (row,) = csv.DictReader(io.StringIO(content.decode(), newline=""))
    assert row["crop"] == "'=HYPERLINK(1)"


def test_a_record_is_of_one_site(books: Paperwork) -> None:
    with pytest.raises(Mistake, match="one site"):
        application_record(books.store, books.service, [], NOW_AT)


def test_bait_put_in_twice_and_disposed_of_once_closes_both(books: Paperwork) -> None:
    applied(books)
    books.log(Act.REBAITED, NOON_AT + 6 * DAY, mass_g=80.0)
    books.log(Act.WITHDRAWN, NOON_AT + 8 * DAY, mass_g=10.0)
    books.log(Act.DISPOSED, NOON_AT + 8 * DAY, details={"disposal": "by the licensed contractor, invented"})
    content = application_record(books.store, books.service, [(SITE, "far"), KEY], NOW_AT, Form.JSON).content
    found = [each["answers"]["disposal"]["value"] for each in json.loads(content)["records"]]
    assert found == ["by the licensed contractor, invented"] * 2
