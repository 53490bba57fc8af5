"""What the readings of a plain room tell one who knows the family of rooms that it was drawn from.

The rooms of :mod:`simulated_rooms` are a shape times a scale, on a tilted plane; the shape is a random ground and, but
in smooth rooms, a wave, a ridge or a seam besides. All of that is Gaussian given a few numbers, so that the exact
posterior is a Metropolis chain over those numbers (Gelman and others, Bayesian Data Analysis, 3rd ed., section 11.2)
and exact kriging at each. A largest gap that is spread evenly on a logarithmic scale means a scale that is, too, as far
as the gap stays in its range.
"""

import math

import numpy as np
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular

import simulated_rooms as rooms
from flatness.measures.bars import gap_map

STEPS, SETTLED, DRAWS = 1500, 1 / 4, 300  # a number of the room; of the chain; surfaces
TILT = 0.002  # of the rooms
GROUND = 0.3  # the random ground's share beside waves, ridges and seams
FT, TURN = rooms.FT, 2 * math.pi
LENGTH, SCALE = (4 * FT, 12 * FT), (math.log(0.05), math.log(100.0))
# after the ground's length and the scale [mm, as a logarithm]: which way, wave or place, phase or width, swell or shape
NUMBERS = {
    "smooth": [LENGTH, SCALE],
    "long waves": [LENGTH, SCALE, (0, 1), (8 * FT, 20 * FT), (0, TURN), (0, 6)],
    "ridge or seam": [LENGTH, SCALE, (0, 1), (0.2, 0.8), (1 * FT, 3 * FT), (0, 1)],
}


def shape(kind, own, x, y):
    """[m] at places x, y [m] mm, without the ground."""
    if kind == "smooth":
        return np.zeros_like(x)
    along, across, far = (x, y, rooms.GX.max()) if own[2] < 0.5 else (y, x, rooms.GY.max())
    if kind == "long waves":
        swell = 1 + 0.2 * np.sin(TURN * across / (20 * FT) + own[5])
        return np.sin(TURN * along / own[3] + own[4]) * swell
    off = (along - own[3] * far) / own[4]
    return np.exp(-0.5 * off**2) if own[5] < 0.5 else np.tanh(off)


class Posterior:
    """Of the numbers that make a room of one kind, given its readings."""

    def __init__(self, kind, survey):
        self.kind = kind
        self.low, self.high = np.array(NUMBERS[kind], dtype=float).T
        self.x, self.y, self.height = survey.xyz()
        self.apart = (self.x[:, None] - self.x) ** 2 + (self.y[:, None] - self.y) ** 2
        self.fixed = TILT**2 * (np.outer(self.x, self.x) + np.outer(self.y, self.y))
        self.fixed[np.diag_indices_from(self.fixed)] += rooms.READING_ERROR**2

    def ground(self, own):
        """Standard deviation of the ground [mm]."""
        return math.exp(own[1]) * (1.0 if self.kind == "smooth" else GROUND)

    def factor(self, own):
        k = self.ground(own) ** 2 * np.exp(self.apart * (-0.5 / own[0] ** 2)) + self.fixed
        return cholesky(k, lower=True, overwrite_a=True, check_finite=False)

    def log_likelihood(self, own):
        if (own < self.low).any() or (own > self.high).any():
            return -math.inf
        try:
            low = self.factor(own)
        except LinAlgError:
            return -math.inf
        rest = self.height - math.exp(own[1]) * shape(self.kind, own, self.x, self.y)
        white = solve_triangular(low, rest, lower=True, check_finite=False)
        return -0.5 * white @ white - np.log(np.diag(low)).sum()

    def chain(self, rng):
        """Numbers that make these readings, [steps, k]."""
        own = min((rng.uniform(self.low, self.high) for _ in range(300)), key=lambda one: -self.log_likelihood(one))
        value, found = self.log_likelihood(own), []
        for _ in range(STEPS * len(own)):
            ahead = own.copy()
            if rng.random() < 0.1:  # to another wave, ridge or seam
                which = rng.random(len(own)) < 0.5
                ahead[which] = rng.uniform(self.low, self.high)[which]
            else:
                size = (self.high - self.low) * 10 ** rng.uniform(-3, 0, len(own)) * (rng.random(len(own)) < 0.6)
                ahead += rng.normal(size=len(own)) * size
                ahead[self.around] = self.low[self.around] + (ahead - self.low)[self.around] % TURN
            then = self.log_likelihood(ahead)
            if math.log(rng.random()) < then - value:
                own, value = ahead, then
            found.append(own)
        return np.array(found[round(SETTLED * len(found)) :])

    @property
    def around(self):
        """Which of the numbers is a phase that goes all the way round."""
        return [4] if self.kind == "long waves" else []

    def draw(self, own, rng):
        """[ny, nx] mm, one surface that these numbers and the readings allow: Matheron's rule with the exact factor."""
        low, deviation = self.factor(own), self.ground(own)
        x, y = rooms.GX[0], rooms.GY[:, 0]
        # the covariance of the ground is one along x times one along y
        roots = [np.linalg.cholesky(self.along(at, at, own) + 1e-8 * np.eye(len(at))) for at in (x, y)]
        ground = deviation * roots[1] @ rng.standard_normal((len(y), len(x))) @ roots[0].T
        iy, ix = (np.round(at / rooms.SPACING).astype(int) for at in (self.y, self.x))
        tilt = TILT * rng.standard_normal(2)
        read = ground[iy, ix] + tilt[0] * self.x + tilt[1] * self.y + rng.normal(0, rooms.READING_ERROR, len(self.x))
        waves = math.exp(own[1]) * shape(self.kind, own, rooms.GX, rooms.GY)
        weight = cho_solve((low, True), self.height - waves[iy, ix] - read)
        to_x, to_y = self.along(x, self.x, own), self.along(y, self.y, own)
        return waves + ground + deviation**2 * (to_y * weight) @ to_x.T

    def along(self, at, to, own):
        return np.exp(-0.5 * ((at[:, None] - to) / own[0]) ** 2)


def gaps(kind, survey, seed):
    """[n] mm, the largest gap on surfaces that the readings allow one who knows the family."""
    rng = np.random.default_rng([seed, 91])
    posterior = Posterior(kind, survey)
    chain = posterior.chain(rng)
    sets = chain[np.linspace(0, len(chain) - 1, DRAWS).astype(int)]
    heights = np.array([posterior.draw(own, rng) for own in sets])
    found = gap_map(heights, rooms.SPACING, rooms.BAR).max(axis=(1, 2))
    return found[(found >= rooms.LIMIT / 4) & (found <= rooms.LIMIT * 4)]
