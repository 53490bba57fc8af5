"""A scanned room of known truth: rays from set-ups of a scanner meet floor, ceiling, walls and what stands there."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

LENGTH, WIDTH, HEIGHT = 4267.2, 3657.6, 2743.2  # 14 ft x 12 ft x 9 ft
CLOSET = (3000.0, 2700.0, 0.0, 3900.0, 3300.0, 2000.0)  # boxes: least x, y, z, greatest x, y, z
TABLE = (800.0, 2300.0, 700.0, 1900.0, 3000.0, 740.0)
CHEST = (2100.0, 300.0, 0.0, 2700.0, 800.0, 450.0)
PERSON = (
    (2950.0, 1500.0, 0.0, 3080.0, 1760.0, 60.0),
    (2970.0, 1520.0, 60.0, 3060.0, 1640.0, 850.0),
    (2900.0, 1450.0, 850.0, 3100.0, 1800.0, 1750.0),
)
DOOR = (600.0, 1500.0, 2032.0)  # in the wall of least y: from, to, height; a wall of the next room is seen through it


def hump(x, y, at, high, radius):
    """A cosine bump of this height and radius [mm]."""
    far = np.hypot(x - at[0], y - at[1]) / radius
    return np.where(far < 1, high / 2 * (1 + np.cos(np.pi * np.minimum(far, 1))), 0.0)


def fault_floor(x, y):
    """A hump of 10 mm and a dip of 8 mm on a floor that falls 6 mm along the room."""
    return hump(x, y, (1200, 1300), 10.0, 600.0) - hump(x, y, (3300, 900), 8.0, 500.0) - 6.0 * x / LENGTH


def tilted_ceiling(x, y):
    """A ceiling that falls 25 mm across the room."""
    return HEIGHT - 25.0 * y / WIDTH


def leaning_wall(x, z):
    """The wall of greatest y: leans 9 mm out over its height."""
    return WIDTH + 9.0 * z / HEIGHT + 0.0 * x


@dataclass
class Scanned:
    """How a room is scanned."""

    floor: object = fault_floor
    ceiling: object = tilted_ceiling
    far_wall: object = leaning_wall
    boxes: tuple = (CLOSET, TABLE, CHEST, *PERSON)
    noise: float = 2.0
    outliers: float = 0.02
    degrees: float = 17.0
    shift: tuple = (12345.0, -6789.0, 350.0)
    setups: tuple = ((1500.0, 1800.0, 1500.0), (2600.0, 2100.0, 1600.0))
    next_room: float = 1400.0
    door: tuple | None = DOOR
    keep: tuple = field(default=("floor", "ceiling", "walls"))

    def points(self, count, seed=0):
        """Points [n, 3] in mm in the scan's frame, about as many as asked for, in the order in which they were read."""
        rng = np.random.default_rng(seed)
        parts = [self._setup(np.array(at), count // len(self.setups), rng) for at in self.setups]
        return self.in_scan(np.concatenate(parts))

    def in_scan(self, places):
        """Places of the room's own frame [n, 3] in the scan's."""
        angle = np.radians(self.degrees)
        turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
        return places @ turn.T + self.shift

    def _setup(self, eye, count, rng):
        heading = np.sort(rng.uniform(0, 2 * np.pi, count))  # as a scanner turns
        up = rng.uniform(-1, 1, count)
        flat = np.sqrt(1 - up**2)
        ray = np.column_stack([flat * np.cos(heading), flat * np.sin(heading), up])
        with np.errstate(divide="ignore", invalid="ignore"):
            far = np.full(count, np.inf)
            what = np.zeros(count, dtype=int)
            sides = ((0, 0.0), (0, LENGTH), (1, 0.0), (1, WIDTH), (2, 0.0), (2, HEIGHT))
            for k, (axis, at) in enumerate(sides):
                reach = (at - eye[axis]) / ray[:, axis]
                nearer = (reach > 0) & (reach < far)
                far[nearer], what[nearer] = reach[nearer], k
            for box in self.boxes:
                one, two = ((np.array(corner) - eye) / ray for corner in (box[:3], box[3:]))
                enters, leaves = np.minimum(one, two).max(axis=1), np.maximum(one, two).min(axis=1)
                hit = (enters > 0) & (enters < leaves) & (enters < far)
                far[hit], what[hit] = enters[hit], 9
        place = eye + ray * far[:, None]
        if self.door is not None:
            left, right, top = self.door
            through = (what == 2) & (place[:, 0] > left) & (place[:, 0] < right) & (place[:, 2] < top)
            beyond = (-self.next_room - eye[1]) / ray[:, 1]
            low = -eye[2] / np.minimum(ray[:, 2], -1e-9)
            far = np.where(through, np.minimum(beyond, low), far)
            place, what = eye + ray * far[:, None], np.where(through, 8, what)
        x, y, z = place.T
        place[:, 2] = np.where(what == 4, self.floor(x, y), np.where(what == 5, self.ceiling(x, y), z))
        place[:, 1] = np.where(what == 3, self.far_wall(x, z), y)
        place = place + rng.normal(0, self.noise, place.shape)
        wild = rng.random(count) < self.outliers
        place[wild] += ray[wild] * rng.uniform(-500, 500, (int(wild.sum()), 1))
        kept = {"floor": what == 4, "ceiling": what == 5, "walls": what < 4, "other": what > 5}
        chosen = np.any([kept[name] for name in (*self.keep, "other")], axis=0) if len(self.keep) < 3 else what >= 0
        return place[chosen]


def write_xyz(path, points, unit="m", form="%.4f"):
    """A text of x y z."""
    per = {"m": 1000.0, "mm": 1.0, "ft": 304.8, "in": 25.4}[unit]
    np.savetxt(path, points / per, fmt=form)
    return path


def ply_bytes(points, order="<", kind="f8"):
    """A binary PLY in metres that says so."""
    name = {"f8": "double", "f4": "float"}[kind]
    endian = {"<": "little", ">": "big"}[order]
    head = [
        "ply",
        f"format binary_{endian}_endian 1.0",
        "comment unit: m",
        f"element vertex {len(points)}",
        *(f"property {name} {axis}" for axis in "xyz"),
        "property uchar red",
        "end_header\n",
    ]
    table = np.zeros(len(points), dtype=[(axis, order + kind) for axis in "xyz"] + [("red", "u1")])
    for k, axis in enumerate("xyz"):
        table[axis] = points[:, k] / 1000
    return "\n".join(head).encode() + table.tobytes()


def write_ply(path, points):
    """A file of :func:`ply_bytes`."""
    path.write_bytes(ply_bytes(points))
    return path
