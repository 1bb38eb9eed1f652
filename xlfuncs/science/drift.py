"""How often to look at an instrument: the staircase of ILAC-G24, in the steps of common practice.

Found within `CALM_SHARE` of the tolerance at a check, the next interval is `LONGER` times as long;
found outside the tolerance, `SHORTER` times; between the two it stays.  Checks made after an
adjustment say nothing: the instrument had just been set.  The first check opens the history.
Source: ILAC-G24:2022, method 1 (automatic adjustment, “staircase”), which leaves the steps to the
user.
"""

CALM_SHARE = 0.8
LONGER, SHORTER = 1.25, 0.5
#: Limits of the interval, days: never more often than weekly by history alone, and at least yearly.
SHORTEST, LONGEST = 7.0, 365.0
