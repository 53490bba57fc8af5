"""Files that are almost right, by the thousand: each is read, or refused by an error of the kit; no reading is lost.

    python tests/benchmarks/fuzz.py                    # a minute
    python tests/benchmarks/fuzz.py --seconds 36000    # hours
    python tests/benchmarks/fuzz.py --kinds kill       # writers killed at random moments

What ends in anything else is kept in the folder that is named, and the exit code is 1.
"""

import argparse
import io
import json
import math
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import traceback
import zipfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "survey"))
sys.path.insert(0, str(Path(__file__).parents[1]))
import openpyxl
import test_reader_fuzz as readers

import flatness
import test_saved
import test_whole_files
from flatness.comparison.records import read_record
from flatness.errors import FlatnessError
from flatness.job.reading import read_job
from flatness.job.room_reading import read_room
from flatness.limits.spot_checks import Sweep
from flatness.limits.strip_lists import read_spots, spot_sheet
from flatness.planning.plan import read_plan
from mutants_of_json import mutant

NEEDED = {"job": "loft_floor", "room": "gallery"}  # folders of the samples
SAMPLES = Path(__file__).parents[2] / "sample_surveys"
STRIPS = (Sweep(1800.0, "x", 600.0, 0.0, 3600.0, 5.0, 1.5), Sweep(1800.0, "y", 900.0, 0.0, 3600.0, 5.0))
SPOTS = spot_sheet(STRIPS, "mm")
RECORD = {
    "record": "flatness comparison",
    "form": 1,
    "versions": {"kit": "0.1.0"},
    "inputs": {day: {"file": f"{day}.csv", "sha256": "0", "sheet": None} for day in ("before", "after")},
    "settings": {
        "align": "none",
        "unchanged": [{"label": "A"}, {"place_mm": [0, 1]}, {"area_mm": [[0, 0], [1, 0], [0, 1]]}],
        "spacing_mm": None,
        "limits": ["wood-glued"],
        "tolerance_mm": 1.5,
        "confidence": 0.95,
        "draws": 200,
        "seed": 0,
    },
    "limits": [{}],
    "results": {},
}


def text_file(rng, folder):
    """A list, a grid or one of the other layouts, in UTF-8 or UTF-16."""
    data = rng.choice(list(readers.BASES.values())).encode()
    data = readers.mutated(data, rng)
    if rng.random() < 0.1:
        data = data.decode("utf-8", "ignore").encode("utf-16")

    def read():
        survey = flatness.read_survey(data, name="k.csv")
        if not data.startswith((b"\xff\xfe", b"\xfe\xff")):
            assert readers.taken(survey) == readers.readings_in(readers.rows_of(data)), "a reading was lost"

    return data, read


def workbook(rng, folder):
    """A workbook, one of its parts mutated as text, or its own bytes."""
    book, out = openpyxl.Workbook(), io.BytesIO()
    for line in rng.choice([readers.BASES["grid"], readers.BASES["tabs"].replace("\t", ",")]).splitlines():
        cells = [rng.choice(readers.VALUES) if rng.random() < 0.02 else cell for cell in line.split(",")]
        book.active.append(cells)
    book.save(out)
    data = out.getvalue()
    if rng.random() < 0.2:
        data = readers.mutated(data, rng)
    else:
        changed = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(changed, "w") as new:
            chosen = rng.choice([name for name in old.namelist() if "sheet1" in name or rng.random() < 0.3])
            for name in old.namelist():
                part = old.read(name)
                new.writestr(name, mutated_xml(part, rng) if name == chosen else part)
        data = changed.getvalue()
    return data, lambda: flatness.read_survey(data, name="k.xlsx")


def mutated_xml(part, rng):
    """Numbers, names and elements of a part changed."""
    tokens = [b"0", b"-1", b"1048576", b"9" * 20, b"XFD1048576", b"A1:XFD1048576", b"s", b"e", b"inlineStr"]
    words = part.split(b'"') if rng.random() < 0.6 else part.split(b">")
    mark = b'"' if b'"'.join(words) == part else b">"
    for _ in range(rng.choice([1, 1, 2, 4])):
        k = rng.randrange(len(words))
        other = words[rng.randrange(len(words))]
        words[k] = rng.choice([rng.choice(tokens), b"", other, readers.mutated(words[k], rng)])
    return mark.join(words)


