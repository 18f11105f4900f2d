"""Sites, stations, contacts, and the service log, whose rows no one can change."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

REFUSAL = "the service log is only added to: correct an entry by a new one"
# REPLACE deletes without asking the triggers of DELETE (sqlite.org/lang_conflict.html), so it is stopped earlier.
ON_SQLITE = tuple(
    f"CREATE TRIGGER service_{name} BEFORE {when} BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    for name, when in (
        ("unchanged", "UPDATE ON service"),
        ("undeleted", "DELETE ON service"),
        (
            "unreplaced",
            "INSERT ON service WHEN EXISTS (SELECT 1 FROM service WHERE id = NEW.id OR corrects = NEW.corrects)",
        ),
    )
)
ON_POSTGRESQL = (
    "CREATE FUNCTION service_is_kept() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$",
    "CREATE TRIGGER service_unchanged BEFORE UPDATE OR DELETE ON service "
    "FOR EACH ROW EXECUTE FUNCTION service_is_kept()",
    "CREATE TRIGGER service_unemptied BEFORE TRUNCATE ON service "
    "FOR EACH STATEMENT EXECUTE FUNCTION service_is_kept()",
)


def upgrade() -> None:
    """Make the tables and what guards them."""
    _plan()
    _service()
    for order in ON_SQLITE if op.get_bind().dialect.name == "sqlite" else ON_POSTGRESQL:
        op.execute(order)


def _plan() -> None:
    op.create_table(
        "sites",
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("zone", sa.String, nullable=False),
        sa.Column("owner", sa.String),
        sa.Column("lure_days", sa.Double, nullable=False),
        sa.Column("toxic_days", sa.Double, nullable=False),
        sa.Column("idle_days", sa.Double, nullable=False),
        sa.Column("watch_days", sa.Double, nullable=False),
        sa.Column("details", sa.String, nullable=False),
        sa.Column("edition", sa.Integer, nullable=False),
    )
    op.create_table(
        "contacts",
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("address", sa.String, nullable=False),
        sa.Column("second", sa.String, sa.ForeignKey("contacts.name", name="contacts_second")),
    )
    op.create_table(
        "stations",
        sa.Column("site", sa.String, sa.ForeignKey("sites.name", name="stations_site")),
        sa.Column("name", sa.String),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("role", sa.String, nullable=False),
        sa.Column("latitude_deg", sa.Double),
        sa.Column("longitude_deg", sa.Double),
        sa.Column("bait", sa.String),
        sa.Column("camera", sa.String),
        sa.Column("contact", sa.String, sa.ForeignKey("contacts.name", name="stations_contact")),
        sa.Column("first_phase", sa.String, nullable=False),
        sa.Column("enrolled_at", sa.BigInteger),
        sa.Column("edition", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("site", "name"),
    )


def _service() -> None:
    op.create_table(
        "service",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("site", sa.String, nullable=False),
        sa.Column("station", sa.String, nullable=False),
        sa.Column("act", sa.String, nullable=False),
        sa.Column("happened_at", sa.BigInteger, nullable=False),
        sa.Column("done_by", sa.String, nullable=False),
        sa.Column("logged_at", sa.BigInteger, nullable=False),
        sa.Column("mass_g", sa.Double),
        sa.Column("weather", sa.String),
        sa.Column("non_targets", sa.String),
        sa.Column("incident", sa.String),
        sa.Column("note", sa.String),
        sa.Column("photo", sa.String),
        sa.Column("latitude_deg", sa.Double),
        sa.Column("longitude_deg", sa.Double),
        sa.Column("details", sa.String, nullable=False),
        sa.Column("corrects", sa.Integer, sa.ForeignKey("service.id", name="service_corrected")),
        sa.ForeignKeyConstraint(["site", "station"], ["stations.site", "stations.name"], name="service_station"),
        sa.UniqueConstraint("corrects", name="service_corrects"),
    )
    op.create_index("service_of_station", "service", ["site", "station"])
