"""How often a comparison is right, simulated at length: false alarms, planted changes found, alignments within error.

    python tests/benchmarks/differences.py --rooms 60

Rooms as in ``tests/simulated_rooms.py``, readings good to 1/32 in.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import comparison_rooms as pairs
import simulated_rooms as rooms
from flatness.comparison.alignment import align_surveys
from flatness.comparison.both import estimate_both
from flatness.comparison.comparing import compare

GRIDS = {
    "2 ft, 2 ft": (pairs.grid(4), pairs.grid(4)),
    "2 ft, 3 ft": (pairs.grid(4), pairs.grid(6, 1)),
    "2 ft, 4 ft": (pairs.grid(4), pairs.grid(8)),
    "1 ft, 2 ft": (pairs.grid(2), pairs.grid(4)),
    "2 ft, scattered": (pairs.grid(4), pairs.scattered(90, 1)),
}


def false_alarms(count):
    print("| rooms | stations before, after | aligned | unchanged places that show change |\n|---|---|---|---|")
    for (kind, shape), (name, nodes) in itertools.product(rooms.KINDS.items(), GRIDS.items()):
        shares = {"none": [], "offset": []}
        for seed in range(count):
            height, _ = rooms.room(shape, seed)
            surveys = [pairs.read(height, n, [seed, day, len(kind)]) for day, n in enumerate(nodes)]
            for align, found in shares.items():
                found.append(compare(*surveys, align=align, spacing=304.8).share_changed)
        for align, found in shares.items():
            error = np.std(found) / np.sqrt(count)
            print(f"| {kind} | {name} | {align} | {100 * np.mean(found):.1f} +- {100 * error:.1f} % |")


def planted(count):
    print(
        "\n| stations before, after | patches of three errors found | of its places | height shown |\n|---|---|---|---|"
    )
    for name, half in (("2 ft, 2 ft", 762), ("2 ft, 3 ft", 1067)):
        hits, places, size = [], [], []
        for seed in range(count):
            rng = np.random.default_rng(seed)
            height, _ = rooms.room(list(rooms.KINDS.values())[seed % 3], seed)
            before = pairs.read(height, GRIDS[name][0], [seed, 1])
            unmoved = compare(before, pairs.read(height, GRIDS[name][1], [seed, 2]), align="none")
            most = 3 * float(np.nanmedian(unmoved.error))
            cx, cy = rng.uniform(1000, 3800), rng.uniform(1000, 5000)
            off = np.maximum(np.abs(pairs.GX - cx), np.abs(pairs.GY - cy))
            patch = most * np.clip((half + 152.4 - off) / 304.8, 0, 1)
            found = compare(before, pairs.read(height + patch, GRIDS[name][1], [seed, 2]), align="none")
            gx, gy = np.meshgrid(found.x, found.y)
            inside = np.maximum(np.abs(gx - cx), np.abs(gy - cy)) < half - 152.4
            hits.append((found.changed & inside & (found.difference > 0)).any())
            places.append(found.changed[inside].mean())
            size.append(np.nanmean(found.difference[inside]) / most)
        print(f"| {name} | {np.mean(hits):.1%} | {np.mean(places):.0%} | {np.mean(size):.0%} |")


def alignments(count):
    print("\n| stations | changed | way | offset within 1.96 errors | tilts | in doubt |\n|---|---|---|---|---|---|")
    for name, share, way in itertools.product(("2 ft, 2 ft", "2 ft, 3 ft"), (0.0, 0.3, 0.6), ("offset", "tilt")):
        off, doubt = [], []
        for seed in range(count):
            rng = np.random.default_rng([seed, int(10 * share)])
            height, _ = rooms.room(rooms.smooth, int(rng.integers(1_000_000)))
            offset, tilts = rng.normal(0, 20), rng.normal(0, 1, 2) * (way == "tilt")
            moved = height + pairs.changes(share, rng) + offset + (tilts[0] * pairs.GX + tilts[1] * pairs.GY) / 1000
            heights = zip((height, moved), GRIDS[name], strict=True)
            surveys = [pairs.read(h, nodes, [seed, day]) for day, (h, nodes) in enumerate(heights)]
            found = align_surveys(*surveys, estimate_both(*surveys, 304.8), way)
            misses = [found.offset - offset - (tilts[0] * found.x + tilts[1] * found.y) / 1000]
            misses += [found.tilt_x - tilts[0], found.tilt_y - tilts[1]] if way == "tilt" else []
            errors = [found.offset_error, found.tilt_x_error, found.tilt_y_error][: len(misses)]
            off.append(np.abs(misses) < 1.96 * np.array(errors))
            doubt.append(any("the alignment is" in problem for problem in found.problems))
        within = np.mean(off, axis=0)
        tilted = f"{within[1:].mean():.0%}" if way == "tilt" else "-"
        print(f"| {name} | {share:.0%} | {way} | {within[0]:.0%} | {tilted} | {np.mean(doubt):.0%} |")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=60, help="simulated rooms for each line (60)")
    asked = parser.parse_args()
    false_alarms(asked.rooms)
    planted(asked.rooms)
    alignments(asked.rooms)
