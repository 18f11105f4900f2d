"""The forecast of a station as its ledger tells it: read, said, drawn."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from growing import HUNG_AT, PLACE, Truth, grown
from orchard import SITE, STATION, topic_of
from PIL import Image

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.forecasting.picture import draw
from swapbell_host.forecasting.reading import Lure, made_of, read_lure
from swapbell_host.forecasting.words import CAUTIONS, DAY_AHEAD, REASONS, answer, day_ahead
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.trade.answer import as_json, as_text
from swapbell_models.confirmation import Confirm
from swapbell_models.fault import Mistake
from swapbell_models.forecasting.foraging import seconds
from swapbell_models.forecasting.forecast import Forecast, Refusal, forecast
from swapbell_models.forecasting.growth import Growth
from swapbell_models.message import Subject, encode
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally
from swapbell_models.traffic import Window

KEY, RULE, HOUR = (SITE, STATION), Rule(), timedelta(hours=1)
HOBART = ZoneInfo("Australia/Hobart")
GROWN = grown(Truth(Growth.EXPONENTIAL, 3, 18.0, 12.0, size=10.0, gaps=0.15), np.random.default_rng(4))
NOW = GROWN.now + HOUR


def tally(window: Window, seq: int, clock: Clock = Clock.SYNCED, off: timedelta = timedelta()) -> Tally:
    """Return an hour as one tally, its visits evenly through it."""
    at_s = [3600.0 * (k + 0.5) / window.counted for k in range(window.counted)]
    return Tally(
        station=STATION,
        boot="b1",
        seq=seq,
        from_at=window.from_at + off,
        up_s=(window.from_at - HUNG_AT).total_seconds(),
        clock=clock,
        seconds=3600.0,
        watched_s=window.watched_s,
        crossings=tuple(Crossing(at_s=s, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0) for s in at_s),
    )


def tallies(windows: tuple[Window, ...] = GROWN.windows) -> list[Tally]:
    """Return what was watched, as tallies; hours that nobody watched were never told of."""
    return [tally(window, seq) for seq, window in enumerate(windows, start=1) if window.watched_s > 0.0]


def fill(ledger_name: str, told: list[Tally], phase: Phase = Phase.LURING) -> None:
    with Ledger(ledger_url(ledger_name), {KEY: phase}, NOW) as ledger:
        ledger.record([Arrival(topic_of(Subject.TALLY), encode(each)) for each in told], NOW)


def settle(store: Store) -> None:
    """Say where the station hangs, and by which clock its site lives."""
    plan = Planbook(store)
    plan.change_site(replace(plan.site(SITE), zone=HOBART.key))
    plan.change_station(replace(plan.station(*KEY), place=PLACE))


@pytest.fixture
def store(sqlite_ledger: str) -> Iterator[Store]:
    fill(sqlite_ledger, tallies())
    with open_existing(ledger_url(sqlite_ledger), writing=True) as opened:
        settle(opened)
        yield opened


def made_from(lure: Lure) -> Forecast:
    return forecast(lure.windows, lure.foraging, lure.now, lure.rule)


@pytest.fixture(scope="module")
def lure() -> Lure:
    """Return the station's lure without a ledger."""
    return Lure(SITE, STATION, HOBART, GROWN.windows, GROWN.foraging, True, RULE, NOW)


def watched(windows: tuple[Window, ...]) -> list[tuple[datetime, int, float]]:
    return [(w.from_at, w.counted, round(w.watched_s, 3)) for w in windows if w.counted or w.watched_s > 0.0]


def is_light(window: Window) -> bool:
    return bool((GROWN.foraging.read(seconds([window.from_at, window.to_at])).activity > 0.0).all())


def test_the_ledger_tells_the_hours_as_they_were_counted(ledger_name: str) -> None:
    fill(ledger_name, tallies())
    with open_existing(ledger_url(ledger_name), writing=True) as store:
        settle(store)
        read = read_lure(store, KEY, RULE, NOW)
    light = tuple(window for window in GROWN.windows if is_light(window))
    assert watched(tuple(window for window in read.windows if is_light(window))) == watched(light)
    assert (read.zone, read.by_sun) == (HOBART, True)


def test_the_ledgers_forecast_is_that_of_the_counts(store: Store) -> None:
    told, direct = made_from(read_lure(store, KEY, RULE, NOW)), forecast(GROWN.windows, GROWN.foraging, NOW, RULE)
    assert told.reached
    assert direct.reached
    assert abs(told.reached.at - direct.reached.at) < HOUR / 2


def test_hours_that_nobody_told_of_are_gaps(store: Store) -> None:
    gaps = {window.from_at for window in GROWN.windows if window.watched_s == 0.0}
    read = {window.from_at: window for window in read_lure(store, KEY, RULE, NOW).windows}
    assert gaps
    assert {read[at].visits for at in gaps} == {None}


