"""A second opinion on a schedule that was planned anew from a record; it shares no code with the compiler.

Input: a plan as ``tomllib`` reads it, the record as a list of plain facts, now, and the schedule as plain data. From
the rules alone (R8, R11, R13-R19, S1-S14) and the plan it is worked out here which doses were given, dropped, held or
put off, when each infusion really ran or is to run, and which of them nobody should start without asking. Then every
lumen is walked along its time. Output: what is wrong, in plain words.

Nothing here imports ``reminders``. What each dose is called comes from outside (``names``): a fact names its dose by
the key under which the plan was shown before anything was recorded. One plan, without later revisions, is looked at; the replay does not model a port's needle, an exchanged line or
heparin that is stopped.
"""

import itertools
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from simulation import NEVER, Meeting, Values, Wanted, in_words, minutes
from simulation import Dose as OrderedDose

Names = Mapping[tuple[str, str], int]
"""The number of each dose by its order and key, as the plan was shown before anything was recorded."""

ENDS_FIRST = ("line removed", "released", "resumed", "finished", "stopped early")
"""Of the facts of one minute, those that end something are read before those that begin something."""

STOP_SIGNS = ("reaction", "pain", "swelling", "leak")
ASK_SIGNS = ("will not flush", "no blood return", "not flowing")

AGAIN = " again "
CONTINUOUS, RESERVOIR = "continuous", "reservoir"
LASTING = (CONTINUOUS, RESERVOIR)
"""What stands in the key of a second start; the keys of what runs without a pause."""

SPACING = "less than the least spacing"
OVERLAP = "runs into another dose"
PART = "the dose before was given in part"
LEADER = "the dose that it follows"  # and what became of it, in whatever words
PROBLEM = "a problem with the lumen"
SUSPENDED = "the lumen is suspended"
OUT_OF_USE = "the lumen is out of use"

OPEN, RUNNING, GIVEN = "nothing is recorded", "started", "started and finished"
STOPPED, ELSEWHERE, SKIPPED = "stopped early", "given elsewhere", "not to be given"
HELD, NOT_GIVEN = "held", "not given"
DROPPED = (SKIPPED, HELD, NOT_GIVEN)

Span = tuple[int, int]


@dataclass(slots=True)
class Told:
    """One dose as the rules have it. ``end`` is None where it is not known, NEVER where nothing ends it."""

    order: str
    key: str
    number: int
    lumen: str
    ordered: int
    due: int
    start: int
    end: int | None
    due_end: int | None
    state: str = OPEN
    started: int | None = None
    finished: int | None = None
    pauses: list[Span] = field(default_factory=list)
    extra: bool = False
    asks: set[str] = field(default_factory=set)
    ties: bool = False
    leader: "Told | None" = None

    @property
    def moved(self) -> bool:
        """Say whether a fact has put it where it stands."""
        return self.extra or self.start != self.ordered or self.end != self.due_end or bool(self.pauses)

    @property
    def leaned_on(self) -> bool:
        """Say whether an idle flush may lean on it (R11)."""
        return not self.asks and self.state not in (*DROPPED, ELSEWHERE)


# --- What the record says ---


class Spans:
    """Stretches that are opened and closed by facts, by what they are about."""

    def __init__(self) -> None:
        self.of: dict[tuple[str, ...], list[list[int]]] = defaultdict(list)

    def open(self, at: int, *about: str) -> None:
        found = self.of[about]
        if not found or found[-1][1] <= at:
            found.append([at, NEVER])

    def close(self, at: int, *about: str) -> None:
        found = self.of.get(about)
        if found and found[-1][1] == NEVER:
            found[-1][1] = at

    def within(self, at: int, *about: str) -> bool:
        return any(begin <= at < end for begin, end in self.of.get(about, ()))


class Facts:
    """The facts that stand, in the order in which they happened (R13)."""

    def __init__(self, record: Iterable[Values]) -> None:
        told = [_named(fact) for fact in record]
        taken_back = {fact["withdraws"] for fact in told if fact["kind"] == "withdrawn"}
        self.standing = sorted(
            (fact for fact in told if fact["kind"] != "withdrawn" and fact["key"] not in taken_back),
            key=lambda fact: (fact["happened"], fact["kind"] not in ENDS_FIRST, fact["key"]),
        )

    def of(self, *kinds: str, **about: str) -> list[Values]:
        """Return the facts of some kinds about something."""
        return [
            fact
            for fact in self.standing
            if fact["kind"] in kinds and all(fact.get(name, "") == value for name, value in about.items())
        ]

    def of_dose(self, told: Told, *kinds: str) -> list[Values]:
        return self.of(*kinds, order=told.order, dose=told.key)


def _named(fact: Values) -> Values:
    """Return a fact with a second start called by the dose that it repeats and its own moment: it is one of its own."""
    if fact["kind"] != "started" or not fact.get("again") or " again " in fact["dose"]:
        return fact
    at = datetime(1970, 1, 1) + timedelta(minutes=fact["happened"])
    return fact | {"dose": f"{fact['dose']} again {at:%Y-%m-%dT%H:%MZ}"}


# --- What the rules make of plan and record ---


