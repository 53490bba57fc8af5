"""Comparisons one after another: the verdicts, which no alignment changes, are worked out once for each pair."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Any

from flatness.comparison.comparing import Comparison, compare
from flatness.limits.kinds import Limit
from flatness.survey.readings import Survey

KEPT = 4  # pairs of assessments


class ReadyVerdicts:
    """Compares as :func:`~flatness.comparison.comparing.compare` does, with what it has judged before kept ready."""

    def __init__(self) -> None:
        self._kept: dict[Hashable, Comparison] = {}

    def compare(
        self, before: Survey, after: Survey, limits: Sequence[Limit], confidence: float = 0.95, **how: Any
    ) -> Comparison:  # fmt: skip
        """The comparison of two surveys.

        Parameters
        ----------
        before, after, limits, confidence : as for ``compare``; what the verdicts rest on
        how : ``align`` and ``unchanged``, which move one datum against the other and no surface against its limits

        Raises
        ------
        FlatnessError : as for ``compare``
        """
        key = (before, after, confidence, *((one.name, one.length, one.allowed) for one in limits))
        judged = self._kept.get(key)
        if not limits or judged is None:
            found = compare(before, after, limits=limits, confidence=confidence, **how)
            self._keep(key, found)
            return found
        bare = compare(before, after, confidence=confidence, **how)
        return replace(
            bare, assessments=judged.assessments, verdicts=judged.verdicts,
            settings={**bare.settings, "limits": judged.settings["limits"]},
        )  # fmt: skip

    def _keep(self, key: Hashable, found: Comparison) -> None:
        if found.assessments is not None:
            self._kept[key] = found
            while len(self._kept) > KEPT:
                del self._kept[next(iter(self._kept))]
