"""What is reported on the page: from a form into the record, to the answer; questions back; and taking back.

Reports are taken one after the other. A report that was taken is answered by sending the browser on to the page of its
answer, so that reloading it sends nothing again.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from reminders.daemon.desk import Desk
from reminders.daemon.keeper import Keeper
from reminders.fact_words import fact_words
from reminders.household import NotInUseError
from reminders.plan.model import Contact, Plan
from reminders.record.facts import Fact, Kind, Sign
from reminders.record.store import RecordError
from reminders.reporting import Reported, one_line, report_to, take_back
from reminders.saying.advice import first_words
from reminders.saying.phrases import NothingSaidError, NotUnderstoodError, Said, Verb, said
from reminders.saying.which import AskBackError
from reminders.times import Instant
from reminders.views.waiting import Wait, lumens_now
from reminders.web import page_forms
from reminders.web.page_cards import event_card
from reminders.web.page_forms import Fault, FormError, Told, first, merged
from reminders.web.page_frame import lines_of, moment_of, page, query, tel, without_commands
from reminders.web.page_say import days, fresh_key, other_page, say_page, times
from reminders.web.page_stops import bars, call_first, is_for_clinicians
from reminders.web.page_supplies import came_after, supplies_page
from reminders.words import CATALOGUE, call_words, sign_words

_ = CATALOGUE.gettext

KEPT = 200
"""So many answers are kept as they were given; of older ones the record's words remain."""


@dataclass(frozen=True, slots=True)
class _Answer:
    """What was answered, in words; the household and the calendars that came of a report are large, and not kept."""

    recorded: tuple[str, ...]
    answer: tuple[str, ...]
    calendars: int
    troubles: tuple[str, ...]


