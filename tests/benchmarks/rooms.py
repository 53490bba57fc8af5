"""How often the checks of a room are right: rooms of known truth, read with error, checked, held against the truth.

Each room is about 14 ft x 12 ft x 9 ft: four walls that taper, lean and stand out of square by some millimetres, studs
off one another by 0.5 mm, each with a gentle wave; a floor and a ceiling that fall and wave. Readings are good to 1/32
in, control lines to 1/64 in at each end, each benchmark's height to 1/64 in. The truth of a wall is its best plane over
what is read of it, on a fine grid; the truth of the clear height its least over what is read, on a fine grid.

    OMP_NUM_THREADS=1 python tests/benchmarks/rooms.py --rooms 50

prints a table: how often the 95 % ranges hold the truth, and how often a fault of four errors is seen (its range leaves
out none at all), with the standard error of each share.

    OMP_NUM_THREADS=1 python tests/benchmarks/rooms.py --rooms 50 --set-out

brings rooms to targets that must keep two widths and a height, all of which bind, sets them out off the control lines
and benchmarks that they were read from, each corner of each plane with an error of its own, and measures what is kept.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from flatness.planning.substrate import Beneath
from flatness.room.records import Agreed, Keep, Level, Room, RoomSurface, WallLine
from flatness.room.targets import room_targets
from flatness.survey.readings import make_survey

FT, IN = 304.8, 25.4
READ, LINE, MARK = IN / 32, IN / 64, IN / 64
X, Y, Z = 14 * FT, 12 * FT, 9 * FT
STUDS = 16 * IN
ENDS = {
    "south": ((X, 0.0), (0.0, 0.0)),
    "west": ((0.0, 0.0), (0.0, Y)),
    "north": ((0.0, Y), (X, Y)),
    "east": ((X, Y), (X, 0.0)),
}
LINES = {"south": "long", "north": "long", "west": "cross", "east": "cross"}
MEASURES = ("taper", "square", "clear-height")


def wave(rng, size, most):
    """A gentle wave of random heading and length over a surface of this size [mm]."""
    heading, length, start = rng.uniform(0, np.pi), rng.uniform(0.7, 2) * size, rng.uniform(0, 2 * np.pi)
    height = rng.uniform(0, most)
    return lambda x, y: height * np.sin(2 * np.pi * (x * np.cos(heading) + y * np.sin(heading)) / length + start)


def true_wall(rng, run, swing):
    """A wall's height into the room [mm] by x and y."""
    lean, bend = rng.normal(0, 3) / Z, wave(rng, run, 1.0)
    studs = rng.normal(0, 0.5, round(run / STUDS) + 3)
    at = STUDS * np.arange(len(studs))
    return lambda x, y: swing * (x - run / 2) + lean * y + bend(x, y) + np.interp(x, at, studs)


def grid(*axes):
    return tuple(v.ravel() for v in np.meshgrid(*axes))


def plane(surface, x, y):
    """Least-squares plane of a true surface over a fine grid [by x, by y]."""
    gx, gy = grid(np.linspace(x.min(), x.max(), 150), np.linspace(y.min(), y.max(), 80))
    terms = np.column_stack([np.ones_like(gx), gx, gy])
    return np.linalg.lstsq(terms, surface(gx, gy), rcond=None)[0][1:]