def job_file(rng, folder):
    """The sample job, mutated as text or as a document."""
    return toml(rng, folder / "job.toml", read_job)


def room(rng, folder):
    """The sample room, mutated as text or as a document."""
    return toml(rng, folder / "room.toml", read_room)


def toml(rng, path, read):
    """A file of TOML, mutated, beside what it names."""
    data = (SAMPLES / NEEDED[path.stem] / path.name).read_bytes()
    if rng.random() < 0.6:
        whole = mutant(tomllib.loads(data.decode()), rng)
        held = whole.items() if isinstance(whole, dict) else [("unit", whole)]
        data = "".join(f"{json.dumps(key)} = {as_toml(value)}\n" for key, value in held).encode("utf-8", "replace")
    else:
        data = readers.mutated(data, rng)
    path.write_bytes(data)
    return data, lambda: read(path)


def as_toml(value):
    """A value on one line, as TOML writes it; what it has no word for is an empty text."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {as_toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return '""' if value is None else json.dumps(value)


def plan(rng, folder):
    """A saved plan, mutated as a document or as text."""
    return document(test_saved.PLAN, rng, folder / "plan.json", read_plan)


def record(rng, folder):
    """A record, mutated as a document or as text."""
    return document(RECORD, rng, folder / "record.json", read_record)


def document(whole, rng, path, read):
    """A document of JSON, mutated, in its file."""
    data = json.dumps(mutant(whole, rng)).encode()
    data = readers.mutated(data, rng) if rng.random() < 0.3 else data
    path.write_bytes(data)
    return data, lambda: read(path)


def spots(rng, folder):
    """A list of strips, mutated as text."""
    data, path = readers.mutated(SPOTS.encode(), rng), folder / "spots.csv"
    path.write_bytes(data)
    return data, lambda: read_spots(path)


def kill(rng, folder):
    """A process that writes two files over and over, killed; what stands then is whole."""
    line = [sys.executable, "-c", test_whole_files.KILLED, str(folder)]
    with subprocess.Popen(line, stdout=subprocess.PIPE) as one:
        one.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.1))
        one.send_signal(signal.SIGKILL)

    def look():
        for path in folder.iterdir():
            held = path.read_bytes()
            assert path.suffix == ".part" or (len(held) == 200_000 and len(set(held)) == 1), f"{path} is not whole"
        parts = sum(path.suffix == ".part" for path in folder.iterdir())
        assert parts <= 8, "what dead processes left is not swept"  # of the last one alone: two files, and two kept

    return b"", look


KINDS = {
    "csv": text_file,
    "xlsx": workbook,
    "job": job_file,
    "room": room,
    "plan": plan,
    "record": record,
    "spots": spots,
}
USUAL = tuple(KINDS)
KINDS["kill"] = kill


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seconds", type=float, default=60.0, help="for all kinds together")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=USUAL)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--keep", default=tempfile.gettempdir(), help="folder for what ends in anything else")
    options = parser.parse_args()
    faults = 0
    print(f"seed {options.seed}\n")
    print("| kind | files | read | refused | anything else |\n|---|---|---|---|---|")
    for kind in options.kinds:
        with tempfile.TemporaryDirectory() as folder:
            for one in (SAMPLES / NEEDED[kind]).glob("*.csv") if kind in NEEDED else ():
                shutil.copy(one, folder)
            count = read = refused = other = 0
            end = time.monotonic() + options.seconds / len(options.kinds)
            while time.monotonic() < end:
                rng = random.Random(f"{options.seed} {kind} {count}")
                data, go = KINDS[kind](rng, Path(folder))
                count += 1
                try:
                    go()
                    read += 1
                except FlatnessError as error:
                    refused += bool(str(error))
                except Exception:
                    other += 1
                    kept = Path(options.keep) / f"flatness-fuzz-{kind}-{options.seed}-{count}"
                    kept.write_bytes(data)
                    print(f"{kept}:\n{traceback.format_exc(limit=-3)}", file=sys.stderr)
        faults += other
        print(f"| {kind} | {count} | {read} | {refused} | {other} |", flush=True)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
