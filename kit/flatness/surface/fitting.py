"""Parameters of the likely surface from the readings: restricted likelihood with weak priors.

With few readings the likelihood alone may run off to lengths that no building shows, or take all that it sees for
noise and a rough floor for a flat one. So it is multiplied by priors that say no more than this: waves in framing and
slabs are of the order of feet and of an eighth of an inch, the two directions do not differ beyond reason, and a
reading of unknown accuracy is good to about 1/32 in. Their centres and spreads are assumptions of this kit (common
practice, no source); with more readings they lose their weight.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.errors import MeasureError
from flatness.surface.framing import FOOT, PATCHED, PROUD, SHOULDERS_LENGTH, SHOULDERS_MM, Patch, Ridge, joists
from flatness.surface.kriging import (
    Factored,
    Parameters,
    Stations,
    factor,
    left_out,
    likelihood_gradient,
    restricted_log_likelihood,
)
from flatness.surface.local import LARGE
from flatness.survey.readings import Framing, Survey

LENGTH_MM, LENGTH_SPREAD = 1500.0, 1.0  # prior of the mean log length: about 2 to 13 ft within one deviation
RATIO_SPREAD = 1.0  # prior of the log ratio of the two lengths
SCALE_MM, SCALE_SPREAD = 3.0, 1.5  # prior of the log scale: an eighth of an inch or so, within a factor of 4.5
ERROR_MM, ERROR_SPREAD = 0.8, 0.5  # prior of the log reading error where it is fitted: 1/32 in, within a factor of 1.6
JOISTS_SPREAD = 0.7  # prior of the log of what members stand off on their own: within a factor of 2 of what is typical
STARTS_MM = (600.0, 1500.0, 4000.0)
MOST_BLOCKS = 6  # of them tell the parameters of a large survey, spread over it
BLOCK = 400  # readings judged together; more are judged in blocks of neighbours
FEWEST_REPEATS = 5  # degrees of freedom from which repeated readings tell the reading error
# the curvature at the best understates how far skewed likelihoods reach: widened so, simulated rooms are covered as
# often as they should be (tests/benchmarks/verdicts.py). Drawn by importance instead they were no better: at 2 ft the
# same, at 4 ft a few more rooms decided, but some of them wrongly
SPREAD_FACTOR = 2.5
LEAST_ERROR_MM, MOST_ERROR_MM = 0.02, 30.0
# of the supposed ridges the foremost are fitted anew, the rest taken at the parameters without; at most so many a room.
# Foremost at a few smoother sets of parameters, too: the likeliest may take a ridge for a short wave, and hide it
REFITTED, MOST_PROUD = 6, 4
# a patch about a station that stands so many errors out of a smoother surface; its radius in steps, and that as a part
# of the room's shorter side at the most
PATCHES_TRIED, OUTSTANDING, PATCH_STEPS, PATCH_SHARE = 6, 3.0, 2.0, 0.4
# through such a station: a ridge, one joist's spacing to either side, or a strip as wide as a patch, whose top may lie
# between the lines of stations, and the chance of each before any reading. Tried on rooms of known truth: with ridges
# alone one place in four on a ridge between the lines was over three errors off
RIDGE_HALF_WIDTH, RIDGED = 4 / 3 * FOOT, 0.004
NEXT_TO_NOTHING = 0.01  # weight of all patches and ridges together that leaves a surface as it is without
UNSEEN = 1e-6  # of a ridge's variance is at no station
SMOOTHER = tuple((grow, length) for grow in (0.5, 1.0) for length in (1500.0, 4000.0))


@dataclass(frozen=True, eq=False)
class Supposition:
    """That some members stand out, or none.

    Attributes
    ----------
    weight : how likely it is, 1 for all suppositions together
    fit : the parameters under it
    ridges : over which members besides those in the fit's own parameters
    unseen : whether no station bears on those, so that their heights are as unknown as before
    """

    weight: float
    fit: Fit
    ridges: tuple[Ridge, ...] = ()
    unseen: bool = False

    @cached_property
    def whole(self) -> Fit:
        """The fit with all that is supposed, and its factor once that is worked out."""
        best = self.fit.best
        return self.fit if not self.ridges else replace(self.fit, best=replace(best, ridges=best.ridges + self.ridges))


@dataclass(frozen=True, eq=False)
class Fit:
    """Fitted parameters and how surely they are known.

    Attributes
    ----------
    stations : the stations, moved so that their mean is the origin
    origin : (x, y, height) [mm] of that origin
    best : the likeliest parameters
    spread : [k, k] covariance of the logarithms of the fitted ones: scale, length_x, length_y, where a layout is
        known the joists' scale, and, where it was fitted, reading_error
    error_basis : ``given``, ``ties`` (between instrument set-ups), ``repeats`` or ``fitted``
    suppositions : which members, patches and ridges may stand out; empty where nothing may. This fit is that of
        the likeliest
    """

    stations: Stations
    origin: tuple[float, float, float]
    best: Parameters
    spread: Floats
    error_basis: str
    suppositions: tuple[Supposition, ...] = ()

    @cached_property
    def factored(self) -> Factored:
        """The stations' covariance under the likeliest parameters, factored once."""
        return factor(self.stations, self.best)

    def parameter_sets(self, sets: int, draws: int, rng: np.random.Generator) -> Iterator[tuple[Parameters, int]]:
        """Some ``sets`` parameters that the readings allow, with how many of the draws each takes.

        The likeliest ones alone where only one set is asked for. Of suppositions each has its share of the draws,
        and one set at the least.
        """
        if self.suppositions:
            ends = np.cumsum([one.weight for one in self.suppositions])
            chosen = np.searchsorted(ends[:-1], (np.arange(draws) + rng.random()) / draws)
            for number, share in zip(*np.unique(chosen, return_counts=True), strict=True):
                yield from self.suppositions[number].whole._own_sets(max(1, round(sets * share / draws)), int(share))
        else:
            yield from self._own_sets(sets, draws)

    def _own_sets(self, sets: int, draws: int) -> Iterator[tuple[Parameters, int]]:
        values, vectors = np.linalg.eigh(self.spread)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        # the same for every seed, so that two seeds differ by the surfaces alone, and the first of one sequence, so
        # that what draws of the same parameters share is worked out once
        moves = _spread_normal(sets, len(root))
        low, high = (bound[: len(root)] for bound in _bounds(self.best))
        for number in range(sets):
            count = draws // sets + (number < draws % sets)
            moved = np.clip(logs_of(self.best)[: len(root)] + root @ moves[number], low, high)
            yield parameters_at(moved, self.best), count