def simulate(seed, planted=None):
    """A room as it was read, the truth of each measure by its kind and place, and by how much its datums are off.

    The last: by name of a wall, what its control line stands off at both ends, into the room [mm]; of a floor or
    ceiling, how much too high it reads.

    ``planted`` : how each wall swings on the plan, by its name, none where it is not named; None: all at random
    """
    rng = np.random.default_rng([seed, 71])
    swing = {name: rng.normal(0, 0.0012) for name in ENDS}
    if planted is not None:
        swing = dict.fromkeys(ENDS, 0.0)
    walls, slopes, surfaces, lines = {}, {}, {}, {}
    errors = {name: rng.normal(0, LINE, 2) for name in ("long", "cross")}
    for name, (start, end) in ENDS.items():
        run = float(np.hypot(*np.subtract(end, start)))
        walls[name] = true_wall(rng, run, swing[name])
        x, y = grid(np.append(np.arange(0, run - 1, STUDS), run), IN * np.array([4, 28, 52, 76, 104]))
        slopes[name] = plane(walls[name], x, y)[0]
        if planted is not None:  # studs and waves swing a wall too: all of its swing is what is planted
            more, was, slopes[name] = planted.get(name, 0.0) - slopes[name], walls[name], planted.get(name, 0.0)
            walls[name] = lambda x, y, was=was, more=more: was(x, y) + more * x
        # a control line off by e toward one wall is off by -e of the one that faces it, whose x runs the other way
        leads = name in ("south", "west")
        ends = errors[LINES[name]] if leads else -errors[LINES[name]][::-1]
        off = (X if name in ("west", "east") else Y) / 2
        line = np.interp(x, [0, run], ends)
        lines[name] = ends
        heights = walls[name](x, y) - off - line + rng.normal(0, READ, x.shape)
        survey = make_survey(x, y, heights, surface="wall", reference="plumb", accuracy=READ)
        placed = WallLine(start=start, end=end, offset=off, error=LINE, control=LINES[name])
        surfaces[name] = RoomSurface(name=name, survey=survey, wall=placed)
    levels, shifts = {}, {}
    for kind in ("floor", "ceiling"):
        fall, bend = rng.normal(0, 4, 2) / np.array([X, Y]), wave(rng, X, 2.0)
        levels[kind] = lambda x, y, fall=fall, bend=bend, kind=kind: (
            (Z if kind == "ceiling" else 0) + fall[0] * x + fall[1] * y + bend(x, y)
        )
        x, y = grid(np.arange(6 * IN, X, FT), np.arange(6 * IN, Y, FT))
        up = -1 if kind == "ceiling" else 1
        shift = rng.normal(0, np.hypot(READ, MARK) / np.sqrt(2))
        shifts[kind] = shift
        heights = up * (levels[kind](x, y) + shift) + rng.normal(0, READ, x.shape)
        survey = make_survey(x, y, heights, surface=kind, accuracy=READ)
        level = Level(error=float(np.hypot(READ, MARK) / np.sqrt(2)))
        surfaces[kind] = RoomSurface(name=kind, survey=survey, level=level)
    gx, gy = grid(np.arange(6 * IN, x.max() + 1, IN), np.arange(6 * IN, y.max() + 1, IN))
    truth = {("clear-height", ""): float((levels["ceiling"](gx, gy) - levels["floor"](gx, gy)).min())}
    for one, other, run in (("south", "north", X), ("west", "east", Y)):
        truth["taper", f"{one} to {other}"] = abs(slopes[one] - slopes[other]) * run
    for one, other in (("south", "west"), ("west", "north"), ("north", "east"), ("east", "south")):
        truth["square", f"{one} and {other}"] = abs(slopes[one] - slopes[other]) * 6 * FT
    room = Room(title=f"room {seed}", surfaces=surfaces, agreed=Agreed(leg=6 * FT), seed=seed)
    return room, truth, lines | shifts


KEPT = (("width", ("south", "north")), ("length", ("west", "east")), ("height", ("floor", "ceiling")))
TIMES = 40  # that each room is set out
TIGHT_MM = 3.0  # what is kept lies so far over, or under, what the targets would leave


def set_out(seed):
    """What each row that binds comes to when the targets are set, less what must be kept [mm], by what is kept.

    Many times over: every plane is set at its four corners, each with the setting error, off the line or datum that it
    was read from, which err anew each time.
    """
    room, _, off = simulate(seed)
    room = replace(room, draws=8)  # of targets no draw is used
    may = (Beneath("boards", may_be_planed=True, most_planed=40.0),)
    room = replace(room, surfaces={name: replace(one, beneath=may) for name, one in room.surfaces.items()})
    free = room_targets(room, setting_error=0.0, leave=False)
    rng, keeps = np.random.default_rng([seed, 72]), []
    corners = [(12 * IN, 12 * IN), (X - 12 * IN, 12 * IN), (12 * IN, Y - 12 * IN), (X - 12 * IN, Y - 12 * IN)]
    for name, both in KEPT:
        found = min(_clear(free, both, *place, {}) for place in corners)
        keeps.append(Keep(name=name, surfaces=both, least=found + TIGHT_MM, places=tuple(corners)))
    targets = room_targets(room, keep=keeps, leave=False)
    error = targets.options["setting_error"]
    for _ in range(TIMES):
        kept = {}
        for one in keeps:
            moved = {}
            for name in one.surfaces:  # by corner, so that what is kept beside it has that corner's own errors
                moved[name] = dict(zip(corners, rng.normal(0, error, len(corners)), strict=True))
            kept[one.name] = [_clear(targets, one.surfaces, *place, moved, off) - one.least for place in corners]
        yield kept
        off = datums(rng)


def datums(rng):
    """Other errors of the control lines and benchmarks, as :func:`simulate` has them.

    What is kept binds, so that its planes stand where they do by the readings off a datum, however much that errs.
    """
    errors = {name: rng.normal(0, LINE, 2) for name in ("long", "cross")}
    lines = {}
    for name in ENDS:
        ends = errors[LINES[name]]
        lines[name] = ends if name in ("south", "west") else -ends[::-1]
    return lines | {kind: rng.normal(0, np.hypot(READ, MARK) / np.sqrt(2)) for kind in ("floor", "ceiling")}


