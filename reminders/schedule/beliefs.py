"""What was known of a lumen's use, and since when (R14).

Flushes are planned anew whenever something becomes known. So that what was planned before stays what it was, all that a
fact has moved, called off or brought about stands here once for each time it was believed to be something else, with
the moment since when that was believed, and until when. What happens is known from the moment at which it happens.
"""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from reminders.schedule.limits import Rule
from reminders.schedule.model import DROPPED, ENDLESS, NEVER, Dose, DoseState, Spans, Touch
from reminders.times import DAY, Instant, merged

SHORT = 2 * DAY
"""Stretches up to so long are looked up by when they begin; there are few longer ones."""


@dataclass(frozen=True, slots=True)
class Coming:
    """A touch, other than an idle flush, that was believed to come at ``at``; ``flushes``: it flushes the lumen.

    ``about`` names what it is, so that it can be told where it has moved to. ``recorded``: its flush is recorded.
    """

    at: Instant
    flushes: bool
    about: tuple[str, ...] = ()
    recorded: bool = False
    since: Instant = NEVER
    until: Instant = ENDLESS


@dataclass(frozen=True, slots=True)
class Taken:
    """A stretch in which it was believed that no idle flush may stand: something runs, or nothing may be done."""

    begins: Instant
    ends: Instant
    since: Instant = NEVER
    until: Instant = ENDLESS


@dataclass(frozen=True, slots=True)
class Recorded:
    """A flush that was recorded, of no touch but perhaps an idle flush. ``counts``: the idle limit starts from it."""

    at: Instant
    key: str
    counts: bool = True


@dataclass(frozen=True, slots=True)
class Limits:
    """A stretch in which one limit holds, known since it began.

    ``placing`` is the rule by which flushes are placed, ``limit`` the limit itself, without the planning margin.
    ``begins_with`` is a flush that is stated for its beginning; ``afresh``: what was flushed before does not count,
    because the line is another one.
    """

    begins: Instant
    ends: Instant
    placing: Rule
    limit: Rule
    begins_with: Instant | None = None
    afresh: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenUse:
    """How one lumen is used over the horizon; ``coming`` in order of time.

    ``recorded`` are flushes besides. ``skipped``: idle flushes that are not to be done, each by an instant that is nearest
    to it. ``limits`` in order. ``amounts``: what one idle flush adds to each daily total that the plan limits.
    """

    coming: Sequence[Coming]
    taken: Sequence[Taken]
    recorded: Sequence[Recorded] = ()
    skipped: Sequence[Instant] = ()
    limits: Sequence[Limits] = ()
    amounts: tuple[Fraction, ...] = ()
    _at: list[Instant] = field(default_factory=list, init=False, compare=False)
    _short: list[Taken] = field(default_factory=list, init=False, compare=False)
    _long: list[Taken] = field(default_factory=list, init=False, compare=False)

    def __post_init__(self) -> None:
        """Keep what is looked up often in the order in which it is looked for."""
        self._at.extend(touch.at for touch in self.coming)
        for span in sorted(self.taken, key=lambda span: span.begins):
            (self._short if span.ends - span.begins <= SHORT else self._long).append(span)

    def last_flush(self, at: Instant, known: Instant | None = None) -> Instant:
        """Return the last touch that flushes the lumen by an instant, as it was believed then or at ``known``; NEVER for none."""
        when = at if known is None else known
        for index in range(bisect_right(self._at, at) - 1, -1, -1):
            touch = self.coming[index]
            if touch.flushes and touch.since <= when < touch.until:
                return touch.at
        return NEVER

    def after(self, at: Instant, known: Instant, until: Instant = ENDLESS) -> Iterator[Coming]:
        """Yield the touches after an instant up to another one, in order, as they were believed at ``known``."""
        for index in range(bisect_right(self._at, at), bisect_right(self._at, until)):
            touch = self.coming[index]
            if touch.since <= known < touch.until:
                yield touch

    def touched(self, at: Instant, known: Instant) -> bool:
        """Say whether a touch was believed at ``known`` to come at an instant."""
        return next((touch.at for touch in self.after(Instant(at - 1), known)), ENDLESS) == at

    def taken_at(self, known: Instant, begins: Instant = NEVER, ends: Instant = ENDLESS) -> Spans:
        """Return the stretches in which no flush may stand, merged, as they were believed at ``known``.

        They are all there from ``begins`` up to ``ends``; before and after that some may be missing.
        """
        spans = self._near(begins, ends)
        return tuple(merged([(span.begins, span.ends) for span in spans if span.since <= known < span.until]))

    def busy(self, at: Instant, known: Instant) -> bool:
        """Say whether it was believed at ``known`` that no flush may stand at an instant."""
        return any(span.begins <= at < span.ends and span.since <= known < span.until for span in self._near(at, at))

    def _near(self, begins: Instant, ends: Instant) -> list[Taken]:
        """Return the stretches of which some part may lie between two instants."""
        first = bisect_left(self._short, begins - SHORT, key=lambda span: span.begins)
        last = bisect_right(self._short, ends, key=lambda span: span.begins)
        return [*self._long, *self._short[first:last]]

    def limits_at(self, known: Instant) -> list[Limits]:
        """Return the stretches of limits as they were believed at an instant: the last one goes on."""
        return [stretch for stretch in self.limits if stretch.begins <= known]