def _spread_normal(count: int, dimensions: int) -> Floats:
    """Standard normal numbers [count, dimensions] of which the first few are as evenly spread as all; zero first.

    A Kronecker sequence by powers of the generalized golden ratio, the root of x^(d + 1) = x + 1.
    """
    ratio = 2.0
    for _ in range(50):
        ratio = (1 + ratio) ** (1 / (dimensions + 1))
    steps = np.outer(np.arange(count), ratio ** -np.arange(1.0, dimensions + 1))
    return np.asarray(ndtri((0.5 + steps) % 1))


def fit_parameters(
    survey: Survey, framing: Framing | None = None, without: Sequence[int] = (), patches: bool = True
) -> Fit:
    """Fit the likely surface's parameters to a survey.

    ``framing`` is the members beneath, ``without`` the numbers of stations that are left out, ``patches`` whether
    places may be wavier than the rest.
    """
    x, y, height, count = survey.stations()
    kept = np.delete(np.arange(len(x)), list(without))
    x, y, height, count = x[kept], y[kept], height[kept], count[kept]
    if len(x) < 4:
        raise MeasureError("too few stations for a likely surface", value=str(len(x)), expected="four or more")
    origin = (float(x.mean()), float(y.mean()), float(height.mean()))
    stations = Stations(x - origin[0], y - origin[1], height - origin[2], count)
    if np.linalg.matrix_rank(np.column_stack([np.ones_like(x), stations.x, stations.y])) < 3:
        raise MeasureError("the stations lie on one line", remedy="read a second line beside it")
    error, basis = _reading_error(survey)
    flat = stations.height - _plane(stations)
    start = Parameters(max(float(flat.std()), error or 0.5), 1.0, 1.0, error or 0.5)
    if len(x) <= LARGE:  # of a larger one each place is estimated from those about it, which end at the seam
        start = replace(start, turn=survey.turn)
    if framing is not None and framing.typical > 0:
        start = replace(start, joists=joists(framing, origin))
    free = len(logs_of(start)) - (error is not None)
    blocks = blocks_of(stations)
    best, loss = _search(blocks, start, free)
    plain = Fit(stations, origin, parameters_at(best, start), _spread(blocks, best, start), basis)
    # in a few blocks of a large survey a member that stands out elsewhere is not seen
    return plain if len(x) > LARGE else _weighed(plain, loss, blocks, patches)


