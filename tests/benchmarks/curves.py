"""How often flats and kinks in a curved wall are found, and nothing is told of a true one: a table.

``python tests/benchmarks/curves.py --walls 200``: an arc is built with one fault somewhere, read every 6 in with errors
of 1/32 in (one standard deviation), and held against its curve. Found: a fault of that kind within 12 in of its place.
"""

from __future__ import annotations

import argparse
import math

import numpy as np

from flatness.curves.making import make_arc
from flatness.curves.templates import fairness

IN, STEP, ERROR = 25.4, 152.4, 25.4 / 32


def wall(kind: str, size: float, radius: float, s: np.ndarray, place: float) -> np.ndarray:
    """Deviation to the left [mm] of a flat so many mm long, or of a kink of so many degrees between straight runs."""
    if kind == "flat":
        return np.maximum(0, (size / 2) ** 2 - (s - place) ** 2) / (2 * radius)
    if kind == "kink":  # a corner that fades out 4 ft to either side, as boards do
        reach = 48 * IN
        return math.radians(size) / 2 * reach * np.maximum(0, 1 - np.abs(s - place) / reach)
    return np.zeros(len(s))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walls", type=int, default=200)
    count = parser.parse_args().walls
    rng = np.random.default_rng(0)
    print("| radius | fault | found | something else told |\n|---|---|---|---|")
    for radius in (36 * IN, 72 * IN, 168 * IN):
        arc = make_arc(radius=radius, first=0.0, last=min(340.0, math.degrees(20 * 304.8 / radius)))
        s = np.arange(0, arc.length, STEP)
        faults = [
            ("none", 0.0),
            *(("flat", n * IN) for n in (12, 18, 24, 36)),
            *(("kink", n) for n in (1.0, 2.0, 3.0, 4.0)),
        ]
        for kind, size in faults:
            found = others = 0
            for _ in range(count):
                place = rng.uniform(0.25, 0.75) * arc.length
                z = wall(kind, size, radius, s, place) + rng.normal(0, ERROR, len(s))
                told = fairness(z, s, arc, ERROR)
                told = told[told["finding"] != ""]
                near = (told["along_mm"] - place).abs() <= 12 * IN
                found += bool((near & (told["finding"] == kind)).any())
                beside = (told["along_mm"] - place).abs() <= 60 * IN if kind != "none" else near & False
                others += bool((~beside).any())
            name = (
                "none"
                if kind == "none"
                else f"flat of {size / IN:g} in"
                if kind == "flat"
                else f"kink of {size:g} degrees"
            )
            hit = "-" if kind == "none" else f"{100 * found / count:.0f} %"
            print(f"| {radius / IN / 12:g} ft | {name} | {hit} | {100 * others / count:.0f} % |")


if __name__ == "__main__":
    main()
