"""Does a measured value meet its target, given how sure we are of it?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from xlfuncs.science.arrays import Real, first_true

#: Coverage factor of an expanded uncertainty, about 95 % for a normal distribution.
COVERAGE = 2.0


def verdict(measured: Real, target: Real, tolerance: Real, u: Real = 0.0) -> NDArray[np.object_]:
    """`on target`, `low`, `high`, or `too close to call`, by a guarded decision rule.

    With U = 2u: on target when [measured - U, measured + U] lies within target ± tolerance, low or
    high when it lies wholly outside, else too close to call.  Source: JCGM 106:2012, 8.3 (guard
    bands on both sides of the tolerance limit).

    - `measured`: in any one unit
    - `target`: in the same unit
    - `tolerance`: largest deviation either way, in the same unit
    - `u`: standard uncertainty of `measured`, in the same unit

    >>> verdict(1.047, 1.050, 0.002, 0.001).item(), verdict(1.046, 1.050, 0.002, 0.0005).item()
    ('too close to call', 'low')
    """
    expanded = COVERAGE * u
    # 1.052 - 1.050 is a hair over 0.002 in binary; a reading on the limit is within it.
    hair = 1e-9 * np.maximum(np.abs(target), np.abs(tolerance))
    deviation = np.asarray(measured - target)
    return first_true(
        [
            (np.abs(deviation) + expanded <= tolerance + hair, "on target"),
            (deviation + expanded < -tolerance - hair, "low"),
            (deviation - expanded > tolerance + hair, "high"),
        ],
        otherwise="too close to call",
    )