def _weighed(plain: Fit, loss: float, blocks: list[Stations], patches: bool) -> Fit:
    """The likeliest fit of all suppositions on what stands out, and how likely each of them is.

    A supposition's weight is its prior times the likelihood at its best, times how far around that it holds
    (Laplace). One that no station bears on keeps its prior. Where nothing may stand out the fit is as it was.
    """
    stations, free = plain.stations, len(plain.spread)
    logs, priors = [_evidence(loss, plain)], [0.0]
    found = [Supposition(1.0, plain)]
    fit, prior = plain, 0.0
    for _ in range(MOST_PROUD):
        smoother = _smoother(fit)
        starts = [logs_of(one)[:free] for one in (fit.best, *smoother)]
        without, base = np.array([loss_at(one, blocks, fit.best) for one in starts]), max(logs)
        foremost: dict[int, tuple[float, Parameters, Floats]] = {}
        for parts, chance in (*_proud(fit), *(_local(fit) if patches else ())):
            p = replace(fit.best, ridges=(*fit.best.ridges, *parts))
            unseen = all(part.variance(stations.x, stations.y).max() < UNSEEN * part.scale**2 for part in parts)
            losses = without if unseen else np.array([loss_at(one, blocks, p) for one in starts])
            if not unseen:
                gain = float((without - losses).max()) + chance
                foremost[len(found)] = gain, p, starts[int(losses.argmin())]
            logs.append(base + chance + float(without[0] - losses[0]))
            priors.append(prior + chance)
            found.append(Supposition(1.0, fit, parts, unseen))
        refitted = sorted(foremost, key=lambda number: -foremost[number][0])[:REFITTED]
        top = int(np.argmax(logs))
        while refitted or top in foremost:  # the likeliest is fitted anew however many are
            number = refitted.pop(0) if refitted else top
            _, p, start = foremost.pop(number)
            moved, loss = climbed(start, blocks, p)
            own = replace(plain, best=parameters_at(moved, p), spread=_spread(blocks, moved, p))
            found[number], logs[number] = Supposition(1.0, own), _evidence(loss, own) + priors[number]
            top = int(np.argmax(logs))
        if len(found[top].fit.best.ridges) == len(fit.best.ridges):
            break
        fit, prior = found[top].fit, priors[top]
    if len(found) == 1:
        return plain
    weight = np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    if plain.best.joists is None and weight[0] > 1 - NEXT_TO_NOTHING:
        return plain
    likeliest = found[int(np.argmax(weight))].fit
    weighed = tuple(replace(one, weight=float(w)) for one, w in zip(found, weight, strict=True))
    return replace(likeliest, suppositions=weighed)


def _proud(fit: Fit) -> Iterator[tuple[tuple[Ridge], float]]:
    """The members that may stand out besides those that do, and the logarithm of each one's chance."""
    if fit.best.joists is not None:
        every = list(fit.best.joists.ridges(fit.best.joists.split(fit.stations.x, fit.stations.y)[0]))
        for one in every:
            if all(one.at != other.at for other in fit.best.ridges):
                yield (one,), math.log(PROUD / len(every))


def _smoother(fit: Fit) -> list[Parameters]:
    """A few sets of parameters that are smoother than the likeliest may be."""
    scale = max(float((fit.stations.height - _plane(fit.stations)).std()), fit.best.reading_error)
    return [replace(fit.best, scale=grow * scale, length_x=a, length_y=a) for grow, a in SMOOTHER]


def patched(fit: Fit) -> Fit:
    """A fit without patches, weighed anew with those that its stations suggest."""
    plain = fit.suppositions[0].fit if fit.suppositions else fit
    blocks = blocks_of(plain.stations)
    loss = loss_at(logs_of(plain.best)[: len(plain.spread)], blocks, plain.best)
    return _weighed(plain, loss, blocks, patches=True)


def may_be_patched(fit: Fit) -> bool:
    """Whether a station stands out so that a patch about it, or a ridge through it, is worth supposing."""
    return next(_local(fit), None) is not None