class Replay:
    """Plan and record, worked out once."""

    def __init__(self, plan: Values, record: Iterable[Values], names: Names, end: int) -> None:
        """Work it out; ``end`` is where an open-ended plan looks ahead to, and is not used for any other."""
        self.plan = plan
        self.wanted = Wanted(plan, end)
        self.orders = self.wanted.orders
        self.facts = Facts(record)
        self.names = names
        self.keys = {(order, number): key for (order, key), number in names.items()}
        removed = [fact["happened"] for fact in self.facts.of("line removed")]
        self.removed = min(removed, default=None)
        self.start = self.wanted.start
        self.end = self.wanted.end if self.removed is None else max(self.start, min(self.wanted.end, self.removed))
        self.rolling = self.wanted.rolling and (self.removed is None or self.removed > self.wanted.end)
        self.handling = minutes(self.wanted.head["handling_time"])
        self.holds, self.blocks, self.problems = Spans(), Spans(), Spans()
        self._lumens_of = self._started_lumens()
        self._read_spans()
        self.doses: dict[str, list[Told]] = {}
        for name in self.orders:
            self._work_out(name)
        self.reservoirs = [run for name in self.orders for run in self._reservoirs(name)]
        self._ask()

    # Holds, blocks, problems

    def _started_lumens(self) -> dict[tuple[str, str], str]:
        found: dict[tuple[str, str], str] = {}
        for fact in self.facts.of("started"):
            found.setdefault((fact["order"], fact["dose"]), fact.get("lumen", ""))
        return found

    def _lumen_of(self, fact: Values) -> str:
        """Return the lumen that a fact is about; "" for all of them."""
        if fact.get("lumen"):
            return str(fact["lumen"])
        order = self.orders.get(fact.get("order", ""))
        if order is None:
            return ""
        return self._lumens_of.get((fact["order"], fact.get("dose", "")), "") or str(order["lumen"])

    def _read_spans(self) -> None:
        for fact in self.facts.standing:
            at, kind, sign = fact["happened"], fact["kind"], fact.get("sign")
            if kind == "held":
                self.holds.open(at, fact.get("order", ""))
            elif kind == "lumen out of use":
                self.blocks.open(at, fact["lumen"], OUT_OF_USE)
            elif kind == "released":
                self._release(fact, at)
            if kind in ("problem", "stopped early", "interrupted") and sign in STOP_SIGNS:
                self.blocks.open(at, self._lumen_of(fact), SUSPENDED)
            elif kind in ("problem", "stopped early", "interrupted") and sign in ASK_SIGNS:
                self.problems.open(at, self._lumen_of(fact), str(sign))
            if kind in ("resumed", "finished", "stopped early"):
                self.problems.close(at, self._lumen_of(fact), "not flowing")

    def _release(self, fact: Values, at: int) -> None:
        lumen, order = fact.get("lumen", ""), fact.get("order", "")
        if not lumen:
            self.holds.close(at, order)
        if not order:
            for spans in (self.blocks, self.problems):
                for about in spans.of:
                    if about[0] == lumen:
                        spans.close(at, *about)

    def held_at(self, at: int, order: str) -> bool:
        """Say whether an order, or everything, is held at an instant."""
        return self.holds.within(at, order) or self.holds.within(at, "")

    def away_at(self, at: int) -> bool:
        """Say whether everything is held at an instant: a stay in hospital (S14)."""
        return self.holds.within(at, "")

    def blocks_at(self, at: int, lumen: str) -> set[str]:
        """Return why nothing may be offered on a lumen at an instant (S1, R19)."""
        return {
            why
            for name in (lumen, "")
            for why in (SUSPENDED, OUT_OF_USE)
            if self.blocks.within(at, name, why)
        }  # fmt: skip

    def problem_at(self, at: int, lumen: str) -> bool:
        """Say whether a lumen has a problem that makes an infusion in it *ask first* (S2, S3)."""
        return any(self.problems.within(at, name, sign) for name in (lumen, "") for sign in ASK_SIGNS)

    # Doses

    def _work_out(self, name: str) -> None:
        if name in self.doses:
            return
        order = self.orders[name]
        if "follows" in order:
            self._work_out(order["follows"])
        ordered = self._ordered(name, order)
        found: list[Told] = []
        shift = 0
        for number, key, at, leader in ordered:
            told = self._dose(name, key, number, at, at + shift)
            if order.get("after_late_dose") == "shift following doses" and told.state not in DROPPED:
                shift += max(0, told.start - (at + shift))
            told.leader = leader
            if leader is not None and told.state == OPEN:
                if leader.state == STOPPED:
                    told.asks.add(PART)
                elif leader.state in (*DROPPED, ELSEWHERE) or leader.end is None or leader.asks:
                    told.asks.add(LEADER)
            found.append(told)
        found += self._besides(name, {told.key for told in found})
        self.doses[name] = sorted(found, key=lambda told: (told.start, told.number, told.key))

    def _ordered(self, name: str, order: Values) -> list[tuple[int, str, int, Told | None]]:
        """Return number, key and ordered start of each dose; with the dose that it follows, if it follows one (R2)."""
        found: list[tuple[int, str, int, Told | None]]
        if "follows" not in order:
            found = [
                (dose.number, self.keys.get((name, dose.number), f"unnamed {dose.number}"), dose.start, None)
                for dose in self.wanted.doses(name)
            ]
        else:
            wait = minutes(order.get("follows_after", "0 min"))
            # What was given once more by itself orders nothing.
            leaders = [
                told for told in self.doses[order["follows"]] if not told.extra or (name, told.key) in self.names
            ]
            ends = [(told, told.due_end if told.end is None else told.end) for told in leaders]
            found = [
                (told.number, self.keys.get((name, told.number), told.key), end + wait, told)
                for told, end in ends
                if end is not None
            ]
            found.sort(key=lambda entry: entry[2])
        last = self.wanted.removal if self.removed is None else self.removed
        return [entry for entry in found if last is None or entry[2] < last]

    def _last_minute(self, order: Values) -> int:
        """Return the instant that no dose of an order outlasts."""
        ends = [self.wanted.removal, self.removed]
        if "stops" in order and order["given_as"] == "pump":
            ends.append(self.wanted.moment(order["stops"]))
        return min((end for end in ends if end is not None), default=NEVER)

    def _dose(self, name: str, key: str, number: int, ordered: int, due: int, *, extra: bool = False) -> Told:
        order = self.orders[name]
        told = Told(name, key, number, order["lumen"], ordered, due, due, None, None, extra=extra)
        for fact in self.facts.of_dose(told, "delayed")[-1:]:
            told.due = told.start = fact["until"]
        starts = self.facts.of_dose(told, "started")
        if starts:
            told.started = told.start = starts[0]["happened"]
            told.lumen = starts[0].get("lumen") or told.lumen
        finishes = self.facts.of_dose(told, "finished", "stopped early")
        if not starts and finishes and finishes[0]["happened"] <= told.start and not order.get("continuous"):
            told.start = finishes[0]["happened"] - self.wanted.dose_minutes(order)  # it was started, nobody said when
        told.pauses = self._pauses(told, finishes)
        self._end(told, order)
        self._replaced(told)
        if finishes:
            told.finished = finishes[0]["happened"]
            told.end = max(told.start, told.finished)
        told.state = self._state(told, starts, finishes)
        return told

    def _replaced(self, told: Told) -> None:
        """What runs without a pause ends where it is started once more: that one came in its place."""
        if not told.key.startswith(LASTING):
            return
        first = told.key.split(AGAIN)[0]
        for fact in self.facts.of("started", order=told.order):
            at = fact["happened"]
            later = fact["dose"].startswith(first + AGAIN) and fact["dose"] != told.key and told.start < at
            if later and (told.end is None or told.end > at):
                told.end = at

    def _end(self, told: Told, order: Values) -> None:
        """A dose that starts late ends late; a pause moves its finish; what does not end by itself ends as ordered."""
        last = self._last_minute(order)
        if told.extra and told.ordered >= last:
            last = NEVER  # how long it ran after the line's removal nobody knows
        if order.get("continuous"):
            stops = self.wanted.moment(order["stops"]) if "stops" in order else NEVER
            told.due_end = told.end = min(stops, last)
            return
        over = [(begin, end) for begin, end in told.pauses if end != NEVER]
        paused = sum(max(0, end - max(begin, told.start)) for begin, end in over)
        due = max([told.start + self.wanted.dose_minutes(order) + paused, *(end for _, end in over)])
        told.due_end = max(told.start, min(due, last))
        told.end = told.due_end if len(over) == len(told.pauses) else None

    def _pauses(self, told: Told, finishes: list[Values]) -> list[Span]:
        found: list[list[int]] = []
        until = finishes[0]["happened"] if finishes else NEVER
        for fact in self.facts.of_dose(told, "interrupted", "resumed", "problem"):
            at = fact["happened"]
            if fact["kind"] == "resumed":
                if found and found[-1][1] == NEVER:
                    found[-1][1] = at
            elif fact["kind"] == "problem" and fact["sign"] != "not flowing":
                continue
            elif at < until and (not found or found[-1][1] <= at):
                found.append([at, NEVER])
        return [(begin, min(end, until)) for begin, end in found]

    def _state(self, told: Told, starts: list[Values], finishes: list[Values]) -> str:
        """That it was given outweighs that it was not: it may have been (R18)."""
        if finishes and finishes[0]["kind"] == "stopped early":
            return STOPPED
        given = starts or finishes
        if given and given[0].get("elsewhere") and not given[0].get("lumen_used"):
            return ELSEWHERE
        if finishes or (starts and self.orders[told.order]["given_as"] == "push"):
            return GIVEN
        if starts:
            return RUNNING
        dropped = self.facts.of_dose(told, "not given", "skipped")
        if dropped:
            return NOT_GIVEN if dropped[-1]["kind"] == "not given" else SKIPPED
        return HELD if self.held_at(told.due, told.order) else OPEN

    def _besides(self, name: str, known: set[str]) -> list[Told]:
        """Return what was given besides the scheduled doses: as needed, or once more (R18)."""
        found = []
        told = [*self.facts.of("started", order=name), *self.facts.of("finished", "stopped early", order=name)]
        for fact in told:
            if fact["dose"].startswith(RESERVOIR) or (fact["dose"].startswith(LASTING) and fact["kind"] != "started"):
                continue
            if fact["dose"] not in known:
                known.add(fact["dose"])
                found.append(self._dose(name, fact["dose"], 0, fact["happened"], fact["happened"], extra=True))
        return found

    def _reservoirs(self, name: str) -> list[Told]:
        order = self.orders[name]
        if order["given_as"] != "pump":
            return []
        found = []
        for dose in self.wanted.connected(order["lumen"]):
            if dose.order == name and (self.removed is None or dose.start < self.removed):
                end = min(dose.end, self._last_minute(order))
                run = Told(name, "reservoir", 1, order["lumen"], dose.start, dose.start, dose.start, end, end)
                for fact in self.facts.of_dose(run, "delayed")[-1:]:
                    run.due = run.start = fact["until"]
                starts = self.facts.of_dose(run, "started")
                if starts:
                    run.started = run.start = starts[0]["happened"]
                    run.lumen = starts[0].get("lumen") or run.lumen
                finishes = self.facts.of_dose(run, "finished", "stopped early")
                if finishes:
                    run.finished = finishes[0]["happened"]
                    run.end = max(run.start, run.finished)
                run.state = self._state(run, starts, finishes)
                found.append(run)
        return found + self._reservoirs_again(name, found)

    def _reservoirs_again(self, name: str, runs: list[Told]) -> list[Told]:
        order = self.orders[name]
        found: list[Told] = []
        for fact in self.facts.of("started", order=name) if runs else ():
            key, at = fact["dose"], fact["happened"]
            if not key.startswith(RESERVOIR + AGAIN) or key in {run.key for run in found}:
                continue
            end = runs[0].due_end
            run = Told(name, key, 0, fact.get("lumen") or order["lumen"], at, at, at, end, end, extra=True)
            run.started = at
            finishes = self.facts.of_dose(run, "finished", "stopped early")
            if finishes:
                run.finished = finishes[0]["happened"]
            run.state = self._state(run, [fact], finishes)
            found.append(run)
        for run in (*runs, *found):
            self._replaced(run)
            if run.finished is not None:
                run.end = max(run.start, run.finished)
        return found

    def all(self) -> Iterator[Told]:
        """Yield all doses, those of pumps too, without their reservoirs."""
        for found in self.doses.values():
            yield from found

    def by_hand(self) -> Iterator[Told]:
        """Yield what is connected by hand: doses, and the reservoirs of pumps."""
        yield from (told for told in self.all() if self.orders[told.order]["given_as"] != "pump")
        yield from self.reservoirs

    # Ask first

    def _ask(self) -> None:
        for name, doses in self.doses.items():
            self._ask_for_spacing(self.orders[name], doses)
        for told in [*self.all(), *self.reservoirs]:
            if told.state == OPEN:
                told.asks |= self.blocks_at(told.start, told.lumen)
                if self.problem_at(told.start, told.lumen):
                    told.asks.add(PROBLEM)
        for lumen in self.wanted.lumens:
            self._ask_for_overlap([told for told in self.by_hand() if told.lumen == lumen])
        for _ in self.orders:
            for told in self.all():
                if told.state == OPEN and not told.asks and told.leader is not None and told.leader.asks:
                    told.asks.add(LEADER)  # what follows a dose that must be asked about may not take place either

    @staticmethod
    def _ask_for_spacing(order: Values, doses: list[Told]) -> None:
        """From start to start against the least spacing (R17), and after a part of a dose (S4)."""
        taking_place = [told for told in doses if told.state not in DROPPED]
        for before, told in itertools.pairwise(taking_place):
            if told.state != OPEN:
                continue
            apart = told.start - before.start
            by_facts = before.extra or told.extra or apart != told.ordered - before.ordered
            if "least_spacing" in order and apart < minutes(order["least_spacing"]) and by_facts:
                told.asks.add(SPACING)
            if before.state == STOPPED:
                told.asks.add(PART)

    def _ask_for_overlap(self, doses: list[Told]) -> None:
        """A late dose that runs into the next one in its lumen (R17)."""
        doses = [told for told in doses if told.state not in (*DROPPED, ELSEWHERE)]
        doses = [told for told in doses if self.orders[told.order]["given_as"] != "pump"]
        for told in doses:
            for other in doses:
                if other is told or not (other.moved or told.moved) or self._together(other, told):
                    continue
                runs_on = other.end is None or other.end > told.start
                if told.state == OPEN and other.start < told.start and runs_on:
                    told.asks.add(OVERLAP)
                elif other.start == told.start and runs_on:
                    self._ask_one(told, other)

    @staticmethod
    def _ask_one(told: Told, other: Told) -> None:
        """Of two at one instant: the one that is still open; if both are, the one that no fact has put there."""
        if told.state == OPEN and (other.state != OPEN or (other.moved and not told.moved)):
            told.asks.add(OVERLAP)
        elif told.state == other.state == OPEN and told.moved and other.moved:
            told.ties = other.ties = True  # one of the two must be asked about; which does not matter

    def _together(self, one: Told, two: Told) -> bool:
        def with_which(name: str) -> list[str]:
            stated = self.orders[name].get("runs_with", [])
            return [stated] if isinstance(stated, str) else list(stated)

        return two.order in with_which(one.order) or one.order in with_which(two.order)

    # What runs

    def spans(self, lumen: str, *, pushes: bool = True) -> list[Span]:
        """Return the stretches in which something runs in a lumen, without pauses."""
        found = []
        for told in [*self.all(), *self.reservoirs]:
            order = self.orders[told.order]
            kept_open = order["given_as"] == "pump" and order["kept_open"]
            if told.start >= self.end and told.started is None and not self.rolling:
                continue
            if told.lumen != lumen or not told.leaned_on or kept_open != told.key.startswith(RESERVOIR):
                continue
            if order["given_as"] == "push" and (not pushes or told.start < self.start):
                continue
            left, right = told.start, NEVER if told.end is None else told.end
            for begin, resumed in told.pauses:
                if left < begin < right:
                    found.append((left, begin))
                left = max(left, min(resumed, right))
            if left < right:
                found.append((left, right))
        return found

    def counts(self, flush: Values) -> bool:
        """Say whether the limit starts from a recorded flush, by what was really pushed (S7)."""
        lock = self.wanted.lock_of(flush["lumen"])
        fluids = flush.get("fluids") or ()
        if not fluids or lock in fluids or self.plan["fluid"][lock]["kind"] != "heparin":
            return True
        return bool(self.wanted.protocol.get("flush_without_lock_counts"))


