import ast
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import parts

HOME = parts.CHECKOUT
ROOMS = ("models", "device", "host", "enclosure")
# A module that one can keep in mind: the design's upper limit of 250 lines with some air.
MODULE_MAX_LINES = 300
# A path that only one machine has, or the name of a registry's host. In pieces, so that this file does not match.
PRIVATE = re.compile(
    r"(?<![\w.])(/" + r"root/|/" + r"work/|/" + r"tmp/\w|/" + r"home/(?!visitor\b)|/" + r"Users/)"
    r"|" + r"python" + r"hosted|py" + r"pi\.org|deb\.deb" + r"ian"
)
# Which modules may import which library of the outside world, wherever in the module the import stands.
DOORS = {
    "build123d": ("swapbell_enclosure",),
    "trimesh": ("swapbell_enclosure",),
    "cv2": ("swapbell_device",),
    "picamera2": ("swapbell_device.camera",),
    "sqlite3": ("swapbell_device.spooling.spool",),
    "paho": (
        "swapbell_device.linking.link",
        "swapbell_host.wire.line",
        "swapbell_host.wire.signing",
        "swapbell_host.auditing.caller",
        "swapbell_host.wire.subscriber",
        "swapbell_host.rehearsal",
    ),
    "sqlalchemy": ("swapbell_host",),
    "alembic": ("swapbell_host.books.store", "swapbell_host.books.migrations"),
    "apprise": ("swapbell_host.alerting.channel",),
    "pyarrow": ("swapbell_host.opendata.parquetfile",),
    "reportlab": ("swapbell_host.sheets", "swapbell_device.calibrating.paper"),
    "starlette": ("swapbell_host.page",),
    "uvicorn": ("swapbell_host.page.serving.server", "swapbell_host.page.serving.connection"),
    "jinja2": ("swapbell_host.page.serving.drawing",),
    "http": ("swapbell_device.calibrating.preview", "swapbell_host.page.serving"),
    "cryptography": ("swapbell_host.kit.authority",),
    "argon2": ("swapbell_host.passwords",),
    "matplotlib": (
        "swapbell_host.forecasting.picture",
        "swapbell_host.rehearsal.picture",
        "swapbell_enclosure.gallery",
        "swapbell_enclosure.paper",
    ),
}


@cache
def pyproject() -> dict[str, Any]:
    return tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))


def modules() -> list[Path]:
    return sorted(path for room in ROOMS for path in (HOME / room).rglob("*.py"))


def own_files() -> Iterator[Path]:
    """Yield the committed files; where git cannot tell which those are, all that lie where they belong."""
    git = shutil.which("git")
    told = subprocess.run([git, "ls-files", "-z"], cwd=HOME, capture_output=True, check=False) if git else None
    if told is not None and told.returncode == 0:
        named = (HOME / name for name in told.stdout.decode("utf-8").split("\0") if name)
        yield from (path for path in named if path.is_file())
        return
    for top in (*ROOMS, "tests", "docs", ".ci"):
        yield from (path for path in (HOME / top).rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    yield from (path for path in HOME.iterdir() if path.is_file() and path.name != ".git")


def texts() -> Iterator[tuple[Path, str]]:
    for path in own_files():
        raw = path.read_bytes()
        if b"\0" not in raw:
            yield path, raw.decode("utf-8")


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(HOME).with_suffix("").parts[1:]).removesuffix(".__init__")


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module or ""


def importers_of(package: str) -> list[str]:
    return [dotted(path) for path in modules() if package in {name.partition(".")[0] for name in imported(path)}]


def test_the_device_needs_no_part_of_opencv_that_apts_lacks() -> None:
    probe = (
        "import sys, importlib, cv2; del cv2.typing; sys.modules['cv2.typing'] = None\n"
        "for name in sys.argv[1:]: importlib.import_module(name)"
    )
    names = [dotted(path) for path in modules() if dotted(path).startswith("swapbell_device")]
    subprocess.run([sys.executable, "-c", probe, *names], check=True)


def test_no_module_is_longer_than_one_can_keep_in_mind() -> None:
    lengths = {dotted(path): len(path.read_text(encoding="utf-8").splitlines()) for path in modules()}
    assert {name: lines for name, lines in lengths.items() if lines > MODULE_MAX_LINES} == {}


def test_no_file_names_a_place_that_only_one_machine_has() -> None:
    found = {str(path.relative_to(HOME)): hit[0] for path, text in texts() if (hit := PRIVATE.search(text))}
    assert found == {}


def test_device_and_host_meet_only_as_bytes() -> None:
    assert [name for name in importers_of("swapbell_host") if name.startswith("swapbell_device")] == []
    assert [name for name in importers_of("swapbell_device") if name.startswith("swapbell_host")] == []


def test_models_stand_on_no_other_room() -> None:
    above = {name for room in ROOMS[1:] for name in importers_of(f"swapbell_{room}")}
    assert [name for name in above if name.startswith("swapbell_models")] == []


def test_nothing_imports_the_enclosure() -> None:
    assert [name for name in importers_of("swapbell_enclosure") if not name.startswith("swapbell_enclosure")] == []


@pytest.mark.parametrize(("library", "doors"), DOORS.items())
def test_the_outside_world_comes_in_by_its_own_door(library: str, doors: tuple[str, ...]) -> None:
    assert [name for name in importers_of(library) if not name.startswith(doors)] == []


def records() -> list[Path]:
    return sorted(path for room in ROOMS for path in (HOME / room / "decisions").glob("*.md"))


def test_every_decision_is_listed_in_the_guide() -> None:
    guide = (HOME / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert [path.name for path in records() if f"({path.relative_to(HOME)})" not in guide] == []


def test_decisions_are_numbered_within_their_room() -> None:
    numbers = [(path.parent.parent.name, path.name[:4]) for path in records()]
    assert len(numbers) == len(set(numbers))
    assert all(number.isdigit() for _, number in numbers)


def test_every_room_says_what_it_is() -> None:
    assert [room for room in ROOMS if not (HOME / room / "README.md").is_file()] == []


def test_every_link_between_our_pages_leads_somewhere() -> None:
    pages = [(path, text) for path, text in texts() if path.suffix == ".md"]
    links = [(page, link) for page, text in pages for link in re.findall(r"\]\(([^)#:\s]+)", text)]
    assert [(page.name, link) for page, link in links if not (page.parent / link).exists()] == []


@pytest.mark.parametrize(
    ("lock", "extras"),
    [
        ("try", ["device", "host"]),
        ("test", ["device", "host", "test"]),
        ("lint", ["device", "host", "enclosure", "test", "lint"]),
    ],
)
def test_every_dependency_is_pinned(lock: str, extras: list[str]) -> None:
    project = pyproject()["project"]
    asked = project["dependencies"] + [each for extra in extras for each in project["optional-dependencies"][extra]]
    pins = re.findall(
        r"^([\w.-]+)==", (HOME / ".ci" / "lock" / f"{lock}.txt").read_text(encoding="utf-8"), re.MULTILINE
    )
    missing = {canonicalize_name(Requirement(each).name) for each in asked} - {canonicalize_name(pin) for pin in pins}
    assert missing == set(), "run .ci/relock"
