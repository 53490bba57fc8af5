"""How long a scan takes and what memory, as its points grow, beside the plain way: load all, loop over the cells.

python tests/benchmarks/scans.py
python tests/benchmarks/scans.py --points 1250000 --kinds ply las laz e57 xyz --times 1 4 16
python tests/benchmarks/scans.py --rooms 20     how far off the truth rooms with planted faults come out

The scan is of a furnished room with a person in it, read by two set-ups (tests/scanned_rooms.py); each is read in a
process of its own, whose peak memory the system tells. The plain way is given the floor's plane and the walls' lines,
and reads binary PLY alone: it holds all points, and takes the median of those near the floor in each cell, cell by
cell; of one surface, where the kit finds and reads six.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import scanned_rooms as built

CHUNK = 1_250_000  # points that are made at once


def write(path, count):
    """Write a scan of about so many points, in metres, block by block."""
    blocks = [built.Scanned().points(min(CHUNK, count - k), seed=k) / 1000 for k in range(0, count, CHUNK)]
    kind = path.suffix[1:]
    if kind == "xyz":
        with path.open("w") as file:
            for block in blocks:
                np.savetxt(file, block, fmt="%.4f")
    elif kind == "ply":
        path.write_bytes(built.ply_bytes(np.concatenate(blocks) * 1000, kind="f4"))
    elif kind == "e57":
        import pye57

        with pye57.E57(str(path), mode="w") as file:
            for block in blocks:
                file.write_scan_raw(dict(zip(("cartesianX", "cartesianY", "cartesianZ"), block.T.copy(), strict=True)))
    else:
        import laspy

        header = laspy.LasHeader(point_format=0, version="1.2")
        header.scales = [0.0001] * 3
        las = laspy.LasData(header)
        las.x, las.y, las.z = np.concatenate(blocks).T
        las.write(path)


def read(path):
    """Seconds of processor time of reading a scan in this process, imports apart."""
    from flatness.scans.reading import read_scan

    start = time.process_time()
    scan = read_scan(path, unit="m")
    taken = time.process_time() - start
    return {"points": scan.points, "seconds": taken, "surfaces": len(scan.surfaces)}


def read_plainly(path):
    """As :func:`read`, the plain way, of the floor alone."""
    start = time.process_time()
    with path.open("rb") as file:
        head = b""
        while not head.endswith(b"end_header\n"):
            head += file.readline()
        table = np.fromfile(file, dtype=[("x", "<f4"), ("y", "<f4"), ("z", "<f4"), ("red", "u1")])
    room = built.Scanned()
    points = np.column_stack([table[axis] for axis in "xyz"]).astype(float) * 1000 - room.shift
    angle = np.radians(-room.degrees)
    x = points[:, 0] * np.cos(angle) - points[:, 1] * np.sin(angle)
    y = points[:, 0] * np.sin(angle) + points[:, 1] * np.cos(angle)
    heights = {}
    for row in range(int(built.WIDTH // 152.4)):
        for column in range(int(built.LENGTH // 152.4)):
            left, low = column * 152.4, row * 152.4
            inside = (x >= left) & (x < left + 152.4) & (y >= low) & (y < low + 152.4) & (np.abs(points[:, 2]) < 75)
            if inside.sum() >= 12:
                heights[row, column] = np.median(points[inside, 2])
    return {"points": len(points), "seconds": time.process_time() - start, "surfaces": 1}


def peak():
    """Peak memory of this process [MB], of Linux; what getrusage says counts that of the process that began it, too."""
    status = Path("/proc/self/status").read_text()
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) / 1024


def timed(path, how):
    """What a process of its own says of reading a file, with its peak memory."""
    line = [sys.executable, __file__, "--read", str(path), "--how", how]
    return json.loads(subprocess.run(line, check=True, capture_output=True, text=True).stdout)


def one_room(seed, noise, folder):
    """Surfaces found, bias of the floor's cells [mm], their root mean square in own errors, those on the fault."""
    from flatness.scans.reading import read_scan

    rng = np.random.default_rng(seed)
    at, high, radius = rng.uniform(900, 2700, 2), rng.choice([-1, 1]) * rng.uniform(3, 15), rng.uniform(400, 900)
    waves = rng.uniform(1, 4), rng.uniform(600, 1500, 2)

    def floor(x, y):
        return built.hump(x, y, at, high, radius) + waves[0] * np.sin(x / waves[1][0]) * np.cos(y / waves[1][1])

    setups = tuple(tuple(rng.uniform((900, 900, 1300), (3300, 2300, 1800))) for _ in range(2))
    room = built.Scanned(floor=floor, noise=noise, degrees=rng.uniform(-45, 45), setups=setups)
    scan = read_scan(built.write_ply(folder / "room.ply", room.points(500_000, seed)))
    cells = scan.surfaces["floor"].cells
    corner = room.in_scan(np.zeros((1, 3)))[0]
    # cells stand where the kit has the corner, of which the truth is taken
    turn = np.radians(-room.degrees)
    off = np.array(scan.origin[:2]) - corner[:2]
    back = (off[0] * np.cos(turn) - off[1] * np.sin(turn), off[0] * np.sin(turn) + off[1] * np.cos(turn))
    missed = scan.origin[2] - corner[2] + cells["height"] - floor(cells["x"] + back[0], cells["y"] + back[1])
    in_errors = (missed / cells["error"]).to_numpy()
    near = np.hypot(cells["x"] - at[0], cells["y"] - at[1]) < radius / 2
    return len(scan.surfaces), float(missed.mean()), float(np.sqrt(np.mean(in_errors**2))), in_errors[near]


