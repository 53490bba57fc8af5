"""Specks: patches too small or too thin to be worth the walk, left where the proof holds without them, else joined."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from flatness.corrections.actions import CHANGED_MM
from flatness.corrections.plan import ACTIONS
from flatness.corrections.quantities import Setting
from flatness.corrections.rounds import NOISE_MM
from flatness.corrections.terms import FixedSpot, spot_heights, spot_rows
from flatness.corrections.volumes import node_areas
from flatness.measures.bars import gap_map
from flatness.measures.placements import Requirement
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Proof:
    """What the finished surface must hold to, measured again.

    Attributes
    ----------
    surface : as found
    requirements : straightedges
    headings : directions in which they are laid
    level_within : band [mm], or None
    fixed : spots whose finished height is given
    """

    surface: Surface
    requirements: Sequence[Requirement]
    headings: int
    level_within: float | None
    fixed: Sequence[FixedSpot]

    def holds(self, change: Floats) -> bool:
        """Whether all of it holds after a change [ny, nx] mm."""
        finished = self.surface.height + change
        inside = finished[self.surface.inside]
        if self.level_within is not None and float(np.ptp(inside)) > self.level_within + NOISE_MM:
            return False
        off = np.abs(spot_rows(self.surface, self.fixed) @ inside - spot_heights(self.surface, self.fixed))
        if (off > [spot.allowance + NOISE_MM for spot in self.fixed]).any():
            return False
        return all(
            float(np.nanmax(gap_map(finished, self.surface.spacing, r.length, self.headings), initial=0.0))
            <= r.allowed + NOISE_MM
            for r in self.requirements
        )


def leave_specks(
    change: Floats, proof: Proof, thresholds: Mapping[str, Setting], *, by_area: bool = True
) -> tuple[Floats, int]:
    """The change without the specks that need not be done, and how many those are.

    Parameters
    ----------
    change : [ny, nx] mm, which holds to the proof
    proof : what must hold without them
    thresholds : ``least_patch`` [mm2] and ``least_depth`` [mm]
    by_area : whether a patch is a speck for its small area too; False: only for its little depth

    Notes
    -----
    All specks at once are tried first, then halves of them, down to single ones: whatever fails is done after all.
    """
    specks = specks_of(change, proof.surface, thresholds, by_area=by_area)
    left = change.copy()
    gone = _leave(left, specks, proof) if specks else 0
    return left, gone


def specks_of(
    change: Floats, surface: Surface, thresholds: Mapping[str, Setting], *, by_area: bool = True
) -> list[Mask]:
    """Connected areas of one sign that are smaller or shallower than the least, the least volume first."""
    least_area = thresholds["least_patch"].value if by_area else 0.0
    least_depth = thresholds["least_depth"].value
    area, found = node_areas(surface.inside, surface.spacing), []
    for sign in (1, -1):
        moved = np.nan_to_num(sign * change)
        labels, count = ndimage.label(moved > CHANGED_MM)
        if not count:
            continue
        number = np.arange(1, count + 1)
        covered, deepest, volume = (
            ndimage.sum(area, labels, number), ndimage.maximum(moved, labels, number),
            ndimage.sum(area * moved, labels, number),
        )  # fmt: skip
        small = (np.asarray(covered) < least_area * (1 - 1e-9)) | (np.asarray(deepest) < least_depth)
        found += [(float(volume[k]), labels == k + 1) for k in np.flatnonzero(small)]
    return [mask for _, mask in sorted(found, key=lambda one: one[0])]


def _leave(left: Floats, specks: list[Mask], proof: Proof) -> int:
    """Set as many of the specks to no change in ``left`` as hold, and say how many."""
    trial = left.copy()
    trial[np.any(specks, axis=0)] = 0.0
    if proof.holds(trial):
        left[...] = trial
        return len(specks)
    if len(specks) == 1:
        return 0
    half = len(specks) // 2
    return _leave(left, specks[:half], proof) + _leave(left, specks[half:], proof)


def join_specks(
    actions: NDArray[np.int8], surface: Surface, change: Floats, thresholds: Mapping[str, Setting]
) -> NDArray[np.int8]:
    """The actions with specks taken into the larger neighbour that they touch and that moves the same way.

    What the engineer must be asked about stays so: it never becomes planing.
    """
    area, actions = node_areas(surface.inside, surface.spacing), actions.copy()
    least_area, least_depth = thresholds["least_patch"].value, thresholds["least_depth"].value
    cross = ndimage.generate_binary_structure(2, 1)
    for action in ("plane", "fill", "sister", "fur"):
        number = ACTIONS.index(action)
        labels, _ = ndimage.label(actions == number)
        for k in range(1, int(labels.max(initial=0)) + 1):
            speck = labels == k
            small = float(area[speck].sum()) < least_area * (1 - 1e-9)
            if not small and float(np.abs(change[speck]).max()) >= least_depth:
                continue
            rim = ndimage.binary_dilation(speck, cross) & ~speck
            same_way = rim & (np.sign(np.nan_to_num(change)) == np.sign(change[speck][0])) & (actions > 0)
            if same_way.any():
                # of several neighbours, the action along most of its rim
                actions[speck] = np.bincount(actions[same_way]).argmax()
    return actions
