"""The record: what the household says has really happened (R13).

The schedule is a function of plan, record and now. Nothing can be recorded yet, so the only record is the empty one;
it already has its place in every signature.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Record:
    """Facts in the order in which they happened; there are none yet."""


EMPTY = Record()
