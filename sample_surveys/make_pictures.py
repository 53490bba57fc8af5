"""Make again what the README shows: its commands' pictures, small, in ``PICTURES.md``, and a blank sheet to download.

``make_pictures.py [folder]`` runs each command and keeps one of the files that it writes, of a paper the first page.
It needs what the tests need. The bytes differ from one build of the libraries to another.
"""

from __future__ import annotations

import contextlib
import io
import shlex
import sys
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

from flatness import blank_sheet

SAMPLES = Path(__file__).resolve().parent
LOFT = "sample_surveys/loft_floor"
CHECK = f"check {LOFT}/before.csv --limit wood-glued"
ROOM = "room sample_surveys/gallery/room.toml"
CURVE = "curve sample_surveys/oval_room/niche.csv --plate 3-1/2in --parallel 2in"
# command, file that it writes, what it shows
PICTURES = (
    (CHECK, "before-heights.png", "Heights above and below the plane of a floor, with the worst straightedge"),
    (CHECK, "before-gap.png", "Gaps under the straightedge, wherever it lies"),
    (CHECK, "before-chance.png", "How likely each place fails"),
    (CHECK, "before-profile.png", "The worst profile under the bar"),
    ("light sample_surveys/gallery_walls/east.csv", "east-light-window.png", "A wall in the light of its window"),
    (
        f'plan {LOFT}/before.csv --limit wood-nailed-10ft --beneath "boards; may be planed; most 3/8in"',
        "before-actions.png",
        "What to do where: plane, fill, leave",
    ),
    (
        f"compare {LOFT}/before.csv {LOFT}/after.csv --limit wood-nailed --align none",
        "after-against-before-difference.png",
        "What the work changed, and how surely",
    ),
    (ROOM, "room-sheet.png", "A room with its walls folded out: what the crew sets out"),
    (ROOM, "room-owner.pdf", "A room's page for its owner"),
    (ROOM, "room-crew.pdf", "A room's sheet for its crew"),
    (CURVE, "niche-off-curve.png", "How far a curved wall is off its arc"),
    (CURVE, "niche-set-out.png", "How to set the curve out"),
    (f"paper owner {LOFT}/job.toml", "loft-floor-oak-nailed-on-boards-owner.pdf", "A page for the owner"),
    (f"paper crew {LOFT}/job.toml", "loft-floor-oak-nailed-on-boards-crew.pdf", "The plan to scale for the crew"),
    (f"paper record {LOFT}/job.toml", "loft-floor-oak-nailed-on-boards-record.pdf", "The record to sign"),
)
SHEET = "notebooks/blank_floor.xlsx"  # beside the samples it would be one that has no readings
WIDE, COLORS = 600, 48  # of a small picture


def small(path: Path) -> Image.Image:
    """A picture, or the first page of a paper, of a width and a number of colors that keep its file small."""
    if path.suffix == ".pdf":
        import pypdfium2

        page = pypdfium2.PdfDocument(path)[0]
        image = page.render(scale=2 * WIDE / page.get_width()).to_pil()
    else:
        image = Image.open(path)
    image = image.convert("RGB")
    return image.resize((WIDE, round(image.height * WIDE / image.width)), Image.Resampling.LANCZOS).quantize(COLORS)


def kept(file: str) -> str:
    """What the small picture of a file is called."""
    return f"pictures/{Path(file).stem}.png"


def gallery() -> str:
    """The text of ``PICTURES.md``."""
    parts = [
        "# What the kit draws\n\nFrom the samples, by the commands of the [README](../README.md) with `--out out`."
    ]
    last = ""
    for command, file, told in PICTURES:
        if command != last:
            parts.append(f"`flatness {command}`")
        last = command
        parts.append(f"![{told}]({kept(file)})\n\n{told}.")
    return "\n\n".join(parts) + "\n"


def write_sheet(path: Path) -> None:
    """A blank sheet of a floor of 20 ft x 16 ft, every 2 ft."""
    x, y = (np.arange(0, side + 1, 2) * 304.8 for side in (20, 16))
    blank_sheet(x, y, path, title="My floor", accuracy=25.4 / 32, overwrite=True)


def main(folder: Path) -> None:
    from flatness.__main__ import main as flatness

    write_sheet(folder.parent / SHEET)

    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as out, contextlib.chdir(SAMPLES.parent):
        for command in dict.fromkeys(command for command, _, _ in PICTURES):
            with contextlib.redirect_stdout(io.StringIO()):
                flatness([*shlex.split(command), "--out", out])
            for _, file, _ in (one for one in PICTURES if one[0] == command):
                small(Path(out, file)).save(folder / kept(file), optimize=True)
                print(kept(file), (folder / kept(file)).stat().st_size)
    (folder / "PICTURES.md").write_text(gallery())


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else SAMPLES)
