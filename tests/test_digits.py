"""The same digits for the same seed, however many threads the environment asks for."""

import os
import subprocess
import sys

import threadpoolctl

CODE = """
import hashlib, sys
import numpy as np
import flatness
rng = np.random.default_rng(1)
x, y = rng.uniform(0, 6000, (2, 120))
survey = flatness.make_survey(x, y, rng.normal(0, 2, 120) + np.sin(x / 700), accuracy=0.5)
likely = flatness.likely_surface(survey, spacing=600.0)
told = hashlib.sha256()
for values in (likely.mean, likely.error, likely.draw(3, seed=4)):
    told.update(np.ascontiguousarray(values).tobytes())
big = rng.normal(size=(700, 700))
told.update(np.linalg.cholesky(big @ big.T + 700 * np.eye(700)).tobytes())
print(told.hexdigest())
"""


def test_the_same_bytes_whatever_the_environment_says():
    told = set()
    for threads in ("1", "2"):
        names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
        environment = {**os.environ, **dict.fromkeys(names, threads)}
        line = [sys.executable, "-c", CODE]
        told.add(subprocess.run(line, env=environment, capture_output=True, text=True, check=True).stdout)
    assert len(told) == 1


def test_all_linear_algebra_runs_on_one_thread():
    import flatness.arrays  # noqa: F401

    blas = [one for one in threadpoolctl.threadpool_info() if one["user_api"] == "blas"]
    assert blas
    assert {one["num_threads"] for one in blas} == {1}
