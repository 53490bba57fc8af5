"""One thread of linear algebra a test process: pytest-xdist already keeps all cores busy."""

import os

import pytest

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")


@pytest.fixture(scope="module")
def coarse_lattice():
    """Nodes a foot apart where no step is asked for, not half a foot: for tests that are not about the lattice."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("flatness.surface.lattice.FINEST_MM", 304.8)
        yield


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Tests of a file share a page or a plan, so neighbours stay together; who is done first takes of the rest."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)