def _local(fit: Fit) -> Iterator[tuple[tuple[Patch | Ridge, ...], float]]:
    """What may lie at the stations that stand out most, were the rest smooth, and the logarithm of each one's chance.

    That is a patch about the station or, where no layout is known, a ridge or a strip through it, or a ridge midway
    to the next station, which both lines see the foot of.
    """
    stations = fit.stations
    if len(stations.x) > BLOCK:
        return
    places = np.column_stack([stations.x, stations.y])
    apart = np.asarray(cKDTree(places).query(places, 2)[0])[:, 1]
    step = float(np.median(apart))
    radius = PATCH_STEPS * step
    if radius > PATCH_SHARE * min(np.ptp(stations.x), np.ptp(stations.y)):
        return
    off: Floats = np.max([np.abs(left_out(stations, p)) for p in _smoother(fit)], axis=0)
    taken = {one.line for one in fit.best.ridges}
    for k in np.argsort(-off)[:PATCHES_TRIED]:
        if off[k] <= OUTSTANDING:
            break
        at = (float(stations.x[k]), float(stations.y[k]))
        if all(at != other.at for other in fit.best.ridges):
            yield (Patch.about(at, radius),), math.log(PATCHED / len(stations.x))
        for along, middle in () if fit.best.joists is not None else (("x", at[1]), ("y", at[0])):
            for shift in (0.0, -0.5, 0.5):
                line = (along, round(middle + shift * step, 3))
                if line in taken:
                    continue
                taken.add(line)
                if shift == 0:
                    yield (Patch.strip(*line, radius),), math.log(RIDGED)
                shoulders = Patch.strip(*line, radius, SHOULDERS_LENGTH, SHOULDERS_MM)
                yield (Ridge(*line, RIDGE_HALF_WIDTH), shoulders), math.log(RIDGED)


def _evidence(loss: float, fit: Fit) -> float:
    return -loss + 0.5 * float(np.linalg.slogdet(fit.spread)[1])


def _plane(stations: Stations) -> Floats:
    columns = np.column_stack([np.ones_like(stations.x), stations.x, stations.y])
    out: Floats = columns @ np.linalg.lstsq(columns, stations.height, rcond=None)[0]
    return out


def _reading_error(survey: Survey) -> tuple[float | None, str]:
    if survey.accuracy is not None:
        tied = survey.adjustment is not None and survey.accuracy == survey.adjustment.m0
        return survey.accuracy, "ties" if tied else "given"
    freedom, squares = survey.repeats()
    if freedom >= FEWEST_REPEATS and squares > 0:
        return max(math.sqrt(squares / freedom), LEAST_ERROR_MM), "repeats"
    return None, "fitted"


def block_numbers(stations: Stations) -> Iterator[NDArray[np.intp]]:
    """Numbers of at most ``BLOCK`` neighboring stations each, halved across the longer side."""
    blocks = [np.arange(len(stations.x))]
    while blocks:
        block = blocks.pop()
        if len(block) <= BLOCK:
            yield block
            continue
        x, y = stations.x[block], stations.y[block]
        order = block[np.argsort(x if np.ptp(x) >= np.ptp(y) else y, kind="stable")]
        half = len(order) // 2
        blocks += [order[half:], order[:half]]


def blocks_of(stations: Stations) -> list[Stations]:
    """The stations in blocks that are judged together; of a large survey some of these, spread over it."""
    numbers = list(block_numbers(stations))
    if len(stations.x) > LARGE:
        numbers = [numbers[k] for k in np.linspace(0, len(numbers) - 1, MOST_BLOCKS).round().astype(int)]
    return [stations] if len(numbers) == 1 else [stations.chosen(block) for block in numbers]


def _search(blocks: list[Stations], start: Parameters, free: int) -> tuple[Floats, float]:
    """Logarithms of the likeliest parameters, from the best two of a grid of starts, and the loss there."""
    errors = [start.reading_error, *([start.scale / 3] if free == len(logs_of(start)) else [])]
    grid = [
        logs_of(replace(start, scale=start.scale * grow, length_x=a, length_y=b, reading_error=e))[:free]
        for grow in (1.0, 2.0)
        for a in STARTS_MM
        for b in STARTS_MM
        for e in errors
    ]
    some = blocks[:: max(1, len(blocks) - 1)] if sum(len(block.x) for block in blocks) > LARGE else blocks
    grid.sort(key=lambda logs: loss_at(logs, some, start))
    best, loss = min((climbed(logs, some, start) for logs in grid[:2]), key=lambda found: found[1])
    return (best, loss) if some is blocks else climbed(best, blocks, start)


