from typing import TYPE_CHECKING

import pytest

import parts
from swapbell_enclosure.parameters import Parameters

if TYPE_CHECKING:
    from swapbell_enclosure.assembly import Assembly


@pytest.fixture(scope="session")
def default_assembly() -> "Assembly":
    """Return the default design's parts, made once."""
    parts.need("build123d")
    from swapbell_enclosure.assembly import assemble

    return assemble(Parameters())
