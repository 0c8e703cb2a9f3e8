"""What the best places for idle flushes cost, as ratios to icalendar's own work on the same events in the same run.

``python tests/benchmarks/placing.py [ROUNDS]`` prints these tables: the optimum with its reasons, for the three-lumen
sample and for three idle lumens of 8, 12 and 24 h, over 42 days; the curve from 7 to 365 days; for each sample
plan, how many events one report moves when each touch is reported some minutes late; what a course costs of which each touch
was reported; and, for each sample, the plain schedule beside the best one.
"""

import statistics
import sys
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from run import SAMPLE, build_with_icalendar, entries_of, facts_of, plan_of_sample, seconds

from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule
from reminders.schedule.plain import place_plainly
from reminders.times import DAY, Instant, Moment
from reminders.views.calendar import calendar_file

LIMITS = ("8 h", "12 h", "24 h")


def idle_plan(limits: Sequence[str] = LIMITS) -> Plan:
    """Return the sample without its orders, its lumens idle with these limits."""
    text = SAMPLE.read_text()
    head, orders = text.index("[order."), text.index("[call.")
    text = text[:head] + text[orders:]
    for name, limit in zip(("red", "purple", "grey"), limits, strict=True):
        text = text.replace(f"[lumen.{name}]\n", f'[lumen.{name}]\nidle_limit = "{limit}"\n')
    found = read_plan("three idle lumens", text.encode())
    assert found.plan is not None, [finding.message for finding in found.findings]
    return found.plan


def lasting(plan: Plan, days: int) -> Plan:
    """Return a plan made to last so many days, its orders with it."""
    end = Instant(plan.course.start.instant + days * DAY)
    wall = plan.clock.local(end).replace(tzinfo=None)
    orders = {
        name: replace(order, last_day=None, until_removal=True, review_on=None) for name, order in plan.orders.items()
    }
    return replace(plan, course=replace(plan.course, end=Moment(end, wall)), orders=orders)


def best(plan: Plan) -> Schedule:
    """Compile a plan."""
    return compile_schedule(plan, EMPTY, plan.course.start.instant)


def bare(plan: Plan) -> Schedule:
    """Compile a plan without placing anything: what is left is the work of everything else."""
    return compile_schedule(
        plan, EMPTY, plan.course.start.instant, place=lambda uses, terms, entered, before: [[] for _ in uses]
    )


def paired(rounds: int, doing: Callable[[], object], base: Callable[[], object]) -> tuple[float, float]:
    """Return the median seconds of a call, and of its ratio to a base, taken in turn."""
    doing(), base()
    times = [(seconds(doing), seconds(base)) for _ in range(rounds)]
    return statistics.median(mine for mine, _ in times), statistics.median(mine / other for mine, other in times)


def cost(rounds: int) -> None:
    """Print what the optimum with its reasons costs: the whole compilation, and what it takes less without placing."""
    print("the optimum with its reasons, 42 days; ratios to icalendar building and serialising the result")
    print(f"{'':34}{'events':>7}{'compiled':>12}{'ratio':>8}{'of it placing':>15}{'ratio':>8}   aim 0.25")
    idle = idle_plan()
    unpreferred = replace(idle, household=replace(idle.household, preferred_flush_times=()))
    plans = (
        ("three-lumen sample", plan_of_sample()),
        ("idle: 8 h, 12 h, 24 h", unpreferred),
        ("  the same with 2 preferred times", idle),
    )
    for name, plan in plans:
        entries = entries_of(calendar_file(best(plan), largest=10**9).content)
        base = partial(build_with_icalendar, entries)
        whole, ratio = paired(rounds, partial(best, plan), base)
        rest, rest_ratio = paired(rounds, partial(bare, plan), base)
        print(
            f"{name:34}{len(entries):>7}{whole * 1000:>9.1f} ms{ratio:>8.3f}{(whole - rest) * 1000:>12.1f} ms"
            f"{ratio - rest_ratio:>8.3f}"
        )


