"""Photographs and logos for papers: upright, no larger than they print, without what a camera wrote of them."""

from __future__ import annotations

import io

from PIL import Image, ImageOps

from flatness.errors import ArgumentError
from flatness.job.records import Picture

MOST_PIXELS = 1400  # along the longer side: 200 a printed inch, over 7 in
JPEG_QUALITY = 88


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