# --- The walk ---


def complaints(plan: Values, record: list[Values], names: Names, now: int, schedule: Values) -> list[str]:
    """Return everything in a schedule that its plan and record do not bear out; an empty list if there is nothing."""
    return list(_Check(plan, record, names, now, schedule).all())


class _Check:
    def __init__(self, plan: Values, record: list[Values], names: Names, now: int, schedule: Values) -> None:
        self.now, self.schedule = now, schedule
        self.touches: list[Values] = schedule["touches"]
        self.replay = Replay(plan, record, names, schedule["end"])
        self.facts, self.wanted = self.replay.facts, self.replay.wanted

    def all(self) -> Iterator[str]:
        yield from self.list_as_list()
        yield from self.doses()
        yield from self.starts_and_ends()
        yield from self.each_touch()
        yield from self.flushes_and_draws()
        for lumen, stated in self.wanted.lumens.items():
            yield from self.last_flush(lumen)
            if stated.get("in_use", True) and stated.get("flush_through") != "nurse only":
                yield from self.along_the_time(lumen)

    # The list

    def list_as_list(self) -> Iterator[str]:
        if self.schedule["end"] != self.replay.end:
            yield f"the horizon ends {in_words(self.schedule['end'])}, not {in_words(self.replay.end)}"
        for uid, times in Counter(touch["uid"] for touch in self.touches).items():
            if times > 1:
                yield f"R23: the UID {uid} stands {times} times"
        at = [touch["at"] for touch in self.touches]
        if at != sorted(at):
            yield "the events are not in order of time"

    # The doses

    def doses(self) -> Iterator[str]:
        """Compare every dose: where it stands, what became of it, why to ask first."""
        listed = {(dose["order"], dose["key"]): dose for dose in self.schedule["doses"]}
        if len(listed) != len(self.schedule["doses"]):
            yield "R18: a dose is listed twice"
        for told in self.replay.all():
            dose = listed.pop((told.order, told.key), None)
            if told.start >= self.replay.end or not self._belongs(told):
                continue
            if dose is None:
                yield f"the dose {_name(told)} is not listed"
                continue
            yield from self.one_dose(told, dose)
        for order, key in listed:
            yield f"R18: a dose {order} {key} is listed that nobody ordered or gave"

    def _belongs(self, told: Told) -> bool:
        """Say whether the dose is not over before the plan begins; in its first minute it may be listed or not."""
        if told.start >= self.replay.start:
            return True
        pushed = self.replay.orders[told.order]["given_as"] == "push"
        return not pushed and (told.end is None or told.end > self.replay.start)

    def one_dose(self, told: Told, dose: Values) -> Iterator[str]:
        where = f"the dose {_name(told)}"
        if dose["start"] != told.start:
            yield f"R17: {where} stands at {in_words(dose['start'])}, not at {in_words(told.start)}"
        if not self._same_end(told, dose["end"]):
            yield f"R15: {where} ends at {_when(dose['end'])}, not at {_when(told.end)}"
        if dose["state"] != told.state:
            yield f"R18: {where} is '{dose['state']}', not '{told.state}'"
        asks = {LEADER if why.startswith(LEADER) else why for why in dose["asks"]}
        if told.state == OPEN and not self._same_asks(told, asks):
            yield f"R17: {where} is to be asked about for {sorted(dose['asks'])}, not for {sorted(told.asks)}"

    def _same_end(self, told: Told, end: int | None) -> bool:
        if told.end == end:
            return True
        lasting = self.replay.orders[told.order].get("continuous") or told.key.startswith(RESERVOIR)
        beyond = told.end is None or told.end > self.replay.end
        return bool(lasting and beyond and (end is None or end > self.replay.end))

    @staticmethod
    def _same_asks(told: Told, asks: set[str]) -> bool:
        return asks == told.asks or (told.ties and asks ^ told.asks == {OVERLAP})

    # Starts and finishes

    def starts_and_ends(self) -> Iterator[str]:
        """Each start and finish that the rules ask for, exactly once, where they put it; and none besides."""
        shown: dict[tuple[str, str, str], list[Values]] = defaultdict(list)
        for touch in self.touches:
            for what in ("starts", "ends"):
                for order, key in touch[what]:
                    shown[what, order, key].append(touch)
        for told in self.replay.by_hand():
            for what, at, required in self.wanted_touches(told):
                found = shown.pop((what, told.order, told.key), [])
                if len(found) > 1:
                    yield f"R18: {what} of {_name(told)} stand {len(found)} times"
                if not found and required:
                    yield f"R15: {what} of {_name(told)} do not stand at {in_words(at)}"
                for touch in found:
                    yield from self.place(told, what, at, touch)
        for what, order, key in shown:
            yield f"R18: {what} of {order} {key} stand in the schedule, for which there is no reason"

    def wanted_touches(self, told: Told) -> Iterator[tuple[str, int, bool]]:
        """Yield what must stand where; False where it may be left out."""
        replay, order = self.replay, self.replay.orders[told.order]
        usable = self.wanted.lumens[told.lumen].get("in_use", True)
        if (told.start >= replay.end and told.started is None) or not (usable or told.started is not None):
            return
        if told.start >= replay.start:
            yield "starts", told.start, True
        taken_off = told.leaned_on or (told.state == OPEN and told.asks and not told.asks & {SUSPENDED, OUT_OF_USE})
        if order["given_as"] == "push" or not taken_off or told.end is None or told.end == NEVER:
            return
        if not told.leaned_on and told.start < replay.start:
            return
        if told.end >= replay.start:
            lasting = order.get("continuous") or order["given_as"] == "pump"
            beyond = (lasting or told.start >= replay.end) and told.end > replay.end
            yield "ends", told.end, not beyond and told.state != ELSEWHERE

    def place(self, told: Told, what: str, at: int, touch: Values) -> Iterator[str]:
        where = f"{what} of {_name(told)}"
        if touch["at"] != at:
            yield f"R15: {where} stand at {in_words(touch['at'])}, not at {in_words(at)}"
        if touch["lumen"] != told.lumen:
            yield f"R19: {where} stand in {touch['lumen']}, not in {told.lumen}"
        begun = told.finished if told.started is None else told.started  # what has finished had begun
        recorded = begun if what == "starts" else told.finished
        wanted = {SKIPPED: "skipped", HELD: "held", NOT_GIVEN: "not given"}.get(told.state)
        if recorded is not None and touch["outcome"] != "done":
            yield f"R13: {where} are recorded and not shown as done"
        elif recorded is None and wanted is not None and touch["outcome"] != wanted:
            yield f"R18: {where} are '{touch['outcome']}', not '{wanted}'"
        elif recorded is None and touch["outcome"] == "done" and not (what == "ends" and self.in_its_place(touch)):
            yield f"R14: {where} are shown as done and are not recorded"
        if told.state in DROPPED and touch["steps"]:
            yield f"R18: {where}: the dose does not take place and is offered"
        if what == "starts" and told.state in (GIVEN, STOPPED) and touch["outcome"] is None:
            late = told.finished is not None and touch["at"] >= told.finished
            if late and any(step[0] in ("connect", "push") for step in touch["steps"]):
                yield f"R18: {where}: a dose that has finished is offered again"
        if what == "starts" and touch["planned"] != told.due and len(touch["starts"]) == 1:
            yield f"R15: {where} were due {in_words(touch['planned'])}, not {in_words(told.due)}"

    def in_its_place(self, touch: Values) -> bool:
        """Say whether everything that starts in a touch is recorded: it has ended what ran before it."""
        told = {(dose.order, dose.key): dose for dose in self.replay.by_hand()}
        starts = [told[pair] for pair in map(tuple, touch["starts"]) if pair in told]
        return bool(starts) and all(dose.started is not None or dose.finished is not None for dose in starts)

    def flushed_in(self, touch: Values) -> bool:
        """Say whether a flush is recorded that the touch claims as its own."""
        at = touch["at"] if touch["flushed"] is None else touch["flushed"]
        return any(fact["happened"] == at for fact in self.facts.of("flushed", lumen=touch["lumen"]))

    # Each touch

    def each_touch(self) -> Iterator[str]:
        for touch in self.touches:
            where = f"{touch['kind']} in {touch['lumen']} at {in_words(touch['at'])}"
            yield from (f"{told}" for told in self.evidence(touch, where))
            yield from self.offered(touch, where)
            yield from self.standing(touch, where)
            if touch["kind"] not in ("idle flush", "draw", "bag change"):
                yield from self.steps(touch, where)
            for order, key in touch["bags"] if touch["outcome"] != "done" else ():  # it may have run on
                runs = [told for told in self.replay.by_hand() if (told.order, told.key) == (order, key)]
                if not any(run.start < touch["at"] < (NEVER if run.end is None else run.end) for run in runs):
                    yield f"R10: {where}: a bag change of what does not run"

    def evidence(self, touch: Values, where: str) -> Iterator[str]:
        """Nothing that is not recorded is done (R14)."""
        if touch["outcome"] != "done":
            if touch["outstanding"]:
                yield f"R15: {where}: a flush is outstanding though nothing is recorded"
            return
        if touch["kind"] == "idle flush" and not self.flushed_in(touch):
            yield f"R14: {where}: done, and no such flush is recorded"
        if touch["kind"] == "draw" and not any(
            fact["happened"] == touch["at"] for fact in self.facts.of("drawn", lumen=touch["lumen"])
        ):
            yield f"R14: {where}: done, and no draw is recorded"
        if touch["kind"] == "bag change" and not any(
            fact["happened"] == touch["at"]
            for order, _ in touch["bags"]
            for fact in self.facts.of("bag changed", order=order)
        ):
            yield f"R14: {where}: done, and no new bag is recorded"

    def offered(self, touch: Values, where: str) -> Iterator[str]:
        """No step is offered where nothing may be done (S1, S14, R19)."""
        at, over = touch["at"], touch["outcome"] == "done" and not touch["outstanding"]
        if over:
            return
        if not touch["steps"]:
            return
        if self.replay.removed is not None and (touch["outstanding"] or at > self.replay.removed):
            yield f"R19: {where}: steps are offered on a line that was removed"
        # Where nobody records, what is past is history sooner than the replay can say.
        if self.wanted.head["household_records"] and self.shut_since(touch):
            yield f"S1: {where}: steps are offered, and {' and '.join(self.shut_since(touch))} since"
        if self.replay.blocks_at(at, touch["lumen"]):
            yield f"S1: {where}: steps are offered, and {' and '.join(self.replay.blocks_at(at, touch['lumen']))}"
        if self.replay.away_at(at) and touch["outcome"] != "done":
            yield f"S14: {where}: steps are offered while everything is held"
        if touch["outcome"] != "done" and not self.wanted.lumens[touch["lumen"]].get("in_use", True):
            yield f"R19: {where}: steps are offered on a lumen that is not in use"

    def shut_since(self, touch: Values) -> set[str]:
        """Return what came in the way of a touch that nobody recorded, and still does, for which it has no steps.

        What has been overtaken, or is older than a limit, is history.
        """
        lumen, at = touch["lumen"], touch["at"]
        if touch["outcome"] is not None and not touch["outstanding"]:
            return set()
        found = set()
        for name in (lumen, ""):
            for why in (SUSPENDED, OUT_OF_USE):
                for begin, end in self.replay.blocks.of.get((name, why), ()):
                    recent = at < begin <= at + self.limit(lumen)
                    if end == NEVER and recent and not self.overtaken(touch):
                        found.add(why)
        return found

    def overtaken(self, touch: Values) -> bool:
        """Say whether a later touch of its lumen is recorded."""
        lumen = touch["lumen"]
        moments = [fact["happened"] for fact in self.facts.of("flushed", "drawn", lumen=lumen)]
        for told in self.replay.by_hand():
            if told.lumen == lumen and told.state not in (*DROPPED, ELSEWHERE):
                moments += [at for at in (told.started, told.finished) if at is not None]
                moments += [fact["happened"] for fact in self.facts.of_dose(told, "bag changed")]
        return any(at > touch["at"] for at in moments)

    def standing(self, touch: Values, where: str) -> Iterator[str]:
        """The status that is shown follows from outcome, window and now."""
        status, outcome = touch["status"], touch["outcome"]
        if outcome in ("skipped", "held", "not given"):
            wanted = {"missed"} if outcome == "not given" else {"skipped"}
        elif outcome == "done" and not touch["outstanding"]:
            wanted = self._done_or_late(touch)
        elif self.replay.removed is not None and self.now >= self.replay.removed:
            wanted = {"unconfirmed"}
        else:
            wanted = {"planned", "due", "overdue", "unconfirmed"}
            if self.now < touch["at"] - max([0, *self._windows(touch)]) and not touch["outstanding"]:
                wanted = {"planned"} if touch["planned"] == touch["at"] else wanted
            elif self.now > touch["at"] + max([self.replay.handling, *self._windows(touch), *self._limits(touch)]):
                wanted = {"overdue", "unconfirmed"}
            if not self.wanted.head["household_records"]:
                wanted -= {"overdue"}
        if status not in wanted:
            yield f"R14: {where}: shown as {status}, not as {' or '.join(sorted(wanted))}"

    def _windows(self, touch: Values) -> list[int]:
        return [minutes(self.replay.orders[order]["on_time_within"]) for order, _ in touch["starts"]
                if "on_time_within" in self.replay.orders[order]]  # fmt: skip

    def _limits(self, touch: Values) -> list[int]:
        return [self.limit(touch["lumen"])] if touch["kind"] == "idle flush" else []

    def _done_or_late(self, touch: Values) -> set[str]:
        if not touch["starts"]:
            return {"done", "late"}
        closes = touch["planned"] + max([0, *self._windows(touch)[:1]])
        return {"done"} if (touch["flushed"] or touch["at"]) <= closes else {"late"}

    # Steps

    def not_through(self, touch: Values) -> bool:
        """Say whether something else is connected that must not be flushed through (R6), so that nothing is pushed."""
        here = {tuple(pair) for pair in (*touch["starts"], *touch["ends"])}
        return any(
            told.lumen == touch["lumen"]
            and self.replay.orders[told.order].get("flush_through", "allowed") != "allowed"
            and (told.order, told.key) not in here
            and told.start <= touch["at"]
            and (told.end is None or touch["at"] < told.end)
            for told in self.replay.by_hand()
        )

    def steps(self, touch: Values, where: str) -> Iterator[str]:
        """Steps of doses that take place are those that the plan orders (R6, R7), whatever was recorded."""
        replay, at, lumen = self.replay, touch["at"], touch["lumen"]
        doses = {(told.order, told.key): told for told in replay.by_hand()}
        if set(map(tuple, touch["starts"])) & set(map(tuple, touch["ends"])):
            return  # said to have finished before it was said to have started: no order of steps is the right one
        here = [doses[pair] for pair in map(tuple, (*touch["starts"], *touch["ends"])) if pair in doses]
        if not touch["steps"]:
            blocked = replay.blocks_at(at, lumen) or any(told.asks & {SUSPENDED, OUT_OF_USE} for told in here)
            blocked = blocked or self.shut_since(touch) or (replay.removed is not None and at >= replay.removed)
            blocked = blocked or self.not_through(touch)
            if touch["outcome"] is None and not blocked and self._ordered_steps(touch, lock=False, withdrawn=False):
                yield f"R6: {where}: no steps"
            return
        pushed = [pair for pair in touch["starts"] if replay.orders[pair[0]]["given_as"] == "push"]
        ends = bool(touch["ends"] or pushed)
        lumen_lasts = any(left <= at < right for left, right in replay.spans(lumen, pushes=False))
        aside = any(not told.leaned_on for told in here)
        free = max([at, *(doses[tuple(pair)].end or at for pair in pushed if tuple(pair) in doses)])
        following = min(
            (
                told.start
                for told in replay.by_hand()
                if told.lumen == lumen
                and told.leaned_on
                and told.start > at
                and (replay.rolling or told.start < replay.end or told.started is not None)
            ),
            default=NEVER,
        )
        joined = following - free <= self.wanted.joining
        locks = {ends and (aside or (not lumen_lasts and not joined))}
        if ends and not lumen_lasts and (joined or (replay.rolling and free >= replay.end)):
            locks |= {True, False}  # an idle flush in a long gap, or the plan's end, calls for the lock after all
        wanted = [
            steps for lock in locks for withdrawn in (True, False)
            for steps in self._ordered_steps(touch, lock=lock, withdrawn=withdrawn)
        ]  # fmt: skip
        shown = [tuple(step) for step in touch["steps"]]
        if shown not in wanted:
            yield f"R6: {where}: the steps are {shown}, wanted {wanted[0] if wanted else 'none'}"

    def _ordered_steps(self, touch: Values, *, lock: bool, withdrawn: bool) -> list[list[tuple[str, str]]]:
        meeting = Meeting(
            [OrderedDose(order, 0, 0, 0) for order, _ in touch["starts"]],
            [OrderedDose(order, 0, 0, 0) for order, _ in touch["ends"]],
            [order for order, _ in touch["bags"]],
        )
        found = self.wanted.touch_steps(touch["lumen"], meeting, withdrawn, lock)
        return [[(step["action"], step.get("what", "")) for step in steps] for steps in found]

    # Flushes and draws

    def flushes_and_draws(self) -> Iterator[str]:
        """Each recorded flush and draw is shown once, as what happened (R13)."""
        for lumen in self.wanted.lumens:
            here = [touch for touch in self.touches if touch["lumen"] == lumen]
            shown = Counter(
                touch["at"] if touch["flushed"] is None else touch["flushed"]
                for touch in here
                if touch["outcome"] == "done"
                and not touch["outstanding"]
                and not touch["starts"]
                and (touch["kind"] == "idle flush" or pushes(touch) or touch["flushed"] is not None)
            )
            told = self.told_apart(lumen)
            for at in sorted(set(told)):
                where = f"the flush of {lumen} at {in_words(at)}"
                if shown[at] > max(1, told.count(at)):
                    yield f"R13: {where} is shown {shown[at]} times"
                near = [touch for touch in here if abs(touch["at"] - at) <= self.replay.handling]
                if not shown[at] and not any(touch["outcome"] == "done" for touch in near):
                    yield f"R13: {where} is recorded and is not shown" + (" (beside a planned touch)" if near else "")
            for at in self.draws_apart(lumen):
                times = sum(touch["kind"] == "draw" and touch["at"] == at for touch in here)
                if times != 1:
                    yield f"R13: the draw from {lumen} at {in_words(at)} is shown {times} times"

    def draws_apart(self, lumen: str) -> list[int]:
        """Return when blood was drawn; what a second person reports minutes later is the same draw."""
        found: list[int] = []
        for fact in self.facts.of("drawn", lumen=lumen):
            if not any(fact["happened"] - at <= self.replay.handling for at in found):
                found.append(fact["happened"])
        return found

    def told_apart(self, lumen: str) -> list[int]:
        """Return when a lumen was flushed; what a second person reports minutes later is the same flush."""
        found: list[int] = []
        for fact in self.facts.of("flushed", lumen=lumen):
            if not found or fact.get("again") or fact["happened"] - found[-1] > self.replay.handling:
                found.append(fact["happened"])
        return found

    def last_flush(self, lumen: str) -> Iterator[str]:
        """The time since the last recorded flush is always to be had (R14)."""
        started = [
            dose.started
            for dose in self.replay.by_hand()
            if dose.lumen == lumen
            and dose.started is not None
            and dose.state != ELSEWHERE
            and self.replay.start <= dose.started
        ]
        flushed = self.facts.of("flushed", lumen=lumen)
        apart = set(self.told_apart(lumen))
        # Whether one that does not count for the limit is the last one is a matter of words.
        last = {
            max([*started, *(fact["happened"] for fact in flushes if fact["happened"] in apart)], default=None)
            for flushes in (flushed, [fact for fact in flushed if self.replay.counts(fact)])
        }
        bags = [fact["happened"] for fact in self.facts.of("bag changed")]
        stated = self.schedule["lumens"].get(lumen, {}).get("last_flush")
        if stated not in (*last, *bags):
            wanted = " or ".join(sorted(map(_when, last)))
            yield f"R14: {lumen} was last flushed at {wanted}, not at {_when(stated)}"

    # Along the time

    def limit(self, lumen: str) -> int:
        """Return a lumen's idle limit."""
        return minutes(self.wanted.lumens[lumen].get("idle_limit", self.wanted.plan["line"]["idle_limit"]))

    def along_the_time(self, lumen: str) -> Iterator[str]:
        """R8: from flush to flush, recorded or planned, with what may excuse a longer stretch."""
        replay, limit = self.replay, self.limit(lumen)
        shut = self.shut(lumen)
        for touch in self.touches:
            at = touch["at"]
            if touch["lumen"] != lumen or touch["kind"] != "idle flush" or touch["outcome"] is not None:
                continue
            if not replay.start <= at <= replay.end or shut[at - replay.start]:
                yield f"R8: {lumen} at {in_words(at)}: an idle flush while the lumen is not idle, or must not be used"
        last = self.wanted.moment(self.wanted.lumens[lumen]["last_flushed"])
        points = sorted(self.points(lumen))
        for at, due in [*points, (NEVER, replay.end)]:
            # A touch that was recorded late was counted upon up to then.
            counted_upon = [was_due for when, was_due in points if last < was_due and when >= at]
            due = min([due, *counted_upon])
            idle = self.first_open(shut, last + limit, min(due, replay.end))
            if idle is not None and not self.excused(shut, last + limit, due):
                yield (
                    f"R8: {lumen} at {in_words(idle + 1)}: {idle + 1 - last} min since the flush of {in_words(last)}, the limit "
                    f"is {limit} min; the next one stands at {_when(None if at == NEVER else at)}"
                )
            last = max(last, at)

    def shut(self, lumen: str) -> bytearray:
        """Return for each minute whether the lumen is in use or must not be used."""
        start, end = self.replay.start, self.replay.end
        shut = bytearray(end - start + 1)
        closed = [*self.replay.spans(lumen), *self.replay.holds.of.get(("",), [])]
        for name in (lumen, ""):
            for why in (SUSPENDED, OUT_OF_USE):
                closed += self.replay.blocks.of.get((name, why), [])
        for left, right in closed:
            first, last = max(left, start) - start, min(right, end + 1) - start
            if first < last:
                shut[first:last] = b"\1" * (last - first)
        return shut

    def first_open(self, shut: bytearray, left: int, right: int) -> int | None:
        """Return the first minute from ``left`` up to ``right`` in which the lumen is idle and may be used."""
        start = self.replay.start
        index = shut.find(b"\0", max(0, left - start), max(0, right - start))
        return None if index < 0 else start + index

    def points(self, lumen: str) -> Iterator[tuple[int, int]]:
        """Yield when a lumen was flushed, or is planned to be, and when that was due at the latest (R14)."""
        weak = {(told.order, told.key) for told in self.replay.by_hand() if not told.leaned_on}
        told_flushes = self.facts.of("flushed", lumen=lumen)
        idle_only = {fact["happened"] for fact in told_flushes if not self.replay.counts(fact)}
        for touch in self.touches:
            if touch["lumen"] != lumen or touch["outcome"] in ("held", "not given"):
                continue
            at = touch["at"] if touch["flushed"] is None else touch["flushed"]
            due = min(touch["planned"], touch["at"])
            if touch["outcome"] == "skipped":
                if touch["kind"] == "idle flush":  # called off by a person: the next is planned as if it had been given
                    yield at, due
                continue
            if any(tuple(pair) in weak for pair in (*touch["starts"], *touch["ends"])):
                continue
            known = touch["outcome"] == "done" and not touch["outstanding"]
            if known and at in idle_only and not touch["starts"]:
                continue  # given without its lock
            if touch["starts"] or pushes(touch) or touch["outstanding"] or self.shut_since(touch):
                yield at, due

    def excused(self, shut: bytearray, deadline: int, due: int) -> bool:
        """Say whether a touch that was to come in time has fallen away by a fact of later (R16).

        The flush is then due at once after that fact, if the lumen has not been flushed by then.
        """
        ordered = {(told.order, told.key): told.ordered for told in self.replay.all()}
        for fact in self.facts.of("delayed", "skipped", "not given", "started"):
            about, at = (fact.get("order", ""), fact.get("dose", "")), fact["happened"]
            falls_away = fact["kind"] != "started" or fact.get("elsewhere") or fact.get("lumen")
            at_once = at >= due or self.first_open(shut, at, due + 1) == due
            if falls_away and at_once and ordered.get(about, NEVER) <= deadline < at:
                return True
        return False


def pushes(touch: Values) -> bool:
    """Say whether something is pushed in a touch."""
    return any(step[0] in ("flush", "lock", "push") for step in touch["steps"])


def _name(told: Told) -> str:
    return f"{told.order} {told.key}"


def _when(at: int | None) -> str:
    return "no known moment" if at is None else "no moment" if at >= NEVER else in_words(at)
