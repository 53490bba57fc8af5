"""Points in binary files: PLY, LAS and LAZ (by laspy and lazrs), E57 (by pye57)."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from flatness.arrays import Floats
from flatness.lengths import MM_PER, unit_named
from flatness.scans.files import AGAIN, BLOCK, LOOK_POINTS, LOOKS, US_FOOT_MM, PointFile, missing, spread
from flatness.scans.text import Rows

PLY_TYPES = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
PLY_ORDER = {"binary_little_endian": "<", "binary_big_endian": ">", "ascii": ""}
MOST_HEAD = 65_536
# length units of GeoTIFF keys (EPSG codes): metre, international foot, US survey foot
EPSG_MM = {9001: 1000.0, 9002: 304.8, 9003: US_FOOT_MM}
PROJECTED_UNIT_KEY = 3076  # GeoTIFF 1.1, ProjLinearUnitsGeoKey
WKT_UNIT = re.compile(
    r'(?:LENGTHUNIT|UNIT)\["(?:metre|meter|foot|us survey foot|[^"]*foot[^"]*)",\s*([\d.eE+-]+)', re.I
)
LAS_SHORTEST, LAS_HEAD = 227, 375  # bytes of the header of LAS 1.2 and of LAS 1.4
LAS_RECORD, LAS_EXTENDED = 54, 60  # bytes of the header of a record, and of one behind the points
MOST_SAID = 200  # letters of what a library says
MOST_PACKED = 10_000_000  # points in one pack: it is unpacked in memory
LAZ_CHUNK = 50_000  # points that are packed together, as a rule; a look begins where a pack does
E57_LOOK = 250_000  # points kept of a file that cannot be looked into


class PlyFile(PointFile):
    """A PLY file, binary or ASCII; ``comment unit: m`` in its header states the unit."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.kind, self.start, self.head_rows = "", 0, 0
        self.fields: list[tuple[str, str]] = []
        after = self._read_header()
        order = PLY_ORDER[self.kind]
        if any([name for name, _ in self.fields].count(axis) != 1 for axis in "xyz"):
            raise self.wrong(
                "the points of the file lack x, y or z",
                value=", ".join(name for name, _ in self.fields) or "none",
                expected="properties x, y and z of the element vertex",
                remedy="save the scan as points",
            )
        self.dtype = np.dtype([(name, order + kind) for name, kind in self.fields])
        if not self.count:
            raise self.wrong("the file holds no points", expected="points", remedy="choose another file")
        if order:
            self._check_size(self.start + self.count * self.dtype.itemsize)
        elif after:
            remedy = "save the points alone, or as binary PLY"
            raise self.wrong("ASCII with more than points", expected="the element vertex alone", remedy=remedy)

    def _read_header(self) -> bool:
        """Read the header; whether elements with entries follow the points."""
        with self.path.open("rb") as file:
            head = file.read(MOST_HEAD)
        end = re.search(rb"(?m)^end_header[ \t]*(\r\n|\n)", head)
        if not head.startswith(b"ply") or end is None:
            raise self.wrong(
                "this is no PLY file", expected="a header from `ply` to `end_header`", remedy="save the scan again"
            )
        self.start, self.head_rows = end.end(), head[: end.end()].count(b"\n")
        element, after = "", False
        for row, line in enumerate(head[: end.start()].decode("latin-1").splitlines(), 1):
            words = line.split()
            match words:
                case ["format", kind, *_] if kind in PLY_ORDER:
                    self.kind = kind
                case ["element", element, count] if count.isdecimal():
                    if element == "vertex":
                        self.count = int(count)
                    elif self.count is None and int(count):
                        remedy = "save the points first in the file, or alone"
                        raise self.wrong("something stands before the points", row=row, value=line, remedy=remedy)
                    else:
                        after |= int(count) > 0
                case ["property", kind, name] if kind in PLY_TYPES:
                    if element == "vertex":
                        self.fields.append((name, PLY_TYPES[kind]))
                case ["property", "list", *_] if element != "vertex":
                    continue
                case ["comment", *said]:
                    key, _, value = " ".join(said).partition(":")
                    unit = unit_named(value) if key.strip().lower() == "unit" else None
                    self.stated = float(MM_PER[unit]) if unit is not None else self.stated
                case ["ply"] | ["obj_info", *_] | []:
                    continue
                case _:
                    expected = "format, element, property or comment, as PLY has them"
                    raise self.wrong(
                        "a line of the header that is not known", row=row, value=line, expected=expected, remedy=AGAIN
                    )
        if not self.kind:
            raise self.wrong("the header names no format", expected=", ".join(PLY_ORDER), remedy=AGAIN)
        return after

    def _rows(self) -> Rows:
        names = [name for name, _ in self.fields]
        columns = [names.index(axis) for axis in "xyz"]
        return Rows(self, self.start, self.head_rows + 1, len(names), columns, self.count)

    def raw_look(self) -> Iterator[Floats]:
        if self.kind == "ascii":
            yield from self._rows().look()
            return
        assert self.count is not None
        places = spread(self.count, LOOKS, LOOK_POINTS)
        with self.path.open("rb") as file:
            for place in places:
                file.seek(self.start + place * self.dtype.itemsize)
                yield self._points(file, self.count if len(places) == 1 else LOOK_POINTS)

    def raw_blocks(self) -> Iterator[tuple[float, Floats]]:
        if self.kind == "ascii":
            yield from self._rows().blocks()
            return
        assert self.count is not None
        with self.path.open("rb") as file:
            file.seek(self.start)
            for done in range(0, self.count, BLOCK):
                block = self._points(file, min(BLOCK, self.count - done))
                yield (done + len(block)) / self.count, block

    def _points(self, file: Any, count: int) -> Floats:
        table = np.frombuffer(file.read(count * self.dtype.itemsize), self.dtype)
        return np.column_stack([table[axis] for axis in "xyz"]).astype(np.float64, copy=False)


