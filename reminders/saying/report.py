"""From what was said to the facts of one report, or to a question back (R13, R18, S1-S14).

Order, dose and lumen are inferred where only one fits. What cannot be right is asked back with the reason; what may have
happened is never refused.
"""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from reminders.plan.model import LineKind, Plan
from reminders.record.facts import FIELDS, Fact, Kind, Record, Sign
from reminders.saying import care
from reminders.saying.advice import first_words
from reminders.saying.done import done
from reminders.saying.household import counted, delivered
from reminders.saying.phrases import PUTS_OFF, Said, Verb
from reminders.saying.when import UnclearTimeError, day_alone, when
from reminders.saying.which import AskBackError, Choice, Which
from reminders.schedule.lumen_now import unknown_since
from reminders.schedule.model import ENDLESS, Dose, DoseState, Schedule, Status, TouchKind
from reminders.schedule.status import status
from reminders.schedule.whole_line import dressing_signs, whole_line_signs
from reminders.times import Instant
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext


def report(said: Said, schedule: Schedule, record: Record, now: Instant, *, key: str) -> tuple[Fact, ...]:
    """Return the facts of one report, entered ``now``; none where the record has it already.

    ``key`` names the report: the same one, sent twice, is one.

    Raises:
        AskBackError: it is unclear, or cannot be right.
    """
    return _Reporter(said, schedule, record, now, key).facts()


OPEN = frozenset({Status.DUE, Status.OVERDUE, Status.UNCONFIRMED})