def test_the_night_is_dark_and_not_unwatched(store: Store) -> None:
    midnight = next(w for w in read_lure(store, KEY, RULE, NOW).windows if w.from_at.astimezone(HOBART).hour == 0)
    assert (midnight.watched_s, midnight.dark_s) == (0.0, 3600.0)


def test_a_board_that_learns_the_time_late_is_put_in_its_place(sqlite_ledger: str) -> None:
    off = timedelta(days=-300)
    free = [tally(w, seq, Clock.FREE, off) for seq, w in enumerate(GROWN.windows[:20], start=1) if w.watched_s > 0.0]
    fill(sqlite_ledger, [*free, *tallies()[len(free) :]])
    with open_existing(ledger_url(sqlite_ledger), writing=True) as store:
        settle(store)
        assert watched(read_lure(store, KEY, RULE, NOW).windows)[0][0] == free[0].from_at - off


def log(store: Store, act: Act, at: datetime) -> None:
    Servicebook(store).add(Draft(site=SITE, station=STATION, act=act, at=at, by="Kim"), NOW)


def test_a_lure_begins_when_it_was_hung_elsewhere(store: Store) -> None:
    moved_at = HUNG_AT + timedelta(days=1)
    log(store, Act.MOVED, moved_at)
    assert read_lure(store, KEY, RULE, NOW, "06:00-20:00").windows[0].from_at == moved_at


def test_where_no_lure_hangs_nothing_is_forecast(sqlite_ledger: str) -> None:
    fill(sqlite_ledger, tallies(), Phase.TOXIC)
    with (
        open_existing(ledger_url(sqlite_ledger), writing=True) as store,
        pytest.raises(Mistake, match="phase is toxic; a forecast is for a station whose lure hangs"),
    ):
        read_lure(store, KEY, RULE, NOW)


def test_without_a_place_nobody_knows_the_daylight(sqlite_ledger: str) -> None:
    fill(sqlite_ledger, tallies())
    with open_existing(ledger_url(sqlite_ledger)) as store:
        with pytest.raises(Mistake, match=f"station change {SITE}/{STATION} --place"):
            read_lure(store, KEY, RULE, NOW)
        assert not read_lure(store, KEY, RULE, NOW, "06:00-20:00").by_sun


def test_given_hours_are_by_the_sites_clock(store: Store) -> None:
    spans = read_lure(store, KEY, RULE, NOW, "06:00-20:30").foraging.spans
    assert {tuple(f"{at.astimezone(HOBART):%H:%M}" for at in span) for span in spans} == {("06:00", "20:30")}


@pytest.mark.parametrize("hours", ["06:00", "6 to 8", "06:00-", "06:00-25:00", "06:00+01:00-20:00", ""])
def test_hours_that_are_none_are_refused(store: Store, hours: str) -> None:
    with pytest.raises(Mistake, match="--hours must read like 06:00-20:30, by the site's clock, not "):
        read_lure(store, KEY, RULE, NOW, hours)


def test_a_station_without_counts_has_too_few_days(sqlite_ledger: str) -> None:
    fill(sqlite_ledger, [])
    with open_existing(ledger_url(sqlite_ledger)) as store:
        assert made_from(read_lure(store, KEY, RULE, NOW, "06:00-20:00")).refusal is Refusal.TOO_FEW_DAYS


def test_a_forecast_is_said_with_limits_sources_and_cautions(lure: Lure) -> None:
    text = as_text(answer(made_from(lure), lure), None)
    assert "10 visits in 5 min are to be expected from " in text
    assert "8 times of 10 it is between " in text
    assert "more foraging hours" in text
    assert "the sun's at the station" in text
    assert all(caution in text for caution in CAUTIONS)


def test_moments_are_told_by_the_sites_clock(lure: Lure) -> None:
    made = made_from(lure)
    assert made.reached
    assert f"from {made.reached.at.astimezone(HOBART):%a %Y-%m-%d %H:%M} +1100 on" in as_text(
        answer(made, lure), None
    )


def test_a_script_gets_moments_shares_and_limits(lure: Lure) -> None:
    made = made_from(lure)
    told = json.loads(as_json(answer(made, lure)))["figures"]
    assert made.reached
    assert datetime.fromisoformat(told["reached"]["value"]["at"]) == made.reached.at.replace(second=0, microsecond=0)
    assert told["reached"]["value"]["foraging_h"] == round(made.reached.foraging_h, 2)
    assert sum(told["growth"]["value"].values()) == pytest.approx(1.0)
    assert told["refusal"]["value"] is None
    assert told["now"]["unit"] == "visits per 5 min"


@pytest.mark.parametrize("refusal", Refusal)
def test_each_refusal_has_its_reason(lure: Lure, refusal: Refusal) -> None:
    refused = replace(made_from(lure), refusal=refusal, reached=None, latest=None)
    text, told = as_text(answer(refused, lure), None), json.loads(as_json(answer(refused, lure)))
    assert f"when 10 visits in 5 min come cannot be said: {REASONS[refusal]}" in text
    assert (told["figures"]["refusal"]["value"], told["figures"]["forecast"]["value"]) == (refusal.value, False)
    assert "reached" not in told["figures"]


