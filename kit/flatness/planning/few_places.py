"""Few, compact places: the least work gathered, chalked, set to heights, and no more of it than the chance needs.

The least volume spreads thin over everything, while people pay by place and by area. So the least work is sought again
and again, each node's rate divided by what the last search did near it plus a little (iteratively reweighted l1:
Candes, Wakin, Boyd, J. Fourier Anal. Appl. 14, 2008, 877-905). Then places that the chance does not need are left.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from scipy import ndimage

from flatness.arrays import Floats
from flatness.errors import PlanError
from flatness.lengths import MM2_PER_FT2
from flatness.light.places import LightRequirement, Lights
from flatness.limits.kinds import Limit
from flatness.measures.bars import Requirement, gap_map
from flatness.planning.constraints import Depths, FixedSpot, spot_heights, spot_rows
from flatness.planning.least_work import Pool, Required
from flatness.planning.outlines import SQUARE, Place, merged, owned, place_around, places_of, set_heights, tape_step
from flatness.planning.quantities import Setting
from flatness.planning.request import Plannable
from flatness.planning.search import Found, Terms, seek
from flatness.planning.set_heights import CHANGED_MM, PlanCheck, Work
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

SHARE = 0.55  # of the limits, that ``aim="sure"`` begins with: the rest is for what the readings hide
LOOSER = (0.7, 0.85, 1.0)  # where that cannot be, or only with more off than may be
# of them, up to which bars along the lattice's own lines will do: one askew shows no more than 1/0.71 of what they do
ALONG_LINES = 0.7
LEAST_SHARE = 0.15  # of them, to which it is tightened where surfaces still fail
TIGHTER, STEPS = 0.6, (0.15, 0.45)  # by how much at a time where most of them fail, the less the fewer still do
NEAR_MM = 609.6  # how far about a place that fails
MOST_TRIES = 6
TRIED = 6  # places, those with the least work, without each of which it is sought again
MOST_FEWER = 4  # times that the work is sought again with a place less
REWEIGHTINGS = 3
NEAR_STEPS = 1.0  # of the lattice: how far about a node the work of the last search counts, one standard deviation
A_LITTLE_MM = 0.3  # added to it, so that no rate is without bounds
SPARE_CHANCE = 0.015  # that a plan goes for beyond the confidence, so that other surfaces judge it alike
WORTH_CHANCE = 0.015  # a place that makes the chance less than this better is left where none is sure
MOST_BETWEEN = 25 * MM2_PER_FT2  # ground that is taken in to make one place of two
WORTH_GROUND = 10 * MM2_PER_FT2  # and so is each 10 ft2 more
# numbers of the batches of surfaces that work is pruned on, and held against then
PRUNING, PROVING = (0, 1), (4, 5, 6, 7)
SURELY_LESS = 0.03
MOST_WIDER, WIDENED = 2, 0.2  # steps by which places are made wider, and how much surer that may make them
NOISE_MM, BINARY_MM = 1e-6, 1e-9

Marks = list[tuple[str, float, float, float]]


@dataclass(frozen=True, eq=False)
class Proof:
    """What the finished surface must hold to, measured again.

    Attributes
    ----------
    surface : as found
    requirements : straightedges and lights
    headings : directions in which they lie
    level_within : band [mm], or None
    fixed : spots whose finished height is given
    """

    surface: Surface
    requirements: Sequence[Required]
    headings: int
    level_within: float | None
    fixed: Sequence[FixedSpot]

    def holds(self, work: Work) -> bool:
        """Whether all of it holds once the work is done."""
        finished = work.on(self.surface).height
        inside = finished[self.surface.inside]
        if self.level_within is not None and float(np.ptp(inside)) > self.level_within + NOISE_MM:
            return False
        off = spot_rows(self.surface, self.fixed) @ inside - spot_heights(self.surface, self.fixed)
        if (np.abs(off) > np.array([spot.allowance for spot in self.fixed]) + NOISE_MM).any():
            return False
        lights = Lights(self.surface, [one for one in self.requirements if isinstance(one, LightRequirement)])
        if lights.used(finished) > 1 + BINARY_MM:
            return False
        return all(
            float(np.nanmax(gap_map(finished, self.surface.spacing, r.length, self.headings), initial=0.0))
            <= r.allowed + BINARY_MM
            for r in self.requirements
            if isinstance(r, Requirement)
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Gathered:
    """What the search found.

    Attributes
    ----------
    work : heights that places are set to
    places, marks : each place, and its marks: what, x, y, height [mm]
    change : [ny, nx] mm that was wanted at every node
    found : the least work behind it, with what it proves
    share : of the limits that was planned to
    chance : that the true surface passes, over the surfaces of the search; NaN where none was drawn
    """

    work: Work
    places: list[Place]
    marks: list[Marks]
    change: Floats
    found: Found
    share: float
    chance: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Search:
    """All that a search for places goes by.

    Attributes
    ----------
    survey : the readings
    terms : of the least work
    able, limits : what is planned for
    check : holds work against the limits
    thresholds : from :func:`~flatness.planning.patches.thresholds_of`
    error : of setting a height [mm]
    aim : share of each limit to plan to, or ``sure``
    """

    survey: Survey
    terms: Terms
    able: Plannable
    limits: Sequence[Limit]
    check: PlanCheck
    thresholds: Mapping[str, Setting]
    error: float
    aim: float | str
    _proof: Proof = field(init=False)
    _pools: dict[int, Pool] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        terms = self.terms
        share = 1.0 if self.aim == "sure" else float(self.aim)
        proof = Proof(terms.surface, self.able.at(share), terms.headings, terms.level_within, terms.fixed)
        object.__setattr__(self, "_proof", proof)

    @property
    def _is_weighed(self) -> bool:
        """Whether the work goes by the chance of passing, and not by a share of the limits."""
        return self.aim == "sure" and self.check.likely is not None and bool(self.limits)

    @property
    def _wanted_chance(self) -> float:
        confidence = self.check.confidence
        return min(confidence + SPARE_CHANCE, (1 + confidence) / 2)

    def _seek(self, of_limits: float, **others: Any) -> Found:
        """The least work to a share of the limits; the proof holds it against bars of every heading."""
        headings = self.terms.headings
        if self._is_weighed and of_limits <= ALONG_LINES:
            headings = math.gcd(headings, 4)
        pool = self._pools.setdefault(headings, Pool())
        return seek(replace(self.terms, headings=headings, pool=pool, **others), self.able.at(of_limits))

    def run(self) -> Gathered:
        """The work with the fewest, smallest places that is sure enough, or the surest.

        Raises
        ------
        PlanError : terms that clash
        """
        share = SHARE if self.aim == "sure" else float(self.aim)
        nothing = self._chance(self._nothing)
        if nothing >= self._wanted_chance and self._proof.holds(self._nothing):
            share = 1.0
        share, found = self._least(share)
        change = self._gathered(found, share, None, np.nan_to_num(found.change))
        if not self._is_weighed:
            change = self._fewer(found, share, change)
            return self._finished(found, share, self._places(change), change)
        made, rates = self._sure(found, share, change), self.terms.rates
        if rates.off == rates.add:
            return made
        # one that is dear by volume may be the less work by place and ground
        even = replace(self, terms=replace(self.terms, rates=replace(rates, off=1.0, add=1.0))).run()
        sure = [one for one in (made, even) if one.chance >= self._wanted_chance]
        least = (
            min(sure, key=lambda one: self._work(one.places, one.change))
            if sure
            else max(made, even, key=lambda one: one.chance)
        )
        return replace(least, found=replace(least.found, bound=made.found.bound, flat_cost=made.found.flat_cost))

    def _least(self, share: float) -> tuple[float, Found]:
        """The least work to a share, or, where that asks for what nobody may do, to a larger one."""
        looser = [one for one in LOOSER if one > share] if self._is_weighed else []
        for one in [share, *looser]:
            try:
                found = self._seek(one)
            except PlanError:
                if one == max([share, *looser]):
                    raise
                continue
            if not found.clash or one == max([share, *looser]):
                return one, found
        raise AssertionError

    def _sure(self, found: Found, share: float, change: Floats) -> Gathered:
        """More is added where bars still show too much on surfaces that the readings allow, until few are left."""
        surface, tight = self.terms.surface, np.ones(self.terms.surface.height.shape)
        best: tuple[float, float, list[Place], Floats] = -1.0, 0.0, [], change
        made: Gathered | None = None
        for attempt in range(MOST_TRIES):
            places = self._places(change)
            work = self._set(places, change)[0]
            # other surfaces each time, so that no work is fitted to those that it is held against
            chance, failing = self.check.failing(self.limits, work, attempt % PROVING[0])
            area = sum(place.outline.area for place in places)
            # what makes it little surer is not worth much more ground
            if chance > best[0] + self._worth(area - best[1]):
                best = chance, area, places, change
            if chance >= self._wanted_chance:
                done = self._finished(found, share, places, change)
                if made is None or done.chance > made.chance + WORTH_CHANCE:
                    made = done
                if made.chance >= self._wanted_chance:
                    break
                failing = self.check.failing(self.limits, done.work, PROVING[0])[1]
            if not found.finished or attempt == MOST_TRIES - 1:
                break
            failing = ndimage.maximum_filter(failing, round(2 * NEAR_MM / surface.spacing) + 1)
            step = float(np.clip(TIGHTER * (1 - (1 - self._wanted_chance) / max(1 - chance, 1e-9)), *STEPS))
            tight = tight * (1 - step * np.minimum(1.0, 2 * failing / max(float(failing.max()), 1e-9)))
            try:
                change = self._gathered(found, share, np.maximum(tight, LEAST_SHARE / share), change)
            except PlanError:
                break
        return made or self._finished(found, share, best[2], best[3])

    @property
    def _nothing(self) -> Work:
        return Work(np.full(self.terms.surface.height.shape, np.nan), error=self.error)

    def _chance(self, work: Work, batches: Sequence[int] = PRUNING, roughly: bool = True) -> float:
        return float(np.mean([self.check.chance(self.limits, work, roughly, batch) for batch in batches]))

    def _at_least(self, work: Work, least: float) -> float:
        """The chance, or less where the first surfaces already leave it well under the least that is wanted."""
        first = self._chance(work, PRUNING[:1])
        return first if first < least - SURELY_LESS else (first + self._chance(work, PRUNING[1:])) / 2

    def _places(self, change: Floats) -> list[Place]:
        # to a share that is given every bit counts; what makes a plan sure has some to spare
        least = self.thresholds["least_depth"].value if self._is_weighed else CHANGED_MM
        # ground between two places is worth as much of it as a place takes
        rates = self.terms.rates
        worth = rates.place / rates.area if rates.area > 0 else 0.0
        return places_of(change, self.terms.surface, least, min(worth, MOST_BETWEEN))

    def _finished(self, found: Found, share: float, places: list[Place], change: Floats) -> Gathered:
        """Without what is not needed, chalked."""
        places, change = self._workable(places, change)
        kept, left = self._needed(places, change)
        some, chance = (kept, math.nan) if not self._is_weighed else self._enough(kept, left, change)
        work, marks, chance = self._chalked(some, change, chance)
        return Gathered(work=work, places=some, marks=marks, change=change, found=found, share=share, chance=chance)

    def _gathered(self, found: Found, share: float, tight: Floats | None, change: Floats) -> Floats:
        """The change [ny, nx] mm once its work is drawn together, ``change`` being what the last search did."""
        if not found.finished or (tight is None and not change.any()):
            return change
        for _ in range(REWEIGHTINGS if tight is None else 1):
            near = ndimage.gaussian_filter(np.abs(change), NEAR_STEPS)
            weights = 1.0 / (near + A_LITTLE_MM)
            again = self._seek(
                share, depths=found.depths, permitted=None, explain=False, weights=weights / weights.mean(), share=tight
            )
            if not again.finished:
                break
            change = np.nan_to_num(again.change)
        return change

    @staticmethod
    def _ground(found: Gathered) -> float:
        return float(sum(place.outline.area for place in found.places))

    @staticmethod
    def _worth(more: float) -> float:
        """By how much surer so much more ground [mm2] has to make it."""
        return WORTH_CHANCE * max(1.0, more / WORTH_GROUND)

    def _fewer(self, found: Found, share: float, change: Floats) -> Floats:
        """The change sought again without one place at a time, or all of one sign, as long as that is less work."""
        shape = self.terms.surface.height.shape
        least = self._work(self._places(change), change)
        for _ in range(MOST_FEWER):
            places, better = self._places(change), None
            if len(places) < 2 or not found.finished:
                break
            signs = {place.sign for place in places}
            smallest = sorted(places, key=partial(self._alone, change=change))[:TRIED]
            without = [(place.sign, place.nodes) for place in smallest]
            without += [(sign, np.ones(shape, dtype=bool)) for sign in signs if len(signs) > 1]
            for sign, nodes in without:
                cut, fill = (
                    np.broadcast_to(np.asarray(d, dtype=np.float64), shape)
                    for d in (found.depths.cut, found.depths.fill)
                )
                cut, fill = (np.where(nodes & (sign == s), 0.0, depth) for s, depth in ((-1, cut), (1, fill)))
                limited = replace(found, depths=Depths(cut, fill))
                try:
                    other = self._gathered(limited, share, np.ones(shape), change)
                except PlanError:
                    continue
                work = self._work(self._places(other), other)
                if work < least:
                    better, least = other, work
            if better is None:
                break
            change = better
        return change

    def _work(self, places: Sequence[Place], change: Floats) -> float:
        """What places take by the rates."""
        rates = self.terms.rates
        return sum(rates.work(one.sign, one.outline.area, self._volume(one, change)) for one in places)

    def _alone(self, place: Place, change: Floats) -> float:
        return self._work([place], change)

    def _volume(self, place: Place, change: Floats) -> float:
        """What moves in a place [mm3], the way that it moves."""
        area = node_areas(self.terms.surface.inside, self.terms.surface.spacing)
        return float((np.maximum(place.sign * change, 0.0) * area)[place.nodes].sum())

    def _is_worth_it(self, place: Place, change: Floats) -> bool:
        """Whether it is as deep as its material goes, and no speck."""
        deepest = float(np.max(place.sign * change[place.nodes], initial=0.0))
        return deepest >= self._thinnest(place) - NOISE_MM and place.outline.area >= self._threshold("least_patch")

    def _thinnest(self, place: Place) -> float:
        return self._threshold("thinnest_fill" if place.sign > 0 else "least_depth")

    def _threshold(self, name: str) -> float:
        return self.thresholds[name].value

    def _deepest(self, sign: int) -> Floats:
        """[ny, nx] mm that may be added, or taken off."""
        own = np.asarray(self.terms.depths.fill if sign > 0 else self.terms.depths.cut, dtype=np.float64)
        if sign > 0 or self.terms.permitted is None:
            return np.broadcast_to(own, self.terms.surface.height.shape)
        return np.minimum(own, self.terms.permitted.cut)

    def _set(self, places: Sequence[Place], change: Floats, within: float | None = None) -> tuple[Work, list[Marks]]:
        """The heights that places are set to: as wanted at every node, or straight between marks and so near to it."""
        surface = self.terms.surface
        height, marks = np.full(surface.height.shape, np.nan), []
        way = np.zeros(surface.height.shape, dtype=np.int8)
        for place, own in zip(places, owned(places, change), strict=True):
            target = surface.height + np.where(place.sign * change > 0, change, 0.0)
            if within is not None:
                # what is a question for the engineer is put to him as it is wanted
                deepest = np.maximum(self._deepest(place.sign), place.sign * change)
                target, made = set_heights(place, change, surface, self.survey, within, deepest)
                marks.append(made)
            here = own & np.isfinite(target)
            height[here], way[here] = target[here], place.sign
        return Work(height, way, self.error), marks

    def _workable(self, places: list[Place], change: Floats) -> tuple[list[Place], Floats]:
        """Without specks, and without fill thinner than its material goes; as deep as that where it is needed."""
        worthy = [place for place in places if self._is_worth_it(place, change)]
        kept = worthy if self._proof.holds(self._set(worthy, change)[0]) else places
        thin = [
            one
            for one in places
            if one not in worthy
            and one.outline.area >= self._threshold("least_patch")
            and (self._deepest(one.sign)[one.nodes] >= self._thinnest(one)).all()
        ]
        if not (self._is_weighed and thin):
            return kept, change
        deeper = change.copy()
        for place in thin:
            moved = np.where(place.nodes, np.maximum(place.sign * change, 0.0), 0.0)
            deeper += place.sign * moved * max(0.0, self._thinnest(place) / moved.max() - 1)
        wanted = self._chance(self._set(kept, change)[0]) + WORTH_CHANCE * len(thin)
        work = self._set([*worthy, *thin], deeper)[0]
        is_better = self._at_least(work, wanted) >= wanted and self._proof.holds(work)
        return ([*worthy, *thin], deeper) if is_better else (kept, change)

    def _needed(self, places: list[Place], change: Floats) -> tuple[list[Place], list[Place]]:
        """The places that the proof and the chance need, and those that neither does, the least volume first."""
        kept, left = places, []
        chance = self._chance(self._set(places, change)[0]) if self._is_weighed else math.nan
        for place in sorted(places, key=partial(self._volume, change=change)):
            if not self._is_weighed and self._is_worth_it(place, change):
                continue
            fewer = [one for one in kept if one is not place]
            work = self._set(fewer, change)[0]
            if not self._proof.holds(work):
                continue
            if self._is_weighed:
                enough = min(self._wanted_chance, chance - WORTH_CHANCE)
                without = self._at_least(work, enough)
                if without < enough:
                    continue
                chance = max(chance, without) if without < self._wanted_chance else without
            kept = fewer
            left.append(place)
        return kept, left

    def _enough(self, kept: list[Place], left: list[Place], change: Floats) -> tuple[list[Place], float]:
        """The places that are sure enough on other surfaces, with the least work; else those that are worth it.

        What was left is done after all, the most of it first, or places are made wider: a height that is set is known,
        and what lies about it is not.
        """
        tried: list[tuple[float, list[Place], float, list[Place]]] = []
        for back in range(len(left) + 1):
            narrow = [*kept, *left[len(left) - back :]]
            for wider in range(MOST_WIDER + 1):
                some = [self._widened(place, narrow, wider) for place in narrow]
                chance = self._on_others(some, change)
                tried.append((self._work(some, change), some, chance, narrow))
                if chance >= self._wanted_chance or chance < self._wanted_chance - WIDENED:
                    break
            if tried[-1][2] >= self._wanted_chance:
                break
        sure = [one for one in tried if one[2] >= self._wanted_chance]
        if not sure:
            least, area = tried[0][0], self.terms.rates.area
            return max(tried, key=lambda one: one[2] - self._worth((one[0] - least) / area if area else 0.0))[1:3]
        _, some, chance, narrow = min(sure, key=lambda one: one[0])
        for k in sorted(range(len(some)), key=lambda k: narrow[k].outline.area - some[k].outline.area):
            fewer = [*some[:k], narrow[k], *some[k + 1 :]]
            if some[k] is not narrow[k] and (without := self._on_others(fewer, change)) >= self._wanted_chance:
                some, chance = fewer, without
        # outlines that overlap now are one
        both = [merged([one for one in some if one.sign == sign], self.terms.surface) for sign in (1, -1)]
        return [*both[0], *both[1]], chance

    def _on_others(self, places: Sequence[Place], change: Floats) -> float:
        """The chance over surfaces that the places were not chosen on."""
        return self._chance(self._set(places, change)[0], PROVING, roughly=False)

    def _widened(self, place: Place, places: Sequence[Place], steps: int) -> Place:
        """A place with so many steps of the lattice more about it, short of those where it goes the other way."""
        if not steps:
            return place
        against = np.any(
            [one.nodes for one in places if one.sign != place.sign] or [~self.terms.surface.inside], axis=0
        )
        nodes = ndimage.binary_dilation(place.nodes, SQUARE, iterations=steps) & self.terms.surface.inside
        return place_around(place.sign, place.nodes | (nodes & ~against), self.terms.surface)

    def _chalked(self, places: list[Place], change: Floats, chance: float) -> tuple[Work, list[Marks], float]:
        """Heights to set at marks as far apart as the proof and the chance that the places have allow; the chance."""
        enough = min(self._wanted_chance, chance - WORTH_CHANCE)
        step = tape_step(self.survey)
        for within in (step, step / 2, step / 4, 0.0):
            work, marks = self._set(places, change, within) if places else (self._nothing, [])
            if within and places and not self._proof.holds(work):
                continue
            chance = self._chance(work, PROVING, roughly=False)
            # no crew sets every node for the last of the chance
            if not chance < enough or within <= step / 4:
                break
        return work, marks, chance