class _Reporter:
    def __init__(self, said: Said, schedule: Schedule, record: Record, now: Instant, key: str) -> None:
        self.said, self.schedule, self.record, self.now, self.key = said, schedule, record, now, key
        self.clock = schedule.plan.clock
        self.day = self._day_of_task()
        self.at = now if said.verb in PUTS_OFF or self.day is not None else self._when(said.when)
        self.which = Which(said, schedule, now, self.at)
        self.plan: Plan = self.which.plan

    def facts(self) -> tuple[Fact, ...]:
        say: Mapping[Verb, Callable[[], list[dict[str, Any]]]] = {
            Verb.DONE: lambda: done(self.which, self._fluids()),
            Verb.STARTED: self._started,
            Verb.ELSEWHERE: self._elsewhere,
            Verb.FINISHED: self._finished,
            Verb.STOPPED: self._stopped,
            Verb.INTERRUPTED: self._interrupted,
            Verb.RESUMED: self._resumed,
            Verb.DELAYED: self._delayed,
            Verb.FLUSHED: self._flushed,
            Verb.SKIPPED: self._skipped,
            Verb.NOT_GIVEN: self._not_given,
            Verb.BAG_CHANGED: self._bag_changed,
            Verb.DRAWN: lambda: care.drawn(self.which, self.record, self._fluids()),
            Verb.PROBLEM: self._problem,
            Verb.HELD: self._held,
            Verb.RELEASED: self._released,
            Verb.OUT_OF_USE: lambda: [{"kind": Kind.OUT_OF_USE, "lumen": self.which.lumen()}],
            Verb.NEEDLE_OUT: lambda: self._needle(Kind.NEEDLE_OUT),
            Verb.NEEDLE_IN: lambda: self._needle(Kind.NEEDLE_IN),
            Verb.HEPARIN_STOPPED: lambda: [{"kind": Kind.HEPARIN_STOPPED}],
            Verb.EXCHANGED: lambda: [{"kind": Kind.EXCHANGED}],
            Verb.REMOVED: lambda: [{"kind": Kind.REMOVED}],
            Verb.TASK_DONE: lambda: care.task_done(self.which, self.record, self._fluids()),
            Verb.TASK_PUT_OFF: lambda: care.put_off(self.which, self._when(self.said.when, ahead=True)),
            Verb.TASK_SKIPPED: lambda: care.left_out(self.which, self.record, self.day),
            Verb.COUNTED: lambda: counted(self.which, self.record),
            Verb.DELIVERED: lambda: delivered(self.which, self.record),
        }
        try:
            told = say[self.said.verb]()
        except AskBackError as question:
            if self.said.sign is None:
                raise
            # What to do now must not wait for an answer.
            first = first_words(self.said.sign, self.schedule.plan, self.said.note)
            raise AskBackError(f"{first} {question.problem}", question.choices) from None
        many = len(told) > 1
        return tuple(
            self._fact(f"{self.key}.{number}" if many else self.key, values)
            for number, values in enumerate(told, start=1)
        )

    def _fact(self, key: str, values: dict[str, Any]) -> Fact:
        by_whom = {"said_by": self.said.said_by} if values["kind"] in SAID_BY and self.said.said_by else {}
        common = {"happened": self.at, "entered": self.now, "by": self.said.by, "note": self.said.note}
        return Fact(key=key, report=self.key, **{**common, **by_whom, **values})

    def _day_of_task(self) -> date | None:
        """Return the day of which a task is left out, where one was said without a time."""
        try:
            told = self.said.when if self.said.verb is Verb.TASK_SKIPPED else ""
            return day_alone(told, self.clock, self.now)
        except UnclearTimeError as unclear:
            raise AskBackError(unclear.problem) from None

    def _when(self, text: str, *, ahead: bool = False, of: str = "when") -> Instant:
        try:
            return when(text, self.clock, self.now, earliest=self.schedule.start, ahead=ahead)
        except UnclearTimeError as unclear:
            raise AskBackError(
                unclear.problem,
                [
                    Choice(reading.words, f'{TIME_OPTIONS[of]} "{reading.say}"', {of: reading.say})
                    for reading in unclear.readings
                ],
            ) from None

    # Doses

    def _started(self) -> list[dict[str, Any]]:
        dose = self.which.dose_to_start()
        if dose is None:
            return []
        lumen = (
            {"lumen": self.said.lumen}
            if self.said.lumen and self.said.lumen != self.which.order(dose.order).lumen
            else {}
        )
        volume = {"volume": self.said.volume} if self.said.volume else {}
        again = {"again": True} if self.said.again else {}
        return [{"kind": Kind.STARTED, "order": dose.order, "dose": dose.key, **lumen, **volume, **again}]

    def _elsewhere(self) -> list[dict[str, Any]]:
        dose = self.which.dose_to_start()
        if dose is None:
            return []
        used = {"lumen_used": True} if self.said.line_used else {}
        told = {"kind": Kind.STARTED, "order": dose.order, "dose": dose.key, "elsewhere": True, **used}
        flushed = {"kind": Kind.FLUSHED, "lumen": dose.lumen, "elsewhere": True}
        return [told, flushed] if self.said.flushed else [told]

    def _not_before_start(self, dose: Dose, what: str) -> None:
        if self.at >= dose.start or dose.started is None:
            return
        raise AskBackError(
            _("{drug} cannot have been {what} at {at}: it was started at {started}. Which of the two is wrong?").format(
                drug=self.which.order(dose.order).drug,
                what=what,
                at=self.which.shown(self.at),
                started=self.which.shown(dose.start),
            ),
            [
                Choice(_("The time now said: say another one."), ""),
                Choice(_("The start: take it back with  reminders undo , then say both again."), ""),
            ],
        )

    def _finished(self) -> list[dict[str, Any]]:
        earlier = self._already_finished()
        if earlier is not None:
            return earlier
        dose = self.which.running_dose(_("finished"))
        self._not_before_start(dose, _("finished"))
        told = [{"kind": Kind.FINISHED, "order": dose.order, "dose": dose.key}]
        if self.said.flushed:
            told.append({"kind": Kind.FLUSHED, "lumen": dose.lumen, **self._fluids()})
        return told

    def _already_finished(self) -> list[dict[str, Any]] | None:
        """Return what is left to record of a finish that was reported before; None if there is none about now."""
        doses = self.which.finished_lately()
        if not doses:
            return None
        dose = doses[-1]
        if self.said.flushed and any(touch.outstanding and dose in touch.ends for touch in self.schedule.touches):
            return [{"kind": Kind.FLUSHED, "lumen": dose.lumen, **self._fluids()}]
        if dose.finished == self.at:
            return []
        raise self._finished_already(dose)

    def _finished_already(self, dose: Dose) -> AskBackError:
        assert dose.finished is not None, "it was reported"
        return AskBackError(
            _("{drug} was already reported as finished at {finished}.").format(
                drug=self.which.order(dose.order).drug, finished=self.which.shown(dose.finished)
            ),
            [
                Choice(_("That is right: nothing to record."), "", settles=True),
                Choice(_("That is wrong: take it back with  reminders undo , then say it again."), ""),
            ],
        )

    def _stopped(self) -> list[dict[str, Any]]:
        try:
            dose = self.which.running_dose(_("stopped"))
        except AskBackError:
            for ended in self.which.finished_lately()[-1:]:
                raise self._finished_already(ended) from None
            raise
        self._not_before_start(dose, _("stopped"))
        sign = {"sign": self.said.sign} if self.said.sign else {}
        volume = {"volume": self.said.volume} if self.said.volume else {}
        told = [{"kind": Kind.STOPPED, "order": dose.order, "dose": dose.key, **sign, **volume}]
        if self.said.flushed:
            told.append({"kind": Kind.FLUSHED, "lumen": dose.lumen, **self._fluids()})
        return told

    def _interrupted(self) -> list[dict[str, Any]]:
        dose = self.which.running_dose(_("interrupted"))
        self._not_before_start(dose, _("interrupted"))
        if any(begin <= self.at and resumed == ENDLESS for begin, resumed in dose.pauses):
            raise AskBackError(
                _("{drug} is interrupted already, since {since}.").format(
                    drug=self.which.order(dose.order).drug, since=self.which.shown(dose.pauses[-1][0])
                )
            )
        sign = {"sign": self.said.sign} if self.said.sign else {}
        return [{"kind": Kind.INTERRUPTED, "order": dose.order, "dose": dose.key, **sign}]

    def _resumed(self) -> list[dict[str, Any]]:
        paused = self.which.standing()
        if len(paused) == 1:
            return self._runs_again(paused[0])
        if paused:
            raise AskBackError(
                _("Which infusion?"), [self.which.choice(dose, _("{drug}, started {started}")) for dose in paused]
            )
        raise AskBackError(
            _(
                "No infusion is recorded as interrupted before {at}, so none can have been resumed then. When was it?"
            ).format(at=self.which.shown(self.at)),
            [Choice(_("Say first when it was interrupted, such as  interrupted 9:40 ."), "")],
        )

    def _runs_again(self, dose: Dose) -> list[dict[str, Any]]:
        """Return that an infusion goes on; that it stood since its lumen was suspended is said with it."""
        of_dose = {"order": dose.order, "dose": dose.key}
        since = unknown_since(dose, self.schedule, self.at)
        stood = [] if since is None else [{"kind": Kind.INTERRUPTED, **of_dose, "happened": since}]
        return [*stood, {"kind": Kind.RESUMED, **of_dose}]

    def _delayed(self) -> list[dict[str, Any]]:
        until = self._when(self.said.when, ahead=True)
        # The dose that is put off to 21:30 is the one that would be late then.
        dose = Which(self.said, self.schedule, self.now, until).dose_to_start()
        if dose is None:
            return []
        return [{"kind": Kind.DELAYED, "order": dose.order, "dose": dose.key, "until": until}]

    def _not_given(self) -> list[dict[str, Any]]:
        return self._dropped(Kind.NOT_GIVEN)

    def _dropped(self, kind: Kind) -> list[dict[str, Any]]:
        dose = self.which.dose_to_start()
        return [] if dose is None else [{"kind": kind, "order": dose.order, "dose": dose.key}]

    def _skipped(self) -> list[dict[str, Any]]:
        if not self.said.lumen:
            return self._dropped(Kind.SKIPPED)
        ahead = [
            touch
            for touch in self.schedule.touches
            if touch.kind is TouchKind.IDLE_FLUSH
            and touch.lumen == self.said.lumen
            and touch.outcome is None
            and (touch.at > self.now or status(touch, self.schedule, self.now) in OPEN)
        ]
        open_now = [touch for touch in ahead if status(touch, self.schedule, self.now) in (Status.DUE, Status.OVERDUE)]
        touch = next(iter([*open_now[-1:], *(touch for touch in ahead if touch.at > self.now)]), None)
        if touch is None:
            raise AskBackError(_("No flush of this lumen is planned that could be left out."))
        return [{"kind": Kind.SKIPPED, "lumen": touch.lumen, "planned_for": touch.planned}]

    def _bag_changed(self) -> list[dict[str, Any]]:
        with_bags = [name for name, order in self.plan.orders.items() if order.bag_every or order.bag_times]
        order = self.said.order or self.which.one_order(with_bags, _("Which bag was changed?"))
        dose = self.which.running_dose(_("given a new bag"), order)
        return [{"kind": Kind.BAG_CHANGED, "order": dose.order, "dose": dose.key}]

    # Lumens and the line

    def _flushed(self) -> list[dict[str, Any]]:
        lumen = self.which.lumen(self.which.flush_waits())
        near = self.plan.course.handling_time
        since = self.which.flush_waits_since(lumen)
        told = [fact for fact in self.record.of_kind(Kind.FLUSHED) if fact.lumen == lumen and fact.happened >= since]
        same = min(told, key=lambda fact: abs(fact.happened - self.at), default=None)
        again = {"again": True} if self.said.again else {}
        if same is not None and not self.said.again and abs(same.happened - self.at) <= near:
            if same.happened == self.at:
                return []
            who = _(" by {name}").format(name=same.by) if same.by else ""
            raise AskBackError(
                _("A flush of the {lumen} was already reported{who}, at {at}.").format(
                    lumen=self.which.lumen_words(lumen), who=who, at=self.which.shown(same.happened)
                ),
                [
                    Choice(_("It is the same one: nothing to record."), "", settles=True),
                    Choice(_("It was flushed a second time."), "--again", {"again": True}),
                ],
            )
        return [{"kind": Kind.FLUSHED, "lumen": lumen, **self._fluids(), **again}]

    def _problem(self) -> list[dict[str, Any]]:
        if self.said.sign is Sign.OTHER and not self.said.lumen:
            return [{"kind": Kind.PROBLEM, "sign": Sign.OTHER}]
        return [self._problem_of()]

    def _problem_of(self) -> dict[str, Any]:
        """A sign is of the lumen that was named, or of the only one: of which one it is, is never guessed."""
        if self.said.sign is not Sign.NOT_FLOWING:
            return {"kind": Kind.PROBLEM, "sign": self.said.sign, "lumen": self.which.lumen()}
        dose = self.which.running_dose(_("stuck"))
        if dose.state is not DoseState.RUNNING:
            self.which.lumen()  # which infusion does not flow is clear only if one is recorded to run
        return {
            "kind": Kind.PROBLEM,
            "sign": Sign.NOT_FLOWING,
            "lumen": dose.lumen,
            "order": dose.order,
            "dose": dose.key,
        }

    def _needle(self, kind: Kind) -> list[dict[str, Any]]:
        if self.plan.line.kind is not LineKind.PORT:
            raise AskBackError(
                _(
                    "This line is a {kind}, which has no needle. Was the line itself removed? Then say  line removed ."
                ).format(kind=self.plan.line.kind.value)
            )
        return [{"kind": kind}]

    def _held(self) -> list[dict[str, Any]]:
        if self.said.everything:
            return [{"kind": Kind.HELD}]
        order = self.said.order or self.which.one_order(
            list(self.plan.orders), _("Which order is held? Or everything?")
        )
        return [{"kind": Kind.HELD, "order": order}]

    def _released(self) -> list[dict[str, Any]]:
        if self.said.everything:
            return self._home_again()
        if self.said.lumen:
            suspended = self._suspended(self.said.lumen)
            if suspended and not self.said.said_by:
                raise AskBackError(
                    _("The {lumen} is suspended. Only a clinician can release it: who did?").format(
                        lumen=self.which.lumen_words(self.said.lumen)
                    ),
                    [Choice(_("Say the clinician's name or role."), '--said-by "nurse ..."')],
                )
            return [{"kind": Kind.RELEASED, "lumen": self.said.lumen}]
        held = [name for name in self.plan.orders if self._is_held(name)]
        order = self.said.order or self.which.one_order(held, _("What is released? An order, a lumen, or everything?"))
        return [{"kind": Kind.RELEASED, "order": order}]

    def _home_again(self) -> list[dict[str, Any]]:
        """After a stay elsewhere the last flush there is asked for (S14)."""
        sign = self._of_the_whole_line()
        if sign is not None and not self.said.said_by:
            raise AskBackError(
                _("{sign}, since {since}: only a clinician can release the line. Who did?").format(
                    sign=_first_letter_large(sign.note), since=self.which.shown(sign.happened)
                ),
                [Choice(_("Say the clinician's name or role."), '--said-by "nurse ..."')],
            )
        if sign is not None and not self._is_held(""):
            return [{"kind": Kind.RELEASED}]
        if not self._is_held(""):
            raise AskBackError(
                _("Nothing says that everything was held, so nothing can be released. Since when were you away?"),
                [Choice(_("Say first since when, such as  in hospital yesterday 21:15 ."), "")],
            )
        if not self.said.last_flush:
            raise AskBackError(
                _(
                    "When was the line last flushed there? Ask the hospital if you do not know; it counts for the idle limit."
                ),
                [
                    # Nothing that would be taken as it stands: a flush that never was would count.
                    Choice(_("At a time that you know, such as  yesterday 21:00 ."), "--last-flush TIME"),
                    Choice(
                        _("Nobody can say: then the last flush recorded here counts."),
                        "--last-flush unknown",
                        {"last_flush": "unknown"},
                    ),
                ],
            )
        told: list[dict[str, Any]] = []
        if self.said.last_flush != "unknown":
            flushed = self._when(self.said.last_flush, of="last_flush")
            self._during_the_stay(flushed)
            lumens = [name for name, lumen in self.plan.lumens.items() if lumen.in_use]
            told = [{"kind": Kind.FLUSHED, "lumen": name, "elsewhere": True, "happened": flushed} for name in lumens]
        return [{"kind": Kind.RELEASED}, *told]

    def _of_the_whole_line(self) -> Fact | None:
        """Return the last sign that stands and is about the whole line; one of the dressing only where nothing is held."""
        signs = whole_line_signs(self.record)
        if not signs and not self._is_held(""):
            signs = dressing_signs(self.record, self.schedule)
        return next((fact for fact in reversed(signs) if fact.happened <= self.at), None)

    def _during_the_stay(self, flushed: Instant) -> None:
        since = self._holds("")[-1].happened
        if flushed < since:
            raise AskBackError(
                _("{flushed} is before the stay began, at {since}. When was the line last flushed there?").format(
                    flushed=self.which.shown(flushed), since=self.which.shown(since)
                ),
                [Choice(_("Nobody can say."), "--last-flush unknown", {"last_flush": "unknown"})],
            )

    def _suspended(self, lumen: str) -> bool:
        state = self.schedule.lumens.get(lumen)
        return state is not None and any(begin <= self.at < end for begin, end, _why in state.blocked)

    def _is_held(self, order: str) -> bool:
        facts = self._holds(order)
        return bool(facts) and facts[-1].kind is Kind.HELD

    def _holds(self, order: str) -> list[Fact]:
        facts = self.record.of_kind(Kind.HELD, Kind.RELEASED)
        return [fact for fact in facts if fact.order == order and not fact.lumen]

    # Words

    def _fluids(self) -> dict[str, Any]:
        return {"fluids": self.said.fluids} if self.said.fluids else {}


def _first_letter_large(text: str) -> str:
    return text[:1].upper() + text[1:]


TIME_OPTIONS = {"when": "--at", "last_flush": "--last-flush"}
"""With which option each of the times that can be said is said on its own."""

SAID_BY = frozenset(kind for kind, (_needed, allowed) in FIELDS.items() if "said_by" in allowed)
"""Facts that a clinician may have ordered."""
