"""How often light is said to show what is not there, and to show nothing where a wave is: walls of known truth.

``python tests/benchmarks/light.py --walls 100``: walls of 16 ft x 8 ft, flat or with one sine along x of 4 ft, read
with errors on a grid, and what is said of light along x and along y, seen from 5 ft: up to which angle it shows
(proved), and from which on it shows nothing (safe). Of the sine the closed form is known: tan a = 2 pi A / L over the
least contrast that is seen (Barten 1999).
"""

from __future__ import annotations

import argparse
import math

import numpy as np

from flatness.light.eye import contrast_sensitivity, cycles_per_degree
from flatness.light.lamps import Daylight
from flatness.light.waves import angle_of, lattice_of, shortest_wave, shown
from flatness.surface.likely import likely_surface
from flatness.survey.readings import make_survey

FT, IN, EYE = 304.8, 25.4, 1524.0
WAVE = 4 * FT


def told(height: float, step: float, error: float, stated: bool, seed: int) -> tuple[float, float]:
    """The angle up to which light is said to show, and from which on to show nothing [degrees], of one wall."""
    rng = np.random.default_rng(seed)
    x, y = map(np.ravel, np.meshgrid(np.arange(0, 16 * FT + 1, step), np.arange(0, 8 * FT + 1, step)))
    true = height * np.sin(2 * np.pi * x / WAVE + rng.uniform(0, 2 * np.pi))
    z = true + rng.normal(0, error, len(x))
    likely = likely_surface(make_survey(x, y, z, surface="wall", accuracy=error if stated else None))
    drawn, lattice = likely.draw(60, seed), lattice_of(likely)
    found = [
        shown(drawn, lattice, Daylight(angle=45, heading=way), EYE, shortest=shortest_wave(x, y, way))
        for way in (0.0, 90.0)
    ]
    return angle_of(max(one.proved for one in found)), angle_of(max(one.most() for one in found))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--walls", type=int, default=100)
    walls = options.parse_args().walls
    print("| wall | read | error | true | proved: median, most | safe: median | proved too high | safe too low |")
    print("|---|---|---|---|---|---|---|---|")
    for height in (0.0, 1.5):
        seen = float(contrast_sensitivity(cycles_per_degree(WAVE, EYE)))
        true = math.degrees(math.atan(2 * math.pi * height / WAVE * seen))
        for step, error, stated in ((24, IN / 32, True), (16, IN / 32, True), (16, IN / 32, False), (8, 0.2, True)):
            angles = np.array([told(height, step * IN, error, stated, seed) for seed in range(walls)])
            proved, safe = angles.T
            # half a degree: a lower light than any that a wall is lit by
            wrong, missed = np.mean(proved > max(true, 0.5)), np.mean(safe < true)
            print(
                f"| {'flat' if not height else f'sine {height:g} mm'} | {step} in | {error:.2f} mm"
                f"{'' if stated else ', not stated'} | {true:.1f} | {np.median(proved):.1f}, {proved.max():.1f} | "
                f"{np.median(safe):.1f} | {wrong:.0%} | {missed:.0%} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
