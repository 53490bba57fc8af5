"""Strips along which a bar is slid once the stations are read: one at a time, in the file that ``check`` reads.

The file stands beside the survey. It is written anew, whole, before the next strip is shown; what is taken back stays
in it, behind a ``#``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from flatness.errors import ArgumentError
from flatness.files import write_new
from flatness.limits.spot_checks import Sweep
from flatness.limits.strip_lists import gap_seen, read_strips, spot_sheet

TAKEN_BACK = "# taken back:"


def beside(survey: Path) -> Path:
    """Where the strips of a survey are written."""
    return survey.with_name(f"{survey.stem}-spots.csv")


class Strips:
    """The strips of one survey, and what a bar showed on them.

    Parameters
    ----------
    path : of their file, which is read where it is there
    unit : of gaps that carry none, ``in`` or ``mm``

    Attributes
    ----------
    every : all strips, in the order in which they are slid
    seen : what was written down of those that were done, by their number in ``every``, in the order in which it was
    """

    def __init__(self, path: Path, unit: str) -> None:
        self.path, self.unit = path, unit
        self.every: list[Sweep] = []
        self.seen: dict[int, str] = {}
        self._passed: set[int] = set()
        self._taken_back: list[str] = []
        if path.exists():
            found = read_strips(path)
            self.every = [sweep for sweep, _ in found if isinstance(sweep, Sweep)]
            if len(self.every) < len(found):
                raise ArgumentError(
                    "the list has places without a strip, which this page does not write",
                    value=str(path),
                    remedy="move it away, and give it to `flatness check --spot-check`",
                )
            self.seen = {k: seen for k, (_, seen) in enumerate(found) if seen}
            lines = path.read_text(encoding="utf-8-sig").splitlines()
            self._taken_back = [line for line in lines if line.startswith(TAKEN_BACK)]

    @property
    def done(self) -> list[Sweep]:
        """Those that were done, as :func:`flatness.assess` takes them."""
        return [self._as_seen(k, text) for k, text in sorted(self.seen.items())]

    @property
    def here(self) -> int | None:
        """Number of the strip to slide now; None where none is left."""
        left = (k for k in range(len(self.every)) if k not in self.seen and k not in self._passed)
        return next(left, None)

    def begin(self, wanted: Sequence[Sweep]) -> None:
        """Slide these strips, besides those of the list; those that were passed over are offered again."""
        self._passed.clear()
        listed = {(one.along, round(one.at), round(one.start), round(one.end)) for one in self.every}
        new = [one for one in wanted if (one.along, round(one.at), round(one.start), round(one.end)) not in listed]
        self.every += [replace(one, gap=None) for one in new]

    def enter(self, text: str) -> None:
        """Write down the largest gap on this strip, or ``none``.

        Raises
        ------
        LengthError : it is no length
        ArgumentError : it is not small beside the bar
        FlatnessError : it cannot be written
        """
        here, text = self.here, " ".join(text.split())
        if here is None or not text:
            raise ArgumentError("no gap yet", value="", expected="such as 3/32", remedy="type it, then Next")
        self._as_seen(here, text)
        self._write({**self.seen, here: text})

    def skip(self) -> None:
        """The bar cannot be slid here: the strip stays open."""
        if self.here is not None:
            self._passed.add(self.here)

    def back(self) -> bool:
        """Take back what was last written down; whether there was anything."""
        if not self.seen:
            return False
        last, text = list(self.seen.items())[-1]
        self._taken_back.append(f"{TAKEN_BACK} strip {last + 1}, {text}")
        self._passed.clear()
        self._write({k: seen for k, seen in self.seen.items() if k != last})
        return True

    def _as_seen(self, number: int, text: str) -> Sweep:
        one = self.every[number]
        return replace(one, gap=gap_seen(text, one.bar, self.unit))

    def _write(self, seen: dict[int, str]) -> None:
        text = spot_sheet(self.every, self.unit, seen, "\n".join(self._taken_back))
        write_new(self.path, text.encode(), overwrite=True)
        self.seen = seen