class Reports:
    """Takes reports for a desk, and shows what came of them."""

    def __init__(self, desk: Desk, unsaid: Callable[[str], Response]) -> None:
        """Begin with no answers; ``unsaid`` makes the page for a form that says nothing yet, from who reports it."""
        self._desk = desk
        self._unsaid = unsaid
        self._lock = asyncio.Lock()
        self._answers: OrderedDict[str, _Answer] = OrderedDict()

    async def report(self, request: Request, form: FormData) -> Response:
        """Take a form."""
        told = merged(form.multi_items())
        keeper = self._fresh()
        now = keeper.instant
        try:
            key = page_forms.report_key(told)
            if not first(told, "verb"):
                return self._unsaid(one_line(first(told, "by"))[: page_forms.WRITTEN["by"]])
            meant = page_forms.said_by_form(told, keeper.schedule.plan, now, keeper.schedule.start)
        except FormError as error:
            # A form with a number for each item is that of the supplies.
            again = supplies_page if "item" in told else say_page
            return again(self._desk, told, error.faults, status=400)
        return await self._record(meant, told, key, now)

    async def words(self, request: Request, form: FormData) -> Response:
        """Take what is said in free words."""
        told = merged(form.multi_items())
        keeper = self._fresh()
        plan, text = keeper.schedule.plan, first(told, "words")
        try:
            key = page_forms.report_key(told)
            if len(text) > page_forms.LONGEST["words"]:
                raise NotUnderstoodError(
                    _("Say it shorter: at most {most} letters.").format(most=page_forms.LONGEST["words"])
                )
            meant = said(text.split(), plan)
            if meant.verb is Verb.IN_USE:
                raise NotUnderstoodError(_("A plan is not put in use here: that is done at the computer itself."))
        except (NotUnderstoodError, FormError) as error:
            why = "" if isinstance(error, NothingSaidError) else without_commands(str(error))
            problem = _("Nothing was recorded. {problem} Choose below, or say it in other words.").format(
                problem=why or _("These words were not understood.")
            )
            faults = [Fault("", first_words(Sign.OTHER, plan)), Fault("words", problem)]
            return other_page(self._desk, text, faults, status=400)
        meant = replace(meant, by=one_line(first(told, "by"))[: page_forms.WRITTEN["by"]])
        return await self._record(meant, told, key, keeper.instant)

    async def _record(self, meant: Said, told: Told, key: str, now: Instant) -> Response:
        keeper = self._desk.keeper
        async with self._lock:
            try:
                # Elsewhere than in the event loop: the disk may be slow, and the page must answer.
                found = await asyncio.to_thread(report_to, keeper.household, meant, key, now)
            except AskBackError as question:
                return self._question(meant, told, question, now)
            except (RecordError, NotInUseError) as error:
                return self._not_recorded(error)
            self._took(found)
        known = any(fact.report == key for fact in found.household.record.facts)
        if not known:
            return page(self._desk, "settled.html")
        if found.facts:
            self._keep(key, found)
        address = query("answer", report=key, twice="" if found.facts else "yes")
        return RedirectResponse(address, 303)

    async def undo(self, request: Request, form: FormData) -> Response:
        """Take back one report, the one that the form names."""
        told = merged(form.multi_items())
        keeper = self._fresh()
        key, by, now = first(told, "report"), one_line(first(told, "by")), keeper.instant
        async with self._lock:
            record = keeper.household.record
            facts = [fact for fact in record.facts if fact.report == key and _can_go(fact)]
            if not facts:
                return page(self._desk, "gone.html", status=404)
            standing = [fact for fact in facts if fact.key not in record.withdrawn]
            if is_for_clinicians(standing) and first(told, "slip") != page_forms.YES:
                return self._was_it_a_slip(standing, key, by)
            try:
                found = await asyncio.to_thread(take_back, keeper.household, key, by[: page_forms.WRITTEN["by"]], now)
            except (RecordError, NotInUseError) as error:
                return self._not_recorded(error)
            self._took(found)
        if found.facts:
            self._keep(f"{key}-withdrawn", found)
        return RedirectResponse(query("answer", report=f"{key}-withdrawn"), 303)

    def _was_it_a_slip(self, facts: Sequence[Fact], key: str, by: str) -> Response:
        """Ask before a sign is taken back that closes a lumen, or the line, until a clinician releases it."""
        schedule = self._desk.keeper.schedule
        signs = dict.fromkeys(fact.note or sign_words(fact.sign) for fact in facts if fact.sign is not None)
        return page(
            self._desk,
            "slip.html",
            status=409,
            report=key,
            by=by,
            recorded=[fact_words(fact, schedule) for fact in facts],
            problem=_("If it was so ({signs}), only a clinician can release it: call {now}.").format(
                signs=_(" and ").join(signs), now=call_words(schedule.plan.contacts["now"])
            ),
        )

    def answer(self, desk: Desk, request: Request) -> Response:
        """Show what came of a report; it may be asked for again, and after a restart."""
        keeper = desk.keeper
        record, schedule = keeper.household.record, keeper.schedule
        key = request.query_params.get("report", "")
        facts = [fact for fact in record.facts if fact.report == key]
        if not facts:
            return page(self._desk, "gone.html", status=404)
        taking_back = all(fact.kind is Kind.WITHDRAWN for fact in facts)
        kept = self._answers.get(key)
        words = list(kept.recorded) if kept else [fact_words(fact, schedule) for fact in _meant_by(facts, record.facts)]
        standing = [fact for fact in facts if _can_go(fact) and fact.key not in record.withdrawn]
        return page(
            self._desk,
            "answer.html",
            taking_back=taking_back,
            twice=bool(request.query_params.get("twice")),
            at=moment_of(self._desk, facts[0].entered),
            recorded=words,
            answer=lines_of(kept.answer) if kept else _first_of(standing, schedule.plan),
            call=_call(standing, schedule.plan),
            known=kept is not None,
            calendars=kept.calendars if kept else 0,
            troubles=list(kept.troubles) if kept else [],
            undo=key if standing else "",
            withdrawn=not standing and not taking_back,
            cards=self._flushes(facts) if standing else [],
            came=came_after(standing, schedule, record),
            times=times(past=False),
            times_past=times(past=True),
            days=days(schedule.plan, keeper.instant),
        )

    def _flushes(self, facts: Sequence[Fact]) -> list[tuple[str, object]]:
        """Return the cards of flushes that a report leaves outstanding, each with a new key of its form."""
        schedule, now = self._desk.keeper.schedule, self._desk.keeper.instant
        barred = bars(schedule, self._desk.keeper.household.record, now)
        orders = schedule.plan.orders
        lumens = {fact.lumen or (orders[fact.order].lumen if fact.order in orders else "") for fact in facts}
        return [
            (fresh_key(), event_card(waits, schedule, now, barred.get(lumen.name)))
            for lumen in lumens_now(schedule, now)
            if lumen.name in lumens
            for waits in lumen.waits
            if waits.wait is Wait.FLUSH
        ]

    def _fresh(self) -> Keeper:
        """Return the keeper with what was recorded elsewhere a moment ago, so that an answer tells only what its report did."""
        if self._desk.keeper.refresh():
            self._desk.changed()
        return self._desk.keeper

    def _took(self, found: Reported) -> None:
        if found.facts:
            self._desk.keeper.took(found.household)
            self._desk.changed()

    def _keep(self, key: str, found: Reported) -> None:
        self._answers[key] = _Answer(found.recorded, found.answer, len(found.calendars), found.troubles)
        while len(self._answers) > KEPT:
            self._answers.popitem(last=False)

    def _question(self, meant: Said, told: Told, question: AskBackError, now: Instant) -> Response:
        clock = self._desk.keeper.schedule.plan.clock
        held = page_forms.pinned(meant, clock, now)
        offered = [(choice.words, page_forms.do_of(choice.changes)) for choice in question.choices if choice.changes]
        asks_last_flush = any("last_flush" in choice.changes for choice in question.choices)
        if asks_last_flush:
            held = replace(held, last_flush="")
        other = [choice.words for choice in question.choices if not choice.changes and not choice.settles]
        # Only a question about what was reported before is answered by taking that back.
        doubted = any(choice.settles or "undo" in choice.words for choice in question.choices)
        return page(
            self._desk,
            "question.html",
            status=409,
            problem=without_commands(question.problem),
            key=first(told, "key") or fresh_key(),
            hidden=page_forms.pairs_of(held),
            offered=offered,
            asks_last_flush=asks_last_flush,
            days=days(self._desk.keeper.schedule.plan, now),
            settles=[choice.words for choice in question.choices if choice.settles],
            other=[] if asks_last_flush else lines_of(other),
            again="supplies" if meant.items else query("say", **page_forms.fields_of(meant)),
            last=last_report(self._desk) if doubted else None,
        )

    def _not_recorded(self, error: Exception) -> Response:
        status = 409 if isinstance(error, NotInUseError) else 503
        return page(self._desk, "not_recorded.html", status=status, problem=str(error))


