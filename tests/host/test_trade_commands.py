"""The trade's commands as a person types them: an answer on stdout, or one line on stderr and exit 2."""

import json
import os
import subprocess
import sys

import pytest

DOSE = (
    *("dose", "--bait", "10 x 85 g", "--target", "0.1 g/L", "--product", "invented concentrate"),
    *("--strength", "100 g/L", "--authority", "permit 12", "--until", "2026-09-30"),
    *("--covers", "100 g/L", "--directs", "0.1 g/L", "--at-most", "0.1 g/L", "--on", "2026-01-15"),
)
SEASON = ("season", "--hemisphere", "south", "--latitude", "-43.5", "--longitude", "172.6", "--on", "2026-01-15")
OPTICS = ("optics", "--camera", "imx219", "--lane-width", "40 mm", "--speed", "0.1 m/s", "--body-width", "4 mm")


def run(*words: str) -> "subprocess.CompletedProcess[str]":
    """Run the host's command line in a process of its own."""
    program = (sys.executable, "-c", "from swapbell_host.main import run; run()")
    return subprocess.run([*program, *words], capture_output=True, text=True, check=False, env=dict(os.environ))


@pytest.mark.parametrize("words", [DOSE, SEASON, OPTICS], ids=lambda words: words[0])
def test_an_answer_goes_to_stdout_with_cautions_and_sources(words: tuple[str, ...]) -> None:
    done = run(*words)
    assert (done.returncode, done.stderr) == (0, "")
    assert "\nCautions:\n- " in done.stdout
    assert "\nSources:\n- " in done.stdout


@pytest.mark.parametrize("words", [DOSE, SEASON, OPTICS], ids=lambda words: words[0])
def test_a_script_gets_one_json_object_with_cautions(words: tuple[str, ...]) -> None:
    told = json.loads(run(*words, "--json").stdout)
    assert set(told) == {"figures", "warnings", "checks", "cautions"}
    assert told["cautions"]
    assert all(set(each) == {"value", "unit", "words", "source"} for each in told["figures"].values())


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((*DOSE, "--on", "2026-10-01"), "permit 12 ended on 2026-09-30: no dose for 2026-10-01 without a valid one"),
        ((*DOSE, "--until", "soon"), "--until must be a day as in 2026-01-15, not 'soon'"),
        ((*DOSE, "--on", "2026-01-15T09:00"), "--on must be a day as in 2026-01-15, not '2026-01-15T09:00'"),
        ((*SEASON, "--latitude", "43.5"), "--latitude must be -90 to 0 in the south, not 43.5: check its sign"),
        ((*SEASON, "--at", "noon"), "--at must be a moment as in 2026-01-15T09:00+13:00, not 'noon'"),
        (
            (*SEASON, "--at", "2026-01-15T09:00"),
            "--at must say its offset from UTC, as in 2026-01-15T09:00:00+00:00, not 2026-01-15T09:00:00",
        ),
        ((*DOSE, "--authority", ""), "--authority must not be empty"),
        ((*DOSE, "--product", ""), "--product must not be empty"),
        (
            (*DOSE, "--directs", "1 g/L"),
            "--at-most 0.1 g/L (100 mg/kg) must not be below what it directs, 1 g/L (1000 mg/kg)",
        ),
        ((*SEASON, "--on", "0001-01-01"), "year of --on must be from 1901 to 2099 AD, not 1"),
        ((*OPTICS, "--camera", "0x800 at 120 fps of 3 um"), "--camera: its width must be a number above 0 px, not 0"),
        ((*OPTICS, "--tilt", "nan"), "--tilt must be from 0 to 45 degrees, not nan"),
    ],
)
def test_a_refusal_is_one_line_and_exit_2(words: tuple[str, ...], told: str) -> None:
    done = run(*words)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", f"{told}\n")


def test_without_a_day_today_is_meant() -> None:
    assert run(*DOSE[:-2], "--until", "2000-01-01").stderr.startswith("permit 12 ended on 2000-01-01: no dose for 20")
