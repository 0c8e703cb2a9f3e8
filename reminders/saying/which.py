"""Which dose, order or lumen somebody means who does not name it: the only one that fits, or a question back."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from reminders.plan.keys import shown_value
from reminders.plan.model import Plan
from reminders.plan.order import GivenAs, Order
from reminders.saying.phrases import Said
from reminders.schedule.doses import moment_key
from reminders.schedule.happened import AGAIN
from reminders.schedule.lumen_now import unknown_since
from reminders.schedule.model import ENDLESS, NEVER, Dose, DoseState, Schedule, Status, Touch, TouchKind
from reminders.schedule.status import overtaken, status
from reminders.times import DAY, Instant
from reminders.words import CATALOGUE, lumen_words, moment_words

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer to a question back: in words, what to add to the command, and what it makes of what was said.

    ``settles``: it is no new fact, and there is nothing more to say.
    """

    words: str
    say: str
    changes: Mapping[str, Any] = field(default_factory=dict)
    settles: bool = False


class AskBackError(Exception):
    """Something that must be asked back: why, and what may be meant. Without choices it is refused."""

    def __init__(self, problem: str, choices: Iterable[Choice] = ()) -> None:
        """Take the whole question as a sentence, and its answers."""
        super().__init__(problem)
        self.problem, self.choices = problem, tuple(choices)


@dataclass(frozen=True, slots=True)
class Named:
    """A dose by its names; one that was given once more, or as needed, is none that the schedule has."""

    order: str
    key: str
    lumen: str