@dataclass(frozen=True, slots=True)
class Version:
    """What a dose was believed to be: in which lumen, from when to when; since when, and until when."""

    lumen: str
    start: Instant
    end: Instant
    since: Instant
    until: Instant


def versions(dose: Dose, ordered: str) -> list[Version]:
    """Return what was believed of a dose that was ordered for a lumen, in order of time.

    The last of them stands, unless the dose does not take place here.
    """
    found: list[Version] = []

    def believed(lumen: str, start: Instant, end: Instant | None, until: Instant) -> None:
        since = found[-1].until if found else (start if dose.extra else NEVER)
        if until > since:
            found.append(Version(lumen, start, ENDLESS if end is None else end, since, until))

    for (start, known), (end, _) in zip(dose.put_off[::2], dose.put_off[1::2], strict=True):
        believed(ordered, start, end, known)
    told = [at for at in (dose.started, dose.finished) if at is not None]
    if told and not dose.extra:
        ends = None if dose.due_end is None else Instant(dose.due + dose.due_end - dose.start)
        believed(ordered, dose.due, ends, told[0])
    if dose.state is DoseState.HELD and not told:
        believed(ordered, dose.due, dose.due_end, ENDLESS)  # until it was held
    if dose.state in DROPPED or dose.state is DoseState.ELSEWHERE:
        return found
    if dose.started is not None and dose.finished is not None:
        believed(dose.lumen, dose.start, dose.due_end, dose.finished)
    asked = [ask.since or dose.start for ask in dose.asks]
    until = ENDLESS if told or not asked else min(dose.start, *asked)
    believed(dose.lumen, dose.start, dose.end, until)
    return found


def instants(
    found: Sequence[Version], lumen: str, edge: Callable[[Version], Instant]
) -> list[tuple[Instant, Instant, Instant]]:
    """Return when a dose was believed to start (or to end) in a lumen, each time with since when and until when."""
    merged_: list[tuple[Instant, Instant, Instant]] = []
    for version in found:
        if version.lumen != lumen:
            continue
        at = edge(version)
        if merged_ and merged_[-1][0] == at and merged_[-1][2] == version.since:
            merged_[-1] = (at, merged_[-1][1], version.until)
        else:
            merged_.append((at, version.since, version.until))
    return merged_


def told_spans(begins: Instant, ends: Instant) -> list[Taken]:
    """Return a stretch in which nothing may be done, as it was believed: without an end until its end was told."""
    if ends == ENDLESS:
        return [Taken(begins, ENDLESS, begins)]
    return [Taken(begins, ENDLESS, begins, ends), Taken(begins, ends, ends)]


def about(touch: Touch) -> list[tuple[str, ...]]:
    """Name what a touch is, by each of its doses."""
    starts = [("start", dose.order, dose.key) for dose in touch.starts]
    ends = [("end", dose.order, dose.key) for dose in touch.ends]
    return [*starts, *ends] or [("bag", touch.uid)]


@dataclass(slots=True)
class News:
    """What became known at one moment: of which lumens, by their index, and which touches and stretches are no longer
    believed in, or are from now on. ``edges``: where stretches in which no flush may stand begin or end otherwise.
    ``limits``: lumens of which a new limit holds."""

    lumens: set[int] = field(default_factory=set)
    gone: list[tuple[int, Coming]] = field(default_factory=list)
    come: list[tuple[int, Coming]] = field(default_factory=list)
    edges: Counter[tuple[int, Instant]] = field(default_factory=Counter)
    limits: set[int] = field(default_factory=set)


def news(uses: Iterable[LumenUse]) -> dict[Instant, News]:
    """Return each moment at which something became known, with what it was."""
    found: dict[Instant, News] = defaultdict(News)
    for index, use in enumerate(uses):
        for touch in use.coming:
            if touch.since != NEVER:
                found[touch.since].come.append((index, touch))
                found[touch.since].lumens.add(index)
            if touch.until != ENDLESS:
                found[touch.until].gone.append((index, touch))
                found[touch.until].lumens.add(index)
        for span in use.taken:
            for at, more in ((span.since, 1), (span.until, -1)):
                if NEVER < at < ENDLESS:
                    found[at].lumens.add(index)
                    # What ends as it did before, or begins as it did, adds up to nothing: it is no news.
                    found[at].edges[index, span.begins] += more
                    found[at].edges[index, span.ends] += more
        for flush in use.recorded:
            found[flush.at].lumens.add(index)
        for stretch in use.limits:
            found[stretch.begins].lumens.add(index)
            found[stretch.begins].limits.add(index)
    return dict(found)
