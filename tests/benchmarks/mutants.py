"""Mutation testing: the code is changed in one place at a time, and some test should fail.

    python tests/benchmarks/mutants.py straightedge --most 30 --seed 1
    nice -n 15 python tests/benchmarks/mutants.py all

One operator, sign, bound or constant is changed, a `not` or a refusal left out; the tests of the module run until one
fails, in a process forked off one that has loaded the libraries. Only tests that go through the changed function are
run, those that failed before first, then the quick ones. What survives is printed with its line: a test is missing
there, or the change makes no difference. Of those that make none `equivalent_mutants.toml` says why; they are not run.
"""

import argparse
import ast
import contextlib
import copy
import importlib.abc
import importlib.util
import json
import os
import random
import select
import signal
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
KIT = ROOT / "kit/flatness"
TESTS = {
    "lengths": ["test_lengths.py"],
    "measures/bars": [
        "measures/test_worst_placements.py",
        "measures/test_straightedge.py",
        "planning/test_least_work.py",
    ],
    "measures/straightedge": [
        "measures/test_worst_placements.py",
        "measures/test_straightedge.py",
        "measures/test_station_lines.py",
    ],
    "measures/fnumbers": [
        "measures/test_fnumbers.py",
        "published/test_fnumbers.py",
        "published/test_second_versions.py",
    ],
    "measures/planes": ["measures/test_worst_placements.py", "measures/test_planes.py", "published/test_planes.py"],
    "survey/levelling": [
        "survey/test_levelling.py",
        "published/test_levelling.py",
        "published/test_second_versions.py",
    ],
    "survey/least_squares": [
        "survey/test_levelling.py",
        "published/test_levelling.py",
        "published/test_second_versions.py",
        "published/test_nist_digits.py",
        "survey/test_least_squares.py",
    ],
    "limits/verdict": [
        "limits/test_judged.py",
        "limits/test_sampling_error.py",
        "limits/test_decision_rule.py",
        "limits/test_verdict.py",
        "limits/test_spot_checks.py",
    ],
    "surface/likely": ["surface/test_likely.py"],
    "surface/kriging": ["surface/test_kriging_plainly.py", "surface/test_kriging.py"],
    "planning/least_work": ["planning/test_refusals.py", "planning/test_least_work.py"],
    "files": ["test_whole_files.py"],
    "saved": ["test_saved.py"],
}
LOADED = ("numpy", "scipy.optimize", "scipy.spatial", "scipy.sparse", "pandas", "shapely", "highspy", "hypothesis")
SWAPS = {
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
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


def places(tree):
    """Each node that can be changed, what to do to it, the node that says so best, and the function about it."""
    yield from _places(tree, tree, "")


def _places(node, about, function):
    if isinstance(node, (ast.Compare, ast.BinOp, ast.BoolOp)):
        operators = node.ops if isinstance(node, ast.Compare) else [node.op]
        yield from ((node, k, node, function) for k, operator in enumerate(operators) if type(operator) in SWAPS)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub, ast.Invert)):
        yield node, "sign", about, function
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield node, "number", about, function
    elif isinstance(node, ast.Raise):
        yield node, "refusal", node, function
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        function = f"{function}.{node.name}".lstrip(".")
    # a statement that holds others says too much of a change in one of its own expressions
    told = about if isinstance(node, (ast.Slice, ast.keyword, ast.UnaryOp, ast.Tuple)) else node
    for name, value in ast.iter_fields(node):
        if name not in ("annotation", "returns"):
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    small = not isinstance(told, (ast.stmt, ast.Module)) or isinstance(told, (ast.Return, ast.Assign))
                    yield from _places(child, told if small or isinstance(child, ast.stmt) else child, function)


def mutants(tree):
    """(number, line, function, change as text) of each mutant; the same change again in a function is numbered."""
    seen = Counter()
    for number in range(sum(1 for _ in places(tree))):
        _, line, function, change = mutant(tree, number)
        seen[function, change] += 1
        again = seen[function, change]
        yield number, line, function, change if again == 1 else f"{change}  (#{again})"


