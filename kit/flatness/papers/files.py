"""Finished papers as files, and pictures as papers take them: upright, and without what a camera wrote of them."""

from __future__ import annotations

import io
import os
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageOps

from flatness.errors import ArgumentError
from flatness.files import write_ours
from flatness.job.records import Picture

MOST_PIXELS = 1400  # along the longer side: 200 a printed inch, over 7 in
JPEG_QUALITY = 88


@dataclass(frozen=True)
class Paper:
    """A finished paper.

    Attributes
    ----------
    title : what it is
    pdf : the file as PDF
    html : the same as one HTML page that needs nothing else, or None where there is none
    """

    title: str
    pdf: bytes
    html: str | None = None

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write it as ``.pdf``, or as ``.html`` where the paper has that form.

        Parameters
        ----------
        path : its suffix tells the form
        overwrite : replace an older file there, where the kit wrote it

        Raises
        ------
        ArgumentError : another suffix, a file that is there already, or one that cannot be written
        """
        suffix = Path(path).suffix.lower()
        if suffix == ".pdf":
            return write_ours(path, self.pdf, overwrite=overwrite)
        if suffix == ".html" and self.html is not None:
            return write_ours(path, self.html.encode("utf-8"), overwrite=overwrite)
        forms = ".pdf" if self.html is None else ".pdf or .html"
        raise ArgumentError(
            "unknown form of this paper", value=Path(path).name, expected=f"a name that ends in {forms}"
        )


def embedded(picture: Picture, most: int = MOST_PIXELS) -> tuple[str, bytes]:
    """The ending and the bytes of a picture as it is put into a paper: pixels alone, without place, time or camera.

    Parameters
    ----------
    picture : JPEG or PNG
    most : pixels along its longer side

    Raises
    ------
    ArgumentError : a file that is damaged, or too large to be opened
    """
    try:
        with Image.open(io.BytesIO(picture.data), formats=("JPEG", "PNG")) as opened:
            kind = opened.format
            upright = ImageOps.exif_transpose(opened)
            upright.thumbnail((most, most))
            mode = "RGB" if kind == "JPEG" else "RGBA"
            bare = Image.new(mode, upright.size)  # a new picture carries nothing but its pixels
            bare.paste(upright.convert(mode))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise ArgumentError(
            "the picture cannot be opened",
            file=picture.name,
            value=str(error),
            expected="a whole JPEG or PNG file",
            remedy="open it elsewhere, save it again, and name that file",
        ) from error
    out = io.BytesIO()
    if kind == "JPEG":
        bare.save(out, "JPEG", quality=JPEG_QUALITY)
        return ".jpg", out.getvalue()
    bare.save(out, "PNG")
    return ".png", out.getvalue()
