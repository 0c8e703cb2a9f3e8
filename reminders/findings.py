"""What the tool has to say about a plan: errors, warnings and notes, as values.

A finding names keys of the plan, not lines; the plan's source (:mod:`reminders.plan.source`) knows the lines.
Nothing here aborts: every stage adds its findings, and all of them are shown together.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import IntEnum
from typing import TypeAlias

KeyPath: TypeAlias = tuple[str, ...]
"""Where in a plan: the names of its tables and key, such as ``("order", "cefazolin", "duration")``."""


class Severity(IntEnum):
    """How much a finding weighs; an error stops anything from being written."""

    ERROR = 0
    WARNING = 1
    NOTE = 2


E, W, N = Severity.ERROR, Severity.WARNING, Severity.NOTE

CODES: dict[str, tuple[Severity, str]] = {
    # The file itself
    "unreadable-file": (E, "the file cannot be read"),
    "not-toml": (E, "the text does not follow the rules of TOML"),
    "unknown-key": (E, "a key or table that plans do not have"),
    "missing": (E, "the plan must state this and does not"),
    "wrong-form": (E, "the value is not of the form that the key takes"),
    "wrong-unit": (E, "the value's unit does not fit the key"),
    "out-of-range": (E, "the value is of the right form but cannot be meant"),
    "unknown-name": (E, "a lumen, fluid, step or order that the plan does not define"),
    "unknown-zone": (E, "a time zone that the IANA data do not have"),
    # Keys that contradict one another
    "timing": (E, "an order's timing is stated not at all, twice, or incompletely"),
    "plan-end": (E, "the plan's end is stated not at all or more than once"),
    "order-end": (E, "an order's end is stated not at all or in a way that cannot be"),
    "dates-reversed": (E, "something ends before it begins"),
    "duration-disagrees": (E, "duration, volume and rate contradict one another"),
    "no-duration": (E, "nothing says how long the infusion runs"),
    "bag": (E, "an order's bags or reservoir are stated incompletely"),
    "cut-off": (E, "an order's cut-off lies before the end of its window"),
    "given-as": (E, "the way a dose is given contradicts another key of its order"),
    "flush-through": (E, "a drug that must never be flushed through is followed by a flush that would do it"),
    "follows-itself": (E, "orders follow one another in a circle"),
    "runs-with": (E, "an order runs with one that it cannot run with"),
    "heparin-ruled-out": (E, "heparin is ruled out and the plan uses it"),
    "lumen-out-of-use": (E, "an order for a lumen that is out of use"),
    "lock-volume": (E, "a lock volume where the flush itself is the lock"),
    "heparin-saline-lock": (E, "heparin in the steps of a lumen that is locked with saline"),
    "margin": (E, "the planning margin leaves nothing of an idle limit"),
    "least-time": (E, "the least time to the next touch leaves too little of an idle limit"),
    "zone-changes": (E, "zone changes out of order or outside the plan"),
    "last-flushed-later": (E, "a lumen was last flushed after the plan, or a later revision, begins"),
    "task-timing": (E, "a care task that does not say when it is due, or says it in a way that cannot be"),
    "task-label": (E, "two care tasks are called alike"),
    "lumen-label": (E, "two lumens are called alike"),
    "allergy-and-none": (W, "an allergy is named, and beside it words that mean that there is none"),
    "task-day": (E, "days of a care task on which it cannot be done, stated incompletely"),
    "task-dose": (E, "a care task tied to doses in a way that cannot be"),
    "task-draw": (E, "a blood draw or delivery stated in a way that cannot be"),
    "stock-twice": (E, "two tables of stock for one item"),
    "needle-out": (E, "the lock or limit of a port without its needle, for a line that is no port"),
    # What the schedule shows
    "overlap": (E, "two doses in one lumen at one time"),
    "spacing-ordered": (E, "the ordered times break the order's own spacing bounds"),
    "draw-running": (E, "blood is to be drawn through a lumen in which something runs"),
    "no-dose": (E, "an order without a single dose in the plan"),
    "too-long": (E, "more than this tool will plan in one go"),
    "spacing-clock-change": (W, "a clock change breaks an order's spacing bounds"),
    "spacing-travel": (W, "a move to the local clock makes an odd spacing"),
    "spacing-before-plan": (W, "the first dose breaks the spacing to the last one before the plan"),
    "plan-past": (W, "the plan has ended"),
    "read-back-changed": (W, "the plan has changed since it was read back"),
    "limit-passed": (W, "a lumen's idle limit has passed when the plan starts"),
    "finish-without-flush": (W, "a lumen is left without a flush after an infusion"),
    "night-forced": (W, "an idle limit forces a session into the quiet hours"),
    "no-task": (W, "a care task that is never due in the plan, or not at one of its moments or doses"),
    "task-range": (W, "unusual: confirm. A window or a pause longer than what it belongs to"),
    "stock-unused": (W, "an item of stock that nothing in the plan uses"),
    "stock-count-early": (W, "an item was counted long before the plan starts"),
    "brings-unused": (W, "a delivery brings what nothing uses and nothing keeps in stock"),
    "daily-total": (W, "a stated daily limit is exceeded"),
    "dose-count": (W, "a revision does not count an order's doses on from the revision before"),
    "runs-past-end": (W, "an infusion finishes after the plan has ended"),
    "cut-short": (W, "an infusion would run past the line's removal or the pump's"),
    # What a pharmacist would ask about
    "heparin-strong": (W, "unusual: confirm. Heparin above 100 units/mL"),
    "heparin-before": (W, "unusual: confirm. Heparin before an infusion"),
    "heparin-valved": (W, "unusual: confirm. Heparin in a valved line"),
    "heparin-allergy": (W, "unusual: confirm. Heparin with an allergy that names it"),
    "allergy-or-none": (W, "an allergy is given in words that mean that there is none, or that it is not known"),
    "drug-allergy": (W, "unusual: confirm. A drug that the allergies name"),
    "midline-drug": (W, "unusual: confirm. Nutrition or a vesicant by a midline"),
    "bag-runs-dry": (W, "unusual: confirm. A bag is empty before it is changed"),
    "hang-time": (W, "unusual: confirm. A bag hangs longer than its stated time"),
    "bag-expired": (W, "unusual: confirm. A dose is planned after its bags expire"),
    "rate-limit": (W, "unusual: confirm. A rate above the order's own limit"),
    "rate-unchecked": (W, "unusual: confirm. A rate limit that cannot be checked against what the order states"),
    "pump-idle": (W, "unusual: confirm. Idle flushes into a lumen to which a pump's reservoir is connected"),
    "ends-early": (W, "unusual: confirm. The number of doses ends before the last day says"),
    "duplicate-drug": (W, "unusual: confirm. One drug in two orders"),
    "idle-limit-range": (W, "unusual: confirm. An idle limit beyond published ranges"),
    "flush-volume-range": (W, "unusual: confirm. A flush volume beyond published ranges"),
    "review-passed": (W, "unusual: confirm. An order goes on past its review date"),
    "margin-flush": (N, "flushes that only the planning margin asks for"),
    "shift-doses": (N, "an order lets a late dose shift the ones after it"),
    "clock-skipped": (N, "a clock time that the clocks skip"),
    "clock-repeated": (N, "a clock time that occurs twice"),
    "spacing-differs": (N, "a clock change lengthens or shortens a spacing"),
    "no-quiet-hours": (N, "idle flushes in the middle of the night, and the plan states no quiet hours"),
    "needle-unsaid": (N, "nothing in the plan says when a port's needle comes out"),
    "draw-discard": (N, "blood is drawn through a lumen, and nothing is drawn off or flushed before it"),
    "draw-same-lumen": (N, "the level of a drug is drawn through the lumen in which that drug runs"),
    "nurse-only-lumen": (N, "a lumen into which no routine flush is planned"),
    "dose-by-hand": (N, "an order as needed: nothing is scheduled"),
    "would-help": (N, "a change that only the prescriber can make would save sessions"),
}
"""Every code with its severity and meaning. Codes are stable: others may rely on them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One thing to say about a plan.

    ``places`` are the keys it is about, the first one foremost; both sides of a conflict are places. ``expected``
    says what would have been right, ``mend`` what to do now.
    """

    code: str
    message: str
    expected: str = ""
    mend: str = ""
    places: tuple[KeyPath, ...] = field(default=())

    @property
    def severity(self) -> Severity:
        """Return the severity that belongs to the code."""
        return CODES[self.code][0]


def has_errors(findings: Iterable[Finding]) -> bool:
    """Say whether any finding is an error."""
    return any(finding.severity is Severity.ERROR for finding in findings)