def mutant(tree, number):
    """The tree with its change of this number, the line of it, the function that it lies in, and how it reads then."""
    out = copy.deepcopy(tree)
    node, kind, about, function = list(places(out))[number]
    line, before = node.lineno, ast.unparse(about)
    if kind == "number":
        node.value = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + (node.value == 0)
    elif isinstance(kind, int):
        holder = node.ops if isinstance(node, ast.Compare) else [node.op]
        holder[kind] = SWAPS[type(holder[kind])]()
        if not isinstance(node, ast.Compare):
            node.op = holder[0]
    else:
        changed = node.operand if kind == "sign" else ast.copy_location(ast.Pass(), node)
        out = _Replace(node, changed).visit(out)
        about = changed if about is node else about
    return ast.fix_missing_locations(out), line, function, f"{_short(before)}  ->  {_short(ast.unparse(about))}"


def _short(text):
    return text if len(text) < 120 else f"{text[:117]}..."


class _Replace(ast.NodeTransformer):
    def __init__(self, old, new):
        self.old, self.new = old, new

    def visit(self, node):
        return self.new if node is self.old else self.generic_visit(node)


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module of the kit from a changed tree, wherever it is imported."""

    def __init__(self, module, tree):
        self.name, self.path, self.tree = f"flatness.{module.replace('/', '.')}", str(KIT / f"{module}.py"), tree

    def find_spec(self, name, path=None, target=None):
        if name == self.name:
            return importlib.util.spec_from_file_location(name, self.path, loader=self)
        return None

    def create_module(self, spec):
        return None

    def exec_module(self, module):
        exec(compile(self.tree, self.path, "exec"), module.__dict__)


class Order:
    """Chooses and sorts the tests; tells through a pipe how long each took, through which functions, which failed."""

    def __init__(self, first, module, pipe, traced):
        self.first, self.path, self.pipe, self.traced = first, str(KIT / f"{module}.py"), pipe, traced
        self.called, self.begun = set(), 0.0

    def pytest_collection_modifyitems(self, items):
        place = {name: k for k, name in enumerate(self.first)}
        if place:
            items[:] = sorted((item for item in items if item.nodeid in place), key=lambda item: place[item.nodeid])

    def pytest_runtest_setup(self, item):
        self.begun = sum(os.times()[:4])
        if self.traced:
            self.called = set()
            sys.setprofile(self._call)

    def _call(self, frame, event, argument):
        if event == "call" and frame.f_code.co_filename == self.path:
            self.called.add(frame.f_code.co_firstlineno)

    def pytest_runtest_logreport(self, report):
        if report.when == "call" or report.failed:
            sys.setprofile(None)
            what = [report.nodeid, sum(os.times()[:4]) - self.begun, report.failed, sorted(self.called)]
            self.pipe.write(json.dumps(what) + "\n")
            self.pipe.flush()


def run(module, tree, tests, first=(), seconds=900.0, traced=False):
    """What each test gave: name, seconds of processor time, whether it failed, lines of the functions called."""
    import pytest

    receive, send = os.pipe()
    child = os.fork()
    if not child:
        os.close(receive)
        os.setsid()
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        sys.meta_path.insert(0, Changed(module, tree))
        there = [str(ROOT / "tests" / name) for name in tests if (ROOT / "tests" / name).exists()]
        options = ["-q", "-x", "-p", "no:cacheprovider", "--assert=plain", "--rootdir", ROOT]
        code = 1
        with contextlib.suppress(BaseException), os.fdopen(send, "w") as pipe:
            code = int(pytest.main([*map(str, options), *there], plugins=[Order(first, module, pipe, traced)]))
            if code:
                pipe.write(json.dumps(["it fails to load, or a warning", 0.0, True, []]) + "\n")
        os._exit(code)
    os.close(send)
    text, until = b"", time.monotonic() + seconds
    while True:
        if not select.select([receive], [], [], max(0.0, until - time.monotonic()))[0]:
            os.killpg(child, signal.SIGKILL)
            text += json.dumps(["it never ends", seconds, True, []]).encode() + b"\n"
            break
        more = os.read(receive, 1 << 16)
        if not more:
            break
        text += more
    os.waitpid(child, 0)
    os.close(receive)
    return [json.loads(line) for line in text.decode().splitlines() if line.endswith("]")]


def function_starts(tree):
    """Of each line the first lines of the functions about it."""
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            begin = min([node.lineno, *(one.lineno for one in node.decorator_list)])
            for line in range(begin, node.end_lineno + 1):
                found.setdefault(line, set()).add(begin)
    return found


def judge(module, options):
    """Runs the mutants of a module and prints those that survive; (tried, killed, equivalent, left)."""
    tree = ast.parse((KIT / f"{module}.py").read_text(encoding="utf-8"))
    low, high = map(int, options.lines.split("-")) if options.lines else (0, 10**9)
    known = {(one["in"], change) for one in equivalents().get(module, []) for change in one["changes"]}
    everything = list(mutants(tree))
    for stale in known - {(function, change) for _, _, function, change in everything}:
        print(f"    no longer there: {module}: {stale}")
    chosen = [one for one in everything if low <= one[1] <= high]
    chosen = sorted(random.Random(options.seed).sample(chosen, min(options.most, len(chosen))))
    begun = time.monotonic()
    baseline = run(module, tree, TESTS[module], traced=True)
    limit = 5 * (time.monotonic() - begun) + 30
    if not baseline or any(failed for _, _, failed, _ in baseline):
        print(f"{module}: its tests fail without any change: {[name for name, _, failed, _ in baseline if failed]}")
        return 0, 0, 0, 0
    starts, kills = function_starts(tree), Counter()
    killed = equivalent = 0
    for number, line, function, change in chosen:
        if (function, change) in known and not options.equivalent:
            equivalent += 1
            continue
        about = starts.get(line, set())
        quick = [test for test in baseline if test[1] <= options.slowest]
        through = [test for test in quick if about & set(test[3])] or quick
        first = sorted(through, key=lambda test: (-kills[function, test[0]], -kills[test[0]], test[1]))
        found = run(module, mutant(tree, number)[0], TESTS[module], [test[0] for test in first], limit)
        by = next((name for name, _, failed, _ in found if failed), None)
        if by is None:
            print(f"    survives: {module}.py:{line}: in {function or 'the module'}: {change}", flush=True)
        else:
            killed += 1
            kills.update([by, (function, by)])
            if options.killers:
                print(f"    killed by {by.rpartition('::')[2]}: {line}: {change}", flush=True)
    tried = len(chosen)
    left = tried - killed - equivalent
    share = 100 * killed / max(1, tried - equivalent)
    print(f"{module}: {tried} tried, {killed} killed, {equivalent} equivalent, {left} left: {share:.1f} %", flush=True)
    return tried, killed, equivalent, left


def equivalents():
    """Of each module the changes that make no difference, and why."""
    return tomllib.loads(Path(__file__).with_name("equivalent_mutants.toml").read_text(encoding="utf-8"))


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("modules", nargs="+", help=f"of {', '.join(TESTS)}; or all")
    parser.add_argument("--most", type=int, default=10**6, help="mutants of a module, at random")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--lines", help="from which line to which, such as 40-90")
    parser.add_argument(
        "--slowest", type=float, default=1e9, help="seconds of processor time; slower tests are left out"
    )
    parser.add_argument("--killers", action="store_true", help="say which test fails first for each")
    parser.add_argument("--equivalent", action="store_true", help="run those that are listed as equivalent too")
    options = parser.parse_args()
    os.environ.update(OMP_NUM_THREADS="1", PYTEST_DISABLE_PLUGIN_AUTOLOAD="1")
    sys.dont_write_bytecode = True
    sys.path[:0] = [str(ROOT / "kit"), str(ROOT / "tests")]
    os.chdir(ROOT)
    for library in LOADED:
        importlib.import_module(library)
    # the same examples for each mutant, and none made smaller: that it fails is enough
    hypothesis = importlib.import_module("hypothesis")
    quick = {"derandomize": True, "database": None, "phases": [hypothesis.Phase.explicit, hypothesis.Phase.generate]}
    hypothesis.settings.register_profile("mutants", **quick)
    hypothesis.settings.load_profile("mutants")
    named = [name for name in TESTS if {"all", name, name.rpartition("/")[2]} & set(options.modules)]
    table = {name: judge(name, options) for name in named}
    print(f"\n{'module':24}{'tried':>8}{'killed':>8}{'equivalent':>12}{'left':>6}")
    for name, row in table.items():
        print(f"{name:24}{row[0]:8}{row[1]:8}{row[2]:12}{row[3]:6}")


if __name__ == "__main__":
    main()