def _first_of(facts: Sequence[Fact], plan: Plan) -> list[str]:
    """Return what comes first after each sign of a report."""
    return list(dict.fromkeys(first_words(fact.sign, plan, fact.note) for fact in facts if fact.sign is not None))


def _call(facts: Sequence[Fact], plan: Plan) -> tuple[str, tuple[Contact, str]] | None:
    """Return what an answer begins with where something is wrong, and whom to call, with the address that calls."""
    found = call_first(facts, plan)
    return None if found is None else (found[0], (found[1], tel(found[1].phone)))


def last_report(desk: Desk) -> tuple[str, list[str]] | None:
    """Return the last report that can be taken back, by its name and in words; None if there is none."""
    record, schedule = desk.keeper.household.record, desk.keeper.schedule
    last = record.last_report
    if last is None:
        return None
    facts = [fact for fact in record.facts if fact.report == last and fact.key not in record.withdrawn]
    return last, [fact_words(fact, schedule) for fact in facts if _can_go(fact)]


def _can_go(fact: Fact) -> bool:
    """Say whether a fact is one that a person can take back."""
    return fact.kind not in (Kind.WITHDRAWN, Kind.PUBLISHED, Kind.IN_USE)


def _meant_by(facts: Sequence[Fact], record: Sequence[Fact]) -> list[Fact]:
    """Return the facts of a report; of one that takes back, what it took back."""
    known = {fact.key: fact for fact in record}
    return [known.get(fact.withdraws, fact) for fact in facts]