def _clear(targets, both, x, y, moved, off=None):
    """What is clear at a place of the plan [mm] between two targets that are set out with errors."""
    between = 0.0
    for name in both:
        wall = targets.room.surfaces[name].wall
        at = (x, y) if wall is None else (wall.across(x, y)[0], 60 * IN)
        height = targets.targets[name].toward(*at)
        if off is not None and wall is not None:
            height += np.interp(at[0], [0, wall.length], off[name])
        elif off is not None:  # a reading that is too high puts the plane too low
            height -= (1 if name == "floor" else -1) * off[name]
        between += height + moved.get(name, {}).get((x, y), 0.0)
    wall = targets.room.surfaces[both[0]].wall
    apart = 0.0 if wall is None else sum(-targets.room.surfaces[name].wall.across(x, y)[1] for name in both)
    # from line to line: each place stands so far off both control lines, and theirs stand apart by the sum
    return -between - apart


def set_out_table(seeds):
    held = {name: [] for name, _ in KEPT}
    spare = {name: [] for name, _ in KEPT}
    for seed in seeds:
        for times in set_out(seed):
            for name, left in times.items():
                held[name].append(np.array(left) >= -1e-6)
                spare[name].append(np.mean(left))
    print("| kept | rows | hold | times that all rows of it hold | room left, median |\n|---|---|---|---|---|")
    every = [np.array(one) for one in held.values()]
    for name, rows in zip(("all three", *held), (np.concatenate(every, axis=1), *every), strict=True):
        left = np.median(np.concatenate([spare[one] for one in ([name] if name in spare else spare)]))
        print(
            f"| {name} | {rows.size} | {told(rows.mean(), rows.size)} | {told(rows.all(axis=1).mean(), len(rows))} "
            f"| {left:.1f} mm |"
        )


def ranges(room):
    """Low and high [mm] of each measure by its kind and place."""
    kinds = {"parallel": "taper", "square": "square", "clear-height": "clear-height"}
    found = {}
    for row in room.checks.to_dict("records"):
        if row["what"] in kinds:
            found[kinds[row["what"]], row["where"]] = row["low_mm"], row["high_mm"]
    return found


def covered(room, truth):
    """Whether each range holds the truth, by its kind."""
    found = ranges(room)
    for (kind, place), value in truth.items():
        (low, high) = next(one for (k, where), one in found.items() if k == kind and place in where)
        yield kind, low - 1e-6 <= value <= high + 1e-6, high - low


def told(share, count):
    return f"{100 * share:.0f} % (s.e. {100 * np.sqrt(max(share * (1 - share), 0.25 / count) / count):.1f})"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rooms", type=int, default=50)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--set-out", action="store_true", help="targets that are set out, in place of the checks")
    options = parser.parse_args()
    if options.set_out:
        set_out_table(range(options.seed, options.seed + options.rooms))
        return
    held = {kind: [] for kind in MEASURES}
    widths = {kind: [] for kind in MEASURES}
    seen, start = {"taper": [], "square": []}, time.process_time()
    for seed in range(options.seed, options.seed + options.rooms):
        for kind, is_in, width in covered(*simulate(seed)[:2]):
            held[kind].append(is_in)
            widths[kind].append(width)
    spent = (time.process_time() - start) / options.rooms
    # a fault of four errors, the error as the ranges above have it: half of the range is about two
    for seed in range(options.seed + 1000, options.seed + 1000 + options.rooms):
        four = {kind: 4 * float(np.median(widths[kind])) / (2 * 1.96) for kind in seen}
        room, *_ = simulate(seed, {"north": four["taper"] / X, "east": 0.0})
        seen["taper"].append(
            next(low for (kind, at), (low, _) in ranges(room).items() if kind == "taper" and "north" in at) > 0
        )
        room, *_ = simulate(seed, {"east": four["square"] / (6 * FT)})
        seen["square"].append(
            next(low for (kind, at), (low, _) in ranges(room).items() if kind == "square" and "east and south" in at)
            > 0
        )
    print(f"{options.rooms} rooms, {spent:.2f} s of processor time a room")
    print("| measure | ranges | hold the truth | range, median | fault of four errors seen |\n|---|---|---|---|---|")
    for kind in MEASURES:
        count, width = len(held[kind]), np.median(widths[kind])
        found = told(np.mean(seen[kind]), len(seen[kind])) if kind in seen else "-"
        print(f"| {kind} | {count} | {told(np.mean(held[kind]), count)} | {width:.1f} mm | {found} |")


if __name__ == "__main__":
    main()