def climbed(logs: Floats, blocks: list[Stations], start: Parameters) -> tuple[Floats, float]:
    bounds = list(zip(*(bound[: len(logs)] for bound in _bounds(start)), strict=True))
    found = minimize(_loss, logs, (blocks, start), method="L-BFGS-B", jac=True, bounds=bounds, options={"maxiter": 60})
    return found.x, float(found.fun)


def loss_at(logs: Floats, blocks: list[Stations], start: Parameters) -> float:
    """As :func:`_loss`, without the gradient."""
    p, loss = parameters_at(logs, start), 0.0
    for block in blocks:
        value = restricted_log_likelihood(block, p)
        if not math.isfinite(value):
            return 1e12
        loss -= value
    return _with_priors(logs, loss, np.zeros(len(logs_of(start))), start)[0]


def _loss(logs: Floats, blocks: list[Stations], start: Parameters) -> tuple[float, Floats]:
    """Minus the logarithm of restricted likelihood times prior, and its gradient."""
    p = parameters_at(logs, start)
    loss, slope = 0.0, np.zeros(len(logs_of(start)))
    for block in blocks:
        value, gradient = likelihood_gradient(block, p)
        if not math.isfinite(value):
            return 1e12, np.zeros(len(logs))
        loss, slope = loss - value, slope - gradient
    return _with_priors(logs, loss, slope, start)


def _with_priors(logs: Floats, loss: float, slope: Floats, start: Parameters) -> tuple[float, Floats]:
    mean = (logs[1] + logs[2]) / 2 - math.log(LENGTH_MM)
    ratio = logs[1] - logs[2]
    loss += 0.5 * (mean / LENGTH_SPREAD) ** 2 + 0.5 * (ratio / RATIO_SPREAD) ** 2
    scale = logs[0] - math.log(SCALE_MM)
    loss, slope[0] = loss + 0.5 * (scale / SCALE_SPREAD) ** 2, slope[0] + scale / SCALE_SPREAD**2
    if start.joists is not None:
        own = logs[3] - math.log(start.joists.typical)
        loss, slope[3] = loss + 0.5 * (own / JOISTS_SPREAD) ** 2, slope[3] + own / JOISTS_SPREAD**2
    if len(logs) == len(slope):
        error = logs[-1] - math.log(ERROR_MM)
        loss, slope[-1] = loss + 0.5 * (error / ERROR_SPREAD) ** 2, slope[-1] + error / ERROR_SPREAD**2
    slope[1] += mean / 2 / LENGTH_SPREAD**2 + ratio / RATIO_SPREAD**2
    slope[2] += mean / 2 / LENGTH_SPREAD**2 - ratio / RATIO_SPREAD**2
    return loss, slope[: len(logs)]


def _spread(blocks: list[Stations], best: Floats, start: Parameters) -> Floats:
    """Covariance of the logarithms about the best, from the curvature of the loss there."""
    step = 0.05
    curvature = np.empty((len(best), len(best)))
    for i, shift in enumerate(np.eye(len(best)) * step):
        ahead, behind = _loss(best + shift, blocks, start)[1], _loss(best - shift, blocks, start)[1]
        curvature[i] = (ahead - behind) / (2 * step)
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2)
    # a direction that the readings hardly tell of is known to a factor of e squared at the least
    out = np.asarray(SPREAD_FACTOR * (vectors / np.maximum(values, 0.25)) @ vectors.T)
    if start.joists is not None:
        # of the members' own scale the readings say little more than its prior, which is as wide as it should be
        out[3] /= math.sqrt(SPREAD_FACTOR)
        out[:, 3] /= math.sqrt(SPREAD_FACTOR)
    return out


def logs_of(p: Parameters) -> Floats:
    own = [] if p.joists is None else [p.joists.scale]
    return np.log([p.scale, p.length_x, p.length_y, *own, p.reading_error])


def parameters_at(logs: Floats, like: Parameters) -> Parameters:
    scale, length_x, length_y, *rest = (float(v) for v in np.exp(logs))
    members = None if like.joists is None else replace(like.joists, scale=rest.pop(0))
    error = rest[0] if rest else like.reading_error
    return replace(like, scale=scale, length_x=length_x, length_y=length_y, joists=members, reading_error=error)


def _bounds(like: Parameters) -> tuple[Floats, Floats]:
    own = [] if like.joists is None else [(0.02, 30.0)]
    least = min(like.reading_error, 0.5) / 20
    low, high = np.log([(least, 300.0), (150.0, 30000.0), (150.0, 30000.0), *own, (LEAST_ERROR_MM, MOST_ERROR_MM)]).T
    return low, high
