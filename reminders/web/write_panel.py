"""What a draft comes to, beside the form: what is missing or found, the drawn day and week, and what is read back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from markupsafe import Markup

from reminders.plan.model import Plan
from reminders.plan.read_back import ReadLine
from reminders.read_back_words import heading_of, in_groups, read_back_words
from reminders.schedule.model import Schedule
from reminders.times import DAY, Instant
from reminders.views.timeline import day_timeline, week_timeline
from reminders.web.page_forms import day_asked
from reminders.web.write_desk import WriteDesk
from reminders.web.write_fields import FieldView, SectionView, wanted
from reminders.web.write_findings import Findings, Said
from reminders.words import day_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """The drawings: of one day and of the week that begins with it."""

    day: Markup
    week: Markup
    shown: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """What stands beside the form. ``wanting``: unanswered questions by their group; ``said``: everything else that is found.

    ``to_mend`` counts both as far as they keep the plan from being finished, ``to_see`` what else should be looked at.
    """

    wanting: Sequence[tuple[str, Sequence[FieldView]]]
    said: Sequence[Said]
    to_mend: int
    to_see: int
    drawn: Drawn | None
    read: Sequence[tuple[str, Sequence[ReadLine]]]
    standing: str

    @property
    def ready(self) -> bool:
        """Say whether the plan can be finished."""
        return not self.to_mend


def panel(desk: WriteDesk, views: Sequence[SectionView], found: Findings, show: str) -> Panel:
    """Return what a draft comes to; ``show`` is the day to be drawn, as a form sends it."""
    look = desk.look()
    missing = wanted(views)
    refused = [
        said
        for view in views
        for block in view.blocks
        for one in (*block.first, *block.more, *([block.named] if block.named else []))
        if one.mark in desk.beside
        for said in one.said[:1]
    ]
    said = [*refused, *(one for one in found if not one.missing or _stands_alone(one, views))]
    counted = sum(len(fields) for _words, fields in missing) + sum(one.stops for one in said)
    return Panel(
        wanting=missing,
        said=said,
        to_mend=counted if look.plan is None or counted else 0,
        to_see=sum(one.weight == "warning" for one in said),
        drawn=None if look.schedule is None else _drawn(look.schedule, show),
        read=[] if look.plan is None else read_groups(look.plan),
        standing="" if look.plan is None else read_back_words(look.plan),
    )


def read_groups(plan: Plan) -> list[tuple[str, list[ReadLine]]]:
    """Return what is read back, in groups of what belongs to one thing, each under its heading."""
    return [(heading_of(group[0]), group) for group in in_groups(plan)]


def _stands_alone(said: Said, views: Sequence[SectionView]) -> bool:
    """Say whether what is missing is not told by fields that want an answer: no lumen at all, or nobody to call."""
    fields = {one.mark for view in views for block in view.blocks for one in (*block.first, *block.more)}
    groups = {block.mark for view in views for block in view.blocks}
    return said.mark not in fields and said.mark not in groups


def _drawn(schedule: Schedule, show: str) -> Drawn:
    """Draw a schedule as it is planned, whatever the time is: nothing in a plan that is being written is late."""
    before = Instant(schedule.start - DAY)
    clock = schedule.plan.clock
    first, last = clock.local(schedule.start).date(), clock.local(schedule.end).date()
    whole = min(first + timedelta(days=1), last)  # the first day is most often half over when the plan begins
    shown = day_asked(show, whole) or whole
    return Drawn(
        day=Markup(day_timeline(schedule, shown, before)),
        week=Markup(week_timeline(schedule, shown, before, link=None)),
        shown=shown.isoformat(),
        words=day_words(shown),
    )
