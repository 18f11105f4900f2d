from datetime import UTC, datetime, timedelta

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import create_engine

import swapbell_host.books.accounttables  # noqa: F401 - its tables join METADATA
from swapbell_host.books.schema import METADATA, REVISIONS, from_us, to_us
from swapbell_host.books.store import ledger_url


def test_the_revisions_lead_to_the_tables_that_the_code_knows(ledger_name: str) -> None:
    engine = create_engine(ledger_url(ledger_name))
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
    engine.dispose()


def test_every_revision_is_known_to_the_code() -> None:
    config = Config()
    config.set_main_option("script_location", "swapbell_host.books:migrations")
    scripts = ScriptDirectory.from_config(config).walk_revisions()
    assert tuple(reversed([script.revision for script in scripts])) == REVISIONS


@given(st.datetimes(timezones=st.just(UTC)))
def test_a_moment_is_stored_exactly(moment: datetime) -> None:
    assert from_us(to_us(moment)) == moment


@pytest.mark.parametrize("seconds", [0.0, 0.000001, 1.5])
def test_moments_count_from_1970(seconds: float) -> None:
    assert to_us(datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)) == round(seconds * 1e6)