class LasFile(PointFile):
    """A LAS or LAZ file; its unit where a coordinate system in it states one."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        try:
            import laspy

            if path.suffix.lower() == ".laz":
                import lazrs  # noqa: F401
        except ImportError as error:
            raise missing("laspy" if error.name == "laspy" else "lazrs", path.suffix, path.name) from error
        self.laspy = laspy
        self._check_head()
        with self._opened() as reader:
            header = reader.header
            self.count = int(header.point_count)
            self.packed = bool(header.are_points_compressed)
            self.scales, self.offsets = np.array(header.scales), np.array(header.offsets)
            units = _stated_units(header.vlrs)
            needed = int(header.offset_to_point_data) + self.count * int(header.point_format.size)
        if len(units) > 1:
            shown = ", ".join(f"{unit:g} mm" for unit in sorted(units))
            remedy = "save the scan again in one unit"
            raise self.wrong("the file states several units", value=shown, expected="one for x, y and z", remedy=remedy)
        self.stated = next(iter(units), None)
        if not self.count:
            raise self.wrong("the file holds no points", expected="points", remedy="choose another file")
        if self.packed:
            self._check_packs(header)
        else:
            self._check_size(needed)

    def _check_head(self) -> None:
        """Refuse a header that cannot be true, which would be followed through billions of records.

        Places from the public header block of LAS 1.2 to 1.4 (ASPRS, from memory, and as laspy writes it).
        """
        size = self.path.stat().st_size
        with self.path.open("rb") as file:
            head = file.read(LAS_HEAD)
        if len(head) < LAS_SHORTEST or head[:4] != b"LASF":
            raise self._broken("no header")
        length, points, records = struct.unpack_from("<HII", head, 94)
        extended = (0, 0) if head[25] < 4 or len(head) < LAS_HEAD else struct.unpack_from("<QI", head, 235)
        if not length + LAS_RECORD * records <= points <= size or (
            extended[1] and extended[0] + LAS_EXTENDED * extended[1] > size
        ):
            raise self._broken("its header speaks of more than the file holds")

    def _check_packs(self, header: Any) -> None:
        """Refuse a table of packs that cannot be true, for which the unpacker would take all memory.

        The points of a LAZ file begin with the place of that table, or -1 where the file ends with it; the table with
        its version and how many packs there are (LASzip, from memory, and as lazrs writes it).
        """
        import lazrs

        start, size = int(header.offset_to_point_data), self.path.stat().st_size
        with self.path.open("rb") as file:
            file.seek(start)
            (table,) = struct.unpack("<q", file.read(8).ljust(8, b"\0"))
            if table == -1:
                file.seek(size - 8)
                (table,) = struct.unpack("<q", file.read(8))
            if not start < table <= size - 8:
                raise self._broken("it ends before its table of packed points")
            file.seek(table)
            _, count = struct.unpack("<II", file.read(8))
            if count > (self.count or 0):
                raise self._broken("it has more packs than points")
            file.seek(start)
            try:
                record = header.vlrs[header.vlrs.index("LasZipVlr")]
                packs = lazrs.read_chunk_table(file, lazrs.LazVlr(record.record_data)) or []
            except Exception as error:
                raise self._broken(error) from error
        if any(points > MOST_PACKED for points, _ in packs) or sum(taken for _, taken in packs) > size:
            raise self._broken("its packs are larger than the file")

    def _opened(self) -> Any:
        try:
            return self.laspy.open(self.path)
        except Exception as error:
            raise self._broken(error) from error

    def _broken(self, error: Exception | str) -> Exception:
        what = f"the file cannot be read as LAS: {' '.join(str(error).split())[:MOST_SAID]}"
        return self.wrong(what, expected="a whole LAS or LAZ file", remedy=AGAIN)

    def raw_look(self) -> Iterator[Floats]:
        assert self.count is not None
        places = spread(self.count, LOOKS, LOOK_POINTS)
        if self.packed and len(places) > 1:  # a pack is unpacked from its beginning
            places = sorted({place - place % LAZ_CHUNK for place in places})
        most = self.count if len(places) == 1 else LOOK_POINTS * LOOKS // len(places)
        with self._opened() as reader:
            for place in places:
                try:
                    reader.seek(place)
                    yield self._points(reader.read_points(min(most, self.count - place)))
                except Exception as error:
                    raise self._broken(error) from error

    def raw_blocks(self) -> Iterator[tuple[float, Floats]]:
        assert self.count is not None
        done = 0
        with self._opened() as reader:
            while done < self.count:
                try:
                    block = self._points(reader.read_points(min(BLOCK, self.count - done)))
                except Exception as error:
                    raise self._broken(error) from error
                if not len(block):
                    break
                done += len(block)
                yield done / self.count, block
        if done < self.count:
            expected = f"{self.count} points, as its header says"
            raise self.wrong("the file ends before its last point", value=str(done), expected=expected, remedy=AGAIN)

    def _points(self, table: Any) -> Floats:
        found = np.empty((len(table.array), 3))
        for k, axis in enumerate("XYZ"):
            np.multiply(table.array[axis], self.scales[k], out=found[:, k])
        found += self.offsets
        return found


def _stated_units(records: Any) -> set[float]:
    """Millimetres of the units of length that the coordinate systems in a LAS file state."""
    found = set()
    for record in records:
        for key in getattr(record, "geo_keys", ()):
            if key.id == PROJECTED_UNIT_KEY and key.value_offset in EPSG_MM:
                found.add(EPSG_MM[key.value_offset])
        found |= {float(unit) * 1000 for unit in WKT_UNIT.findall(getattr(record, "string", ""))}
    return found


class E57File(PointFile):
    """An E57 file: metres, as its standard has them (ASTM E2807); every set-up in it, by its pose.

    Its packets cannot be sought, so that the look reads through the file and keeps points evenly: it is read twice.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        try:
            import pye57
        except ImportError as error:
            raise missing("pye57", path.suffix, path.name) from error
        self.library, self.stated = pye57, 1000.0
        try:
            self.scans = pye57.E57(str(path))
            self.count = sum(self.scans.get_header(k).point_count for k in range(self.scans.scan_count))
        except Exception as error:
            raise self._broken(error) from error
        if not self.count:
            raise self.wrong("the file holds no points", expected="points", remedy="choose another file")

    def _broken(self, error: Exception) -> Exception:
        what = f"the file cannot be read as E57: {' '.join(str(error).split())[:MOST_SAID]}"
        return self.wrong(what, expected="a whole E57 file", remedy=AGAIN)

    def raw_look(self) -> Iterator[Floats]:
        assert self.count is not None
        step = max(1, self.count // E57_LOOK)
        for _, block in self.raw_blocks():
            yield block[::step].copy()  # else the block stays with it

    def raw_blocks(self) -> Iterator[tuple[float, Floats]]:
        assert self.count is not None
        done = 0
        for k in range(self.scans.scan_count):
            header = self.scans.get_header(k)
            axes = ["cartesianX", "cartesianY", "cartesianZ"]
            if any(axis not in header.point_fields for axis in axes):
                expected = "cartesianX, cartesianY and cartesianZ"
                remedy = "save the scan with x, y and z"
                raise self.wrong("points by angles alone are not read", expected=expected, remedy=remedy)
            state = [name for name in ("cartesianInvalidState",) if name in header.point_fields]
            data, buffers = self.scans.make_buffers([*axes, *state], BLOCK)
            try:
                reader = header.points.reader(buffers)
            except Exception as error:
                raise self._broken(error) from error
            while True:
                try:
                    count = reader.read()
                except Exception as error:
                    raise self._broken(error) from error
                if not count:
                    break
                block = np.column_stack([data[axis][:count] for axis in axes]).astype(np.float64, copy=False)
                if state:  # directions without a return, which the standard marks
                    block = block[data[state[0]][:count] == 0]
                if header.has_pose():
                    block = self.scans.to_global(block, header.rotation, header.translation)
                done += count
                yield done / self.count, block
            reader.close()
