"""Control chart of individual values: its factors for moving ranges of two (ISO 7870-2).

Of two normal values of standard deviation 1 the range is |x - y|, the absolute value of a normal
one of standard deviation √2: its moments are known in closed form.
"""

from __future__ import annotations

import math

#: Mean and standard deviation of the range, as the tables name them.
D2 = 2 / math.sqrt(math.pi)
D3 = math.sqrt(2 - 4 / math.pi)

#: Limits of individuals, either side of the mean, in mean moving ranges.
E2 = 3 / D2
#: Upper limit of the ranges, in mean ranges; the lower one is 0.
D4 = 1 + E2 * D3