def test_a_refusal_tells_before_when_it_is_unlikely(lure: Lure) -> None:
    refused = replace(made_from(lure), refusal=Refusal.BEYOND_HORIZON, reached=None, latest=None)
    assert refused.earliest
    before = f"; before {refused.earliest.at.astimezone(HOBART):%a %Y-%m-%d %H:%M} +1100 the chance is 1 in 10"
    assert before in as_text(answer(refused, lure), None)


def test_a_person_hears_a_day_ahead_and_not_sooner(lure: Lure) -> None:
    made = replace(made_from(lure), call=None)
    assert made.reached
    soon = replace(made, reached=replace(made.reached, at=made.made_at + DAY_AHEAD))
    later = replace(made, reached=replace(made.reached, at=made.made_at + DAY_AHEAD + timedelta(minutes=5)))
    assert (day_ahead(soon, HOBART) or "").endswith("but wait for the call: only counts say when to swap.")
    assert day_ahead(later, HOBART) is None
    assert day_ahead(replace(made, refusal=Refusal.NO_GROWTH, reached=None), HOBART) is None


def test_a_person_hears_of_the_call_before_the_rule(lure: Lure) -> None:
    made = made_from(lure)
    assert made.call
    assert (day_ahead(made, HOBART) or "").startswith("the call `ready` is likely about ")
    assert (
        day_ahead(
            replace(made, call=(made.call[0], replace(made.call[1], at=made.made_at + 2 * DAY_AHEAD), made.call[2])),
            HOBART,
        )
        is None
    )


def test_the_call_is_told_with_its_limits(lure: Lure) -> None:
    made = made_from(lure)
    told = json.loads(as_json(answer(made, lure)))["figures"]["call"]
    assert made.call
    assert datetime.fromisoformat(told["value"]["middle"]) == made.call[1].at.replace(second=0, microsecond=0)
    assert "may come at any time" in as_text(answer(replace(made, call=None), lure), None)
    first = replace(made, call=None, rule=replace(RULE, confirm=Confirm.FIRST))
    assert "call" not in json.loads(as_json(answer(first, lure)))["figures"]


def test_the_picture_is_a_whole_png(lure: Lure, tmp_path: Path) -> None:
    draw(made_from(lure), lure, tmp_path / "north.png")
    with Image.open(tmp_path / "north.png") as picture:
        picture.load()
        assert picture.size == (1140, 552)
    assert [path.name for path in tmp_path.iterdir()] == ["north.png"]


def test_a_refusal_can_be_drawn_too(lure: Lure, tmp_path: Path) -> None:
    bare = replace(lure, windows=())
    draw(made_from(bare), bare, tmp_path / "north.png")
    assert (tmp_path / "north.png").stat().st_size > 0


def test_a_picture_that_cannot_be_written_is_the_callers_mistake(lure: Lure, tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"picture .*north\.png: No such file or directory; choose another place"):
        draw(made_from(lure), lure, tmp_path / "nowhere" / "north.png")


def configured(ledger: str, folder: Path) -> Path:
    path = folder / "host.toml"
    path.write_text(f'ledger = "{ledger}"\n[broker]\nhost = "192.0.2.10"\n', encoding="utf-8")
    return path


def test_the_command_answers_in_one_json_object(sqlite_ledger: str, tmp_path: Path) -> None:
    fill(sqlite_ledger, tallies())
    program = (sys.executable, "-c", "from swapbell_host.main import run; run()")
    words = ("forecast", f"{SITE}/{STATION}", "--hours", "06:00-20:00", "--json", "--png", str(tmp_path / "n.png"))
    config = ("--config", str(configured(sqlite_ledger, tmp_path)))
    done = subprocess.run(
        [*program, *words, *config], capture_output=True, text=True, check=False, env=dict(os.environ)
    )
    assert (done.returncode, done.stderr) == (0, "")
    # The counts lie long before the machine's own now, or after it.
    assert json.loads(done.stdout)["figures"]["refusal"]["value"] in {"counts too old", "too few days"}
    assert (tmp_path / "n.png").exists()


def test_an_unknown_station_is_the_callers_mistake(sqlite_ledger: str, tmp_path: Path) -> None:
    with pytest.raises(Mistake, match="east"):
        made_of(configured(sqlite_ledger, tmp_path), f"{SITE}/east")


def test_a_name_that_is_none_is_told_before_the_ledger_is_looked_for(sqlite_ledger: str, tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"^station must be named SITE/STATION, as in orchard/north, not .*nosuch"):
        made_of(configured(sqlite_ledger, tmp_path), "nosuch")


def test_the_now_of_a_forecast_is_the_machines(sqlite_ledger: str, tmp_path: Path) -> None:
    fill(sqlite_ledger, [])
    before = datetime.now(UTC)
    made, _ = made_of(configured(sqlite_ledger, tmp_path), f"{SITE}/{STATION}", "06:00-20:00")
    assert before <= made.made_at <= datetime.now(UTC)
