"""Mutation testing: the code is changed in one place at a time, and some test should fail.

    python tests/benchmarks/mutants.py straightedge --most 30 --seed 1
    python tests/benchmarks/mutants.py all

Each mutant is a copy of the package with one operator, sign, bound or constant changed; the tests of its module run on
it until one fails. What survives is printed with its line: a test is missing there, or the change makes no difference.
"""

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = {
    "lengths": ["test_lengths.py"],
    "measures/bars": ["measures/test_worst_placements.py", "measures/test_straightedge.py"],
    "measures/straightedge": ["measures/test_worst_placements.py", "measures/test_straightedge.py"],
    "measures/fnumbers": ["measures/test_fnumbers.py", "published/test_fnumbers.py"],
    "measures/planes": ["measures/test_worst_placements.py", "measures/test_planes.py", "published/test_planes.py"],
    "survey/levelling": ["survey/test_levelling.py", "published/test_levelling.py"],
    "limits/verdict": ["limits/test_sampling_error.py", "limits/test_decision_rule.py", "limits/test_verdict.py"],
    "surface/likely": ["surface/test_likely.py"],
    "surface/kriging": ["surface/test_kriging.py"],
    "planning/least_work": ["planning/test_refusals.py", "planning/test_least_work.py"],
    "files": ["test_whole_files.py"],
    "saved": ["test_saved.py"],
}
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
    """Each node that can be changed, with what to do to it."""
    annotated = {id(one) for node in ast.walk(tree) for one in _annotations(node)}
    for node in ast.walk(tree):
        if id(node) in annotated:
            continue
        if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            yield node, "compare"
        elif isinstance(node, (ast.BinOp, ast.BoolOp)) and type(node.op) in SWAPS:
            yield node, "operator"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub, ast.Invert)):
            yield node, "sign"
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            yield node, "number"
        elif isinstance(node, ast.Raise):
            yield node, "refusal"


def _annotations(node):
    for name in ("annotation", "returns"):
        part = getattr(node, name, None)
        if part is not None:
            yield from ast.walk(part)


def mutant(tree, number):
    """The tree with its change of this number, the line of it, and how it reads then."""
    out = copy.deepcopy(tree)
    node, kind = list(places(out))[number]
    line, before = node.lineno, ast.unparse(node)
    if kind == "compare":
        node.ops[0] = SWAPS[type(node.ops[0])]()
    elif kind == "operator":
        node.op = SWAPS[type(node.op)]()
    elif kind == "number":
        node.value = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + (node.value == 0)
    changed = node
    if kind in ("sign", "refusal"):
        changed = node.operand if kind == "sign" else ast.copy_location(ast.Pass(), node)
        out = _Replace(node, changed).visit(out)
    return ast.unparse(ast.fix_missing_locations(out)), line, f"{before}  ->  {ast.unparse(changed)}"


class _Replace(ast.NodeTransformer):
    def __init__(self, old, new):
        self.old, self.new = old, new

    def visit(self, node):
        return self.new if node is self.old else self.generic_visit(node)


def run(kit, tests, seconds):
    """Whether all tests pass on the package in this folder."""
    there = [str(ROOT / "tests" / name) for name in tests if (ROOT / "tests" / name).exists()]
    line = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *there]
    environment = {**os.environ, "PYTHONPATH": str(kit), "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(line, cwd=ROOT, env=environment, capture_output=True, timeout=seconds)
    except subprocess.TimeoutExpired:
        return False  # a loop that never ends is seen
    return done.returncode == 0


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("module", help=f"one of {', '.join(TESTS)}; or all")
    parser.add_argument("--most", type=int, default=10**6, help="mutants of a module, at random")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--lines", help="from which line to which, such as 40-90")
    options = parser.parse_args()
    named = [name for name in TESTS if options.module == "all" or options.module in (name, name.rpartition("/")[2])]
    for name in named:
        source = ROOT / "kit/flatness" / f"{name}.py"
        tree = ast.parse(source.read_text(encoding="utf-8"))
        low, high = map(int, options.lines.split("-")) if options.lines else (0, 10**9)
        numbers = [k for k, (node, _) in enumerate(places(tree)) if low <= node.lineno <= high]
        numbers = random.Random(options.seed).sample(numbers, min(options.most, len(numbers)))
        with tempfile.TemporaryDirectory() as folder:
            kit = Path(folder) / "kit"
            shutil.copytree(ROOT / "kit", kit, ignore=shutil.ignore_patterns("__pycache__"))
            began = time.monotonic()
            if not run(kit, TESTS[name], 900):
                print(f"{name}: its tests fail without any change")
                continue
            seconds = 3 * (time.monotonic() - began) + 30
            killed = 0
            for number in sorted(numbers):
                text, line, told = mutant(tree, number)
                (kit / "flatness" / f"{name}.py").write_text(text, encoding="utf-8")
                if run(kit, TESTS[name], seconds):
                    print(f"    survives: {name}.py:{line}: {told[:100]}", flush=True)
                else:
                    killed += 1
            print(f"{name}: {killed} of {len(numbers)} killed", flush=True)


if __name__ == "__main__":
    main()
