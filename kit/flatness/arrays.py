"""Types of arrays, and sums that come out the same on one machine.

A sum shared among threads depends on how it was shared, in its last digits. So whatever the environment says, the
linear algebra of this process runs on one thread from when the kit first computes: matrices of a room are small, and
threads that wait for one another cost more than they save.
"""

import numpy as np
import scipy.linalg  # noqa: F401  # its library of linear algebra is another than numpy's, and must be loaded here
import threadpoolctl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
threadpoolctl.threadpool_limits(limits=1, user_api="blas")