def rooms(count, folder):
    """Print how far off the truth rooms come out, a row a noise of the points."""
    print("| noise, mm | rooms | all six surfaces | bias: mean, most, in noises | off, in errors | ", end="")
    print("cells on the planted fault within two errors |\n|---|---|---|---|---|---|")
    for noise in (1.0, 2.0, 4.0):
        found = [one_room(seed, noise, folder) for seed in range(count)]
        bias = np.array([one[1] for one in found]) / noise
        near = np.concatenate([one[3] for one in found])
        row = f"| {noise:g} | {count} | {sum(one[0] == 6 for one in found)} "
        row += f"| {bias.mean():.4f}, {np.abs(bias).max():.3f} "
        row += f"| {np.sqrt(np.mean([one[2] ** 2 for one in found])):.2f} "
        print(f"{row}| {np.mean(np.abs(near) < 2):.1%} of {len(near)} |", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=250_000, help="in the smallest scan")
    parser.add_argument("--times", type=int, nargs="+", default=[1, 4, 16], help="so many times as many")
    parser.add_argument("--kinds", nargs="+", default=["ply"], help="ply, las, laz, e57, xyz")
    parser.add_argument("--rooms", type=int, help="so many rooms with planted faults, and nothing else")
    parser.add_argument("--no-plain", action="store_true", help="leave the plain way out")
    parser.add_argument("--read", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--how", default="kit", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.read:
        found = (read if options.how == "kit" else read_plainly)(options.read)
        print(json.dumps(found | {"megabytes": peak()}))
        return
    if options.rooms:
        with tempfile.TemporaryDirectory() as folder:
            rooms(options.rooms, Path(folder))
        return
    print("| file | points | seconds | million points a second | MB | plain way, floor alone: seconds, MB | ratio |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for kind in options.kinds:
            for times in options.times:
                path = Path(folder) / f"scan.{kind}"
                write(path, options.points * times)
                ours = timed(path, "kit")
                row = f"| {kind} | {ours['points']:,} | {ours['seconds']:.1f} "
                row += f"| {ours['points'] / ours['seconds'] / 1e6:.2f} | {ours['megabytes']:.0f} | "
                if kind == "ply" and not options.no_plain:
                    plain = timed(path, "plain")
                    row += f"{plain['seconds']:.1f}, {plain['megabytes']:.0f} | "
                    row += f"{plain['seconds'] / ours['seconds']:.1f} |"
                else:
                    row += "- | - |"
                print(row, flush=True)
                path.unlink()


if __name__ == "__main__":
    main()
