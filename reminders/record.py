"""The record: what the household says has really happened (R13).

Nothing can be recorded yet, so the only record is the empty one; it has its place in the compiler's signature all the
same, because what is planned will depend on it.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Record:
    """Facts in the order in which they happened; there are none yet."""


EMPTY = Record()
