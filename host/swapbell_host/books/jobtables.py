"""The ledger's tables of the job: sites, stations, contacts, and the service log, which is only ever added to.

That no row of `service` is changed or deleted is held by the database itself: triggers of its migration refuse it.
"""

from sqlalchemy import (
    Column,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    String,
    Table,
    UniqueConstraint,
)

from swapbell_host.books.schema import METADATA, Moment

# `edition` counts all changes of sites and stations: whoever keeps them in memory sees by the highest whether to read
# them again. The terms are in days; `details` is a JSON object of texts.
sites = Table(
    "sites",
    METADATA,
    Column("name", String, primary_key=True),
    Column("zone", String, nullable=False),
    Column("owner", String),
    Column("lure_days", Double, nullable=False),
    Column("toxic_days", Double, nullable=False),
    Column("idle_days", Double, nullable=False),
    Column("watch_days", Double, nullable=False),
    Column("details", String, nullable=False),
    Column("edition", Integer, nullable=False),
)

# `address` may hold a password; `quiet` reads like 21:00-06:00.
contacts = Table(
    "contacts",
    METADATA,
    Column("name", String, primary_key=True),
    Column("address", String, nullable=False),
    Column("second", String, ForeignKey("contacts.name", name="contacts_second")),
    Column("quiet", String),
)

stations = Table(
    "stations",
    METADATA,
    Column("site", String, ForeignKey("sites.name", name="stations_site"), primary_key=True),
    Column("name", String, primary_key=True),
    Column("made_at", Moment, nullable=False),
    Column("role", String, nullable=False),
    Column("latitude_deg", Double),
    Column("longitude_deg", Double),
    Column("bait", String),
    Column("camera", String),
    Column("contact", String, ForeignKey("contacts.name", name="stations_contact")),
    Column("first_phase", String, nullable=False),
    Column("enrolled_at", Moment),
    Column("edition", Integer, nullable=False),
)

# The service log. An entry that `corrects` another takes its place; nothing is corrected twice.
service = Table(
    "service",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("site", String, nullable=False),
    Column("station", String, nullable=False),
    Column("act", String, nullable=False),
    Column("happened_at", Moment, nullable=False),
    Column("done_by", String, nullable=False),
    Column("logged_at", Moment, nullable=False),
    Column("mass_g", Double),
    Column("weather", String),
    Column("non_targets", String),
    Column("incident", String),
    Column("note", String),
    Column("photo", String),
    Column("latitude_deg", Double),
    Column("longitude_deg", Double),
    Column("details", String, nullable=False),
    Column("corrects", Integer, ForeignKey("service.id", name="service_corrected")),
    ForeignKeyConstraint(["site", "station"], ["stations.site", "stations.name"], name="service_station"),
    UniqueConstraint("corrects", name="service_corrects"),
    Index("service_of_station", "site", "station"),
)
