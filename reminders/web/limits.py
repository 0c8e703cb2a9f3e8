"""How often one address on the network may ask: token buckets, kept for so many addresses and no more."""

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field

MOST_ADDRESSES = 512
"""Of how many addresses it is remembered how often they asked; of the others, those that asked last are kept."""

Buckets = OrderedDict[str, tuple[float, float]]


@dataclass(slots=True)
class Limits:
    """How many requests with a right and with a wrong secret are answered; moments and waits are seconds.

    Right: a page with its pictures asks for a dozen things at once, a phone once in minutes. Wrong: somebody tries, or
    copied the address badly. The two are counted apart, so that the wrong tries of one never keep the other out.
    """

    now: Callable[[], float] = time.monotonic
    right_at_once: float = 240
    right_a_second: float = 8
    wrong_at_once: float = 10
    wrong_a_second: float = 1 / 30
    _right: Buckets = field(default_factory=OrderedDict)
    _wrong: Buckets = field(default_factory=OrderedDict)

    def right(self, address: str) -> float:
        """Count a request with a right secret; return 0, or how long to wait before the next one is answered."""
        return self._take(self._right, address, self.right_at_once, self.right_a_second)

    def wrong(self, address: str) -> float:
        """Count a request with a wrong secret; the same."""
        return self._take(self._wrong, address, self.wrong_at_once, self.wrong_a_second)

    def _take(self, buckets: Buckets, address: str, full: float, a_second: float) -> float:
        now = self.now()
        left, seen = buckets.pop(address, (full, now))
        left = min(full, left + max(0.0, now - seen) * a_second)  # a clock that is set back fills nothing
        wait = 0.0
        if left >= 1:
            left -= 1
        else:
            wait = (1 - left) / a_second
        buckets[address] = (left, now)
        if len(buckets) > MOST_ADDRESSES:
            buckets.popitem(last=False)
        return wait