def curve(rounds: int) -> None:
    """Print how time and memory grow with the days: a day's share of both stays the same."""
    print("\nthe curve: compiled, and for each day; the most memory above what stood before")
    print(f"{'':34}{'days':>6}{'compiled':>12}{'a day':>12}{'memory':>10}{'a day':>10}")
    for name, plan in (("three-lumen sample", plan_of_sample()), ("idle: 8 h, 12 h, 24 h", idle_plan())):
        for days in (7, 42, 120, 365):
            longer = lasting(plan, days)
            best(longer)
            took = statistics.median(seconds(partial(best, longer)) for _ in range(rounds))
            tracemalloc.start()
            best(longer)
            memory = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            print(
                f"{name:34}{days:>6}{took * 1000:>9.1f} ms{took / days * 1000:>9.2f} ms{memory / 1e6:>7.1f} MB"
                f"{memory / days / 1e3:>7.0f} kB"
            )


def moved(plan: Plan, reports: int = 60) -> list[int]:
    """Return how many events each of so many reports in turn moves, adds or takes away, besides the one reported."""
    facts: list[Fact] = []
    counts = []
    before = best(plan)
    for number in range(reports):
        open_ = [touch for touch in before.touches if touch.outcome is None and touch.steps and not touch.asks]
        if not open_:
            break
        touch = open_[0]
        facts += facts_of(touch, number * 7 % 11)
        now = facts[-1].happened
        after = compile_schedule(plan, Record(tuple(facts)), now)
        own = {dose.key for dose in touch.starts}
        shown = [
            {
                each.uid: each.at
                for each in schedule.touches
                if each.at > touch.at and not any(dose.key in own for dose in each.ends)
            }
            for schedule in (before, after)
        ]
        counts.append(sum(shown[0].get(uid) != shown[1].get(uid) for uid in {*shown[0], *shown[1]} - {touch.uid}))
        before = after
    return counts


def churn() -> None:
    """Print how many events a report moves."""
    print("\nevents moved by one report, each touch reported 0 to 10 minutes late, without the one reported")
    print(f"{'':34}{'reports':>8}{'mean':>8}{'most':>6}{'none moved':>12}")
    for path in sorted(SAMPLE.parent.glob("*.toml")):
        plan = read_plan(path.name, path.read_bytes()).plan
        assert plan is not None
        counts = moved(plan)
        still = sum(count == 0 for count in counts)
        print(f"{path.stem:34}{len(counts):>8}{statistics.mean(counts):>8.2f}{max(counts):>6}{still:>12}")


def reported() -> None:
    """Print what a course costs of which each touch was reported, some minutes late: a fact's share stays the same."""
    print("\nplanned anew after each report: compiled with all facts of so many days")
    print(f"{'':34}{'days':>6}{'facts':>8}{'compiled':>12}{'a fact':>12}")
    for days in (42, 120, 365):
        plan = lasting(plan_of_sample(), days)
        facts = tuple(
            fact for number, touch in enumerate(best(plan).touches) for fact in facts_of(touch, number * 7 % 11)
        )
        now = Instant(plan.course.start.instant + days * DAY)
        took = seconds(partial(compile_schedule, plan, Record(facts), now))
        print(
            f"{'three-lumen sample':34}{days:>6}{len(facts):>8}{took * 1000:>9.0f} ms{took / len(facts) * 1000:>9.2f} ms"
        )


def against_plain() -> None:
    """Print, for each sample plan, the plain schedule beside the best one."""
    from reminders.schedule.figures import figures

    print("\neach sample: plain (each lumen when its limit has run out) beside best")
    print(f"{'':34}{'night sessions':>20}{'sessions a day':>20}{'idle flushes':>20}")
    for path in sorted(Path(SAMPLE.parent).glob("*.toml")):
        plan = read_plan(path.name, path.read_bytes()).plan
        assert plan is not None
        now = plan.course.start.instant
        plain = figures(compile_schedule(plan, EMPTY, now, place=place_plainly))
        found = figures(best(plan))
        days = (best(plan).end - plan.course.start.instant) / DAY
        print(
            f"{path.stem:34}{plain.night:>11} {found.night:>8}{plain.sessions / days:>11.1f} {found.sessions / days:>8.1f}"
            f"{plain.idle_flushes:>11} {found.idle_flushes:>8}"
        )


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    cost(rounds)
    curve(max(3, rounds // 2))
    churn()
    reported()
    against_plain()


if __name__ == "__main__":
    main()
