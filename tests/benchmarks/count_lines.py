"""Code lines of the kit: without docstrings, comments and blank lines, a folder a row.

Run: python tests/benchmarks/count_lines.py [--modules] [FOLDER]
"""

import argparse
import ast
import io
import tokenize
from collections import defaultdict
from pathlib import Path

KIT = Path(__file__).parents[2] / "kit" / "flatness"
NO_CODE = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}


def code_lines(source: str) -> int:
    """How many lines of a module hold code: a string that stands as a statement by itself is none."""
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in NO_CODE:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            lines.difference_update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return len(lines)


def main() -> None:
    """Print modules, code lines and all lines of each folder, the most code first."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("folder", type=Path, nargs="?", default=KIT)
    options.add_argument("--modules", action="store_true", help="a row a module")
    asked = options.parse_args()
    rows: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for path in sorted(asked.folder.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        part = path.relative_to(asked.folder)
        name = part.as_posix() if asked.modules else (part.parts[0] + "/" if len(part.parts) > 1 else ".")
        for sums in (rows[name], rows["all"]):
            sums[0] += 1
            sums[1] += code_lines(source)
            sums[2] += len(source.splitlines())
    print(f"{'':40} {'modules':>8} {'code':>8} {'lines':>8}")
    for name, (modules, code, lines) in sorted(rows.items(), key=lambda row: (row[0] == "all", -row[1][1])):
        print(f"{name:40} {modules:8} {code:8} {lines:8}")


if __name__ == "__main__":
    main()
