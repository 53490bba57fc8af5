"""The pictures of a check as files: heights, gaps, chances, and the profile under the worst straightedge."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from flatness.errors import ArgumentError
from flatness.limits.kinds import Limit
from flatness.limits.verdict import Assessment
from flatness.measures.straightedge import StraightedgeResult
from flatness.show.axes import SOFTWARE, save_chart
from flatness.show.chances import chance_map
from flatness.show.charts import surface_map
from flatness.show.check_words import where_alone, where_to_read
from flatness.show.gaps import gap_map
from flatness.show.profile import profile_chart
from flatness.show.scales import printed_place
from flatness.show.words import length, shown_unit


def laid_for(assessment: Assessment, limit: Limit) -> StraightedgeResult:
    """The straightedge of a limit laid on the surface as read."""
    assert limit.length is not None
    return assessment.subject.laid(limit.length)


def check_charts(assessment: Assessment, unit: str | None = None, batch: int | None = None) -> dict[str, Any]:
    """The charts of a check, by name.

    ``heights`` always; ``gap`` and ``profile`` where a straightedge was laid; ``chance`` where surfaces were drawn for
    it, with a batch of places for more readings where its limit is undecided.
    """
    survey, surface = assessment.subject.survey, assessment.subject.surface
    unit = shown_unit(survey, unit)
    one = assessment.pictured
    if one is None:
        return {"heights": surface_map(surface, survey=survey, unit=unit)}
    limit = one.limit
    assert limit.length is not None
    result = laid_for(assessment, limit)
    bar = printed_place(limit.length, unit)
    verdict = f"{one.verdict.upper()}{where_alone(one, assessment, unit)}"
    title = f"{verdict}: gap under a {bar} straightedge"
    charts: dict[str, Any] = {
        "heights": surface_map(surface, survey=survey, limit_mm=limit.allowed, bar=result.worst, unit=unit),
        "gap": gap_map(surface, result, allowed_mm=limit.allowed, survey=survey, unit=unit, title=title),
    }
    if len(one.used) and one.finding is not None and not one.finding.only:
        place = where_to_read(assessment, batch)
        more = place[1] if place is not None and place[0] is one else None
        chance, anywhere = assessment.chance_map(limit), float(np.mean(one.used > 1 + 1e-9))
        charts["chance"] = chance_map(
            surface, chance, limit=limit, survey=survey, more=more, anywhere=anywhere, unit=unit
        )
    if result.worst is not None:
        worst = length(result.worst.gap, unit, limit.allowed)
        charts["profile"] = profile_chart(
            surface,
            result.worst,
            length=limit.length,
            allowed_mm=limit.allowed,
            kind=survey.surface,
            unit=unit,
            title=f"{verdict}: profile under the {bar} straightedge, gap {worst}",
        )
    return charts


def write_pictures(assessment: Assessment, folder: Path, stem: str, unit: str, batch: int | None = None) -> list[Path]:
    """Write the charts of a check as PNG files ``STEM-NAME.png`` into a folder, and say which.

    Raises
    ------
    ArgumentError : the folder cannot be made, or a file of that name stands there that the kit did not write
    """
    return write_charts(check_charts(assessment, unit, batch), folder, stem)


def write_charts(charts: Mapping[str, Any], folder: Path, stem: str) -> list[Path]:
    """Write charts as PNG files ``STEM-NAME.png`` into a folder; all or, where one name is taken, none.

    Raises
    ------
    ArgumentError : as for :func:`write_pictures`
    """
    paths = {name: folder / f"{stem}-{name}.png" for name in charts}
    for path in paths.values():
        check_ours(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save_chart(chart, paths[name]) for name, chart in charts.items()]
    except OSError as error:
        raise ArgumentError(
            "the pictures cannot be written", value=str(folder), expected="a folder that can be written to",
            remedy=f"choose another folder ({error.strerror})",
        ) from error  # fmt: skip


def check_ours(path: Path) -> None:
    """Refuse to overwrite a file that this kit did not write."""
    if path.exists() and SOFTWARE.encode() not in path.read_bytes()[:4096]:
        raise ArgumentError(
            "a file stands there that this kit did not write", value=str(path),
            remedy="move it away, or choose another folder",
        )  # fmt: skip
