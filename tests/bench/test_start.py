"""How much processor time each command takes to say its help, as a ratio to a Python that does nothing."""

import resource
import subprocess
import sys
from statistics import median

import pytest
from house.command_tree import Command, commands, program
from pytest_benchmark.fixture import BenchmarkFixture

# The limit that we set ourselves: slower than that, a person notices.
HELP_MAX_CPU_S = 0.4
ROUNDS = 5


def cpu_s(*words: str) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@pytest.mark.parametrize("command", commands(), ids=str)
def test_help(command: Command, benchmark: BenchmarkFixture) -> None:
    words = [*program(command), "--help"]
    benchmark.pedantic(cpu_s, args=words, rounds=ROUNDS)
    spent_s = median(cpu_s(*words) for _ in range(ROUNDS))
    nothing_s = median(cpu_s(sys.executable, "-c", "pass") for _ in range(ROUNDS))
    benchmark.extra_info.update(cpu_s=spent_s, ratio_to_bare_python=spent_s / nothing_s)
    sys.stdout.write(f"\n{command} --help: {spent_s:.2f} s of CPU, {spent_s / nothing_s:.1f} times a bare Python\n")
    assert spent_s < HELP_MAX_CPU_S
