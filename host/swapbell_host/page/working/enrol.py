"""Enrolling a station: its files as one download and its lines for the broker, shown once and kept nowhere."""

from base64 import b64encode
from dataclasses import replace

from swapbell_host.enrolling import parcel
from swapbell_host.jobs.account import Right
from swapbell_host.jobs.enrolment import CONFIG_FILE, STATION_FILE
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Page, Visit
from swapbell_host.page.working import form
from swapbell_models.fault import Mistake

WAY = "/plan/enrol/{site}/{station}"


def show(visit: Visit) -> Answer:
    """Ask how the station reaches the broker."""
    return _asked(visit, {})


def take(visit: Visit) -> Answer:
    """Make the station's password and files, note that it is enrolled, and show all of it once."""
    typed, plan = form.typed(visit), visit.house.planbook
    station = plan.station(visit.path["site"], visit.path["station"])
    try:
        host, clip = typed.get("broker") or None, typed.get("clip") or None
        made = parcel(station.key, visit.house.config.broker, host, clip)
        plan.change_station(replace(station, enrolled_at=visit.at))
    except (Mistake, ValueError) as refusal:
        return _asked(visit, typed, str(refusal))
    values = {
        "station": station,
        "made": made,
        "zip": b64encode(made.zipped()).decode("ascii"),
        "config_file": CONFIG_FILE,
        "station_file": STATION_FILE,
    }
    return Page("enrolled.html", values)


def _asked(visit: Visit, typed: dict[str, str], refusal: str = "") -> Page:
    values = {
        "station": visit.house.planbook.station(visit.path["site"], visit.path["station"]),
        "zone": visit.house.planbook.site(visit.path["site"]).clock,
        "broker": visit.house.config.broker.host,
        "typed": typed,
        "refusal": refusal,
        "trouble": form.trouble(refusal, {}),
    }
    return Page("enrol.html", values, 422 if refusal else 200)


DOORS = (Door(WAY, show, Right.WORK), Door(WAY, take, Right.WORK, "POST"))