class Which:
    """Looks for what is meant in a schedule, at the moment that was said and as things stand now."""

    def __init__(self, said: Said, schedule: Schedule, now: Instant, at: Instant) -> None:
        """Take what was said, and ``at``, the moment of which it was said."""
        self.said, self.schedule, self.now, self.at = said, schedule, now, at
        self.plan = schedule.plan_by_then(at)
        self.clock = schedule.plan.clock

    def order(self, name: str) -> Order:
        """Return an order as the plan of that moment has it.

        Raises:
            AskBackError: it is only ordered later.
        """
        if name in self.plan.orders:
            return self.plan.orders[name]
        begins = self._later(lambda plan: name in plan.orders)
        said = _("{drug} is ordered only from {begins} on, so not at {at}. What was it, or when?")
        drug = self.schedule.plan.orders[name].drug
        raise AskBackError(said.format(drug=drug, begins=begins, at=self.shown(self.at)))

    def _later(self, has: Callable[[Plan], bool]) -> str:
        """Say from when on a plan holds what the one of that moment does not."""
        return self.shown(next(begins for begins, plan in self.schedule.by_then if begins > self.at and has(plan)))

    def lumen_words(self, name: str) -> str:
        """Name a lumen as the plan of that moment does; one that only a later plan has, as that one will."""
        return lumen_words(self.plan if name in self.plan.lumens else self.schedule.plan, name)

    def dose_to_start(self) -> Named | None:
        """Return the dose that was, or is to be, started; None where that is recorded already."""
        order = self.said.order or self._order_to_start()
        if self.order(order).as_needed and not self.said.dose:
            return self._as_needed(order)
        doses = self.schedule.connected[order]
        if self.said.dose:
            named = [dose for dose in doses if dose.key == self.said.dose]
            if not named:
                raise AskBackError(
                    _("{drug} has no dose {key}. Leave  --dose  out; then it is asked which one it was.").format(
                        drug=self.order(order).drug, key=shown_value(self.said.dose)
                    )
                )
            return self._again_or(named[0]) if named[0].started is not None else _named(named[0])
        given = [dose for dose in doses if dose.started is not None]
        open_doses = [dose for dose in doses if dose.started is None]
        ahead = min((dose for dose in open_doses if dose.due > self.at), key=lambda dose: dose.due, default=None)
        past = max((dose for dose in open_doses if dose.due <= self.at), key=lambda dose: dose.due, default=None)
        near = min(given, key=lambda dose: abs(dose.start - self.at), default=None)
        order_of = self.order(order)
        within, cut_off = order_of.on_time_within or 0, order_of.cut_off or 0
        meant = self._meant(past, ahead, within, cut_off)
        if near is not None and abs(near.start - self.at) <= min(
            (abs(dose.due - self.at) for dose in meant), default=ENDLESS
        ):
            return self._again_or(near)
        if len(meant) == 1:
            return _named(meant[0])
        if not meant:
            raise AskBackError(_("{drug} has no dose left in this plan.").format(drug=order_of.drug))
        raise AskBackError(
            _("Which dose of {drug} was it?").format(drug=order_of.drug),
            [self.choice(dose, _("the dose of {due}")) for dose in meant],
        )

    def _meant(self, past: Dose | None, ahead: Dose | None, within: int, cut_off: int) -> list[Dose]:
        """Return the doses that may be meant: the one whose window is open, the late one before its cut-off, else both."""
        if ahead is not None and ahead.due - within <= self.at:
            return [ahead]
        if past is not None and (ahead is None or self.at <= past.due + max(cut_off, within)):
            return [past]
        return [dose for dose in (past, ahead) if dose is not None]

    def _again_or(self, dose: Dose) -> Named | None:
        """A dose that was reported before: the same report once more, or a second dose (R18)."""
        if self.said.again:
            return Named(dose.order, f"{dose.key}{AGAIN}{moment_key(self.at)}", dose.lumen)
        if dose.started == self.at:
            return None
        assert dose.started is not None
        raise AskBackError(
            _("{drug} was already reported as started at {started}, for the dose of {due}.").format(
                drug=self.order(dose.order).drug, started=self.shown(dose.started), due=self.shown(dose.ordered)
            ),
            [
                Choice(_("It is the same one: nothing to record."), "", settles=True),
                Choice(_("It was given twice: record it, and call."), "--again", {"again": True}),
            ],
        )

    def _as_needed(self, order: str) -> Named | None:
        key = moment_key(self.at)
        same = [dose for dose in self.schedule.doses[order] if dose.key == key]
        return None if same else Named(order, key, self.order(order).lumen)

    def _order_to_start(self) -> str:
        """Return the one order that has a dose to start about now, or the only order there is."""
        fitting = []
        for name, doses in self.schedule.doses.items():
            order = self.plan.orders.get(name)
            if order is None or order.given_as is GivenAs.PUMP or (self.said.lumen and order.lumen != self.said.lumen):
                continue
            reach = max(order.cut_off or 0, order.on_time_within or 0)
            if any(dose.started is None and abs(dose.due - self.at) <= reach for dose in doses):
                fitting.append(name)
        if not fitting:
            fitting = [
                name for name in self.plan.orders if not self.said.lumen or self.order(name).lumen == self.said.lumen
            ]
        return self.one_order(fitting, _("Which infusion?"))

    def one_order(self, names: Sequence[str], question: str) -> str:
        """Return the only order of some, or ask which."""
        if len(names) == 1:
            return names[0]
        listed = names or list(self.plan.orders)
        if not listed:
            raise AskBackError(_("This plan has no orders."))
        raise AskBackError(
            question, [Choice(self.order(name).drug, f"--order {name}", {"order": name}) for name in listed]
        )

    def running_dose(self, what: str, order: str = "") -> Dose:
        """Return what runs, as recorded; where nothing is, what would have run or finished by now as planned."""
        order, lumen = order or self.said.order, self.said.lumen
        doses = [
            dose
            for name, found in self.schedule.connected.items()
            for dose in found
            if order in ("", name) and lumen in ("", dose.lumen) and self._can_run(dose)
        ]
        if self.said.dose:
            doses = [dose for dose in doses if dose.key == self.said.dose]
        started = [dose for dose in doses if dose.state is DoseState.RUNNING]
        begun = [dose for dose in started if dose.start <= self.at] or started
        recorded = begun if self.said.dose else [dose for dose in begun if not self._overtaken(dose)]
        if not recorded or all(self._long_over(dose) for dose in recorded):
            others = [dose for dose in doses if dose in recorded or dose.state is DoseState.UNRECORDED]
            recorded += [dose for dose in self._perhaps_running(others) if dose not in recorded]
        if len(recorded) == 1:
            return recorded[0]
        recorded = recorded or begun  # none of them runs any more: somebody must say that it is meant
        if not recorded:
            raise AskBackError(
                _(
                    "Nothing is recorded or planned to be running {where}that could have been {what}. What was started?"
                ).format(
                    where="" if not lumen else _("in the {lumen} ").format(lumen=self.lumen_words(lumen)),
                    what=what,
                ),
                [
                    Choice(
                        _("Say first when it was started, such as  started {name} 9:40 .").format(name=name),
                        "",
                    )
                    for name in self.plan.orders
                    if order in ("", name)
                ],
            )
        raise AskBackError(
            _("Which infusion?"), [self.choice(dose, _("{drug}, started {started}")) for dose in recorded]
        )

    def finished_lately(self) -> list[Dose]:
        """Return what was reported as finished about now, where nothing else runs that may be meant."""
        of_said = list(self._connected())
        running = (dose for dose in of_said if dose.state is DoseState.RUNNING and dose.start <= self.at)
        if not all(self._overtaken(dose) for dose in running):
            return []
        near = 2 * self.plan.course.handling_time
        named = [dose for dose in of_said if self.said.dose in ("", dose.key)]
        return [dose for dose in named if dose.finished is not None and abs(dose.finished - self.at) <= near]

    def standing(self) -> list[Dose]:
        """Return what is interrupted, or of which nobody knows whether it runs, and can have gone on."""
        return [
            dose
            for dose in self._connected()
            if self.said.dose in ("", dose.key)
            and (
                any(begin <= self.at and resumed == ENDLESS for begin, resumed in dose.pauses)
                or (unknown_since(dose, self.schedule, self.at) or self.at) < self.at
            )
        ]

    def _connected(self) -> Iterator[Dose]:
        """Yield every dose that is connected by hand, of the order and in the lumen that were named."""
        order, lumen = self.said.order, self.said.lumen
        for name, found in self.schedule.connected.items():
            yield from (dose for dose in found if order in ("", name) and lumen in ("", dose.lumen))

    def _can_run(self, dose: Dose) -> bool:
        order = self.schedule.plan_at(dose.start).orders[dose.order]
        return order.given_as is not GivenAs.PUSH and dose.state in (DoseState.RUNNING, DoseState.UNRECORDED)

    def _overtaken(self, dose: Dose) -> bool:
        """Say whether by the moment that was said another infusion was started in its lumen, once it should have finished."""
        return dose.end is not None and any(
            other.lumen == dose.lumen and other.started is not None and dose.end <= other.started <= self.at
            for found in self.schedule.connected.values()
            for other in found
            if other.state is not DoseState.ELSEWHERE
        )

    def _long_over(self, dose: Dose) -> bool:
        """Say whether an infusion should have finished so long ago that another one may be meant."""
        order = self.schedule.plan_at(dose.start).orders[dose.order]
        return dose.due_end is not None and self.at > dose.due_end + (order.cut_off or 0)

    def _perhaps_running(self, doses: Sequence[Dose]) -> list[Dose]:
        latest: dict[str, Dose] = {}
        for dose in doses:
            if dose.start <= self.at and (dose.end is None or self.at - dose.end <= DAY):
                latest[dose.order] = dose
        return list(latest.values())

    def lumen(self, fitting: Sequence[str] = ()) -> str:
        """Return the lumen that was named; else the lumen of the order that was; else the only one that fits.

        Raises:
            AskBackError: more than one fits, or only a later plan has it. What endangers is taken all the same.
        """
        named = self.said.lumen
        if named and named not in self.plan.lumens and self.said.sign is None:
            said = _("The {lumen} is in the plan only from {begins} on, so not at {at}. Which lumen was it, or when?")
            begins = self._later(lambda plan: named in plan.lumens)
            raise AskBackError(said.format(lumen=self.lumen_words(named), begins=begins, at=self.shown(self.at)))
        if named:
            return named
        if self.said.order:
            return self.order(self.said.order).lumen
        used = [name for name, lumen in self.plan.lumens.items() if lumen.in_use]
        for names in (list(dict.fromkeys(fitting)), used):
            if len(names) == 1:
                return names[0]
        raise AskBackError(
            _("Which lumen?"),
            [Choice(lumen_words(self.plan, name), f"--lumen {name}", {"lumen": name}) for name in self.plan.lumens],
        )

    def flush_waits(self) -> list[str]:
        """Return the lumens in which a flush is outstanding, due or overdue."""
        waiting = [touch for touch in self.open_touches() if touch.outstanding]
        flushes = [touch for touch in self.open_touches() if touch.kind is TouchKind.IDLE_FLUSH]
        return [touch.lumen for touch in (waiting or flushes)]

    def flush_waits_since(self, lumen: str) -> Instant:
        """Return since when a flush of a lumen is outstanding: one before that is another one, however near it is."""
        waits = [touch.at for touch in self.open_touches() if touch.outstanding and touch.lumen == lumen]
        return max((at for at in waits if at <= self.at), default=NEVER)

    def open_touches(self) -> list[Touch]:
        """Return the touches that wait to be done now."""
        return [
            touch
            for touch in self.schedule.touches
            if status(touch, self.schedule, self.now) in (Status.DUE, Status.OVERDUE)
            or (touch.outstanding and not overtaken(touch, self.schedule))
        ]

    def ending(self) -> list[Touch]:
        """Return the finishes of what runs that come within one handling from now: who says done may mean one of them."""
        soon = self.now + self.plan.course.handling_time
        return [
            touch
            for touch in self.schedule.touches
            if self.now < touch.at <= soon
            and touch.outcome is None
            and any(dose.state is DoseState.RUNNING for dose in touch.ends)
        ]

    def shown(self, at: Instant) -> str:
        """Show an instant on the household's clock."""
        return moment_words(self.clock.local(at))

    def choice(self, dose: Dose, words: str) -> Choice:
        """Offer a dose as an answer."""
        shown = words.format(drug=self.order(dose.order).drug, due=self.shown(dose.due), started=self.shown(dose.start))
        return Choice(shown, f'--order {dose.order} --dose "{dose.key}"', {"order": dose.order, "dose": dose.key})


def _named(dose: Dose) -> Named:
    return Named(dose.order, dose.key, dose.lumen)
