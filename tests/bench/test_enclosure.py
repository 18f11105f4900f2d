"""How much processor time the default design takes, from its parameters to all of its files."""

import resource
import subprocess
import sys
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

# What a person who tries parameters waits for, at most.
BUILD_MAX_CPU_S = 60.0


@pytest.mark.part("build123d")
def test_build(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    program = str(Path(sys.executable).parent / "swapbell-enclosure")

    def build() -> None:
        subprocess.run([program, "build", "--out", "lane"], cwd=tmp_path, check=True, capture_output=True)

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    benchmark.pedantic(build, rounds=1)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    benchmark.extra_info.update(cpu_s=spent_s)
    sys.stdout.write(f"\nswapbell-enclosure build: {spent_s:.0f} s of CPU\n")
    assert spent_s < BUILD_MAX_CPU_S
