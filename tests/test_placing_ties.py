"""Idle flushes stand at the true optimum of R11, ties included: small plans, compared with a search through everything.

Every plan is invented, and so small and so hurried that every minute can be tried: limits of half an hour, horizons of
one or two. What is compared is the whole key of the placement: figures, preferred times, sums of the instants.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest
from brute_force import Lumen, Placement, Problem, best, best_of_all, faults, key, placement_of, problem_of
from small_plans import schedule

START = 9 * 60
"""Every plan starts at 09:00 on the first of June."""

# The judge itself


def tiny_problem(seed: int) -> Problem:
    """Make up a problem so small that every placement can be written down."""
    chance = random.Random(seed)
    count = chance.choice((1, 2, 2, 3))
    end = (11, 7, 4)[count - 1] - chance.randint(0, 2)
    lumens = tuple(_tiny_lumen(chance, name, end) for name in "abc"[:count])
    own = frozenset[int]().union(*(lumen.touched for lumen in lumens))
    return Problem(
        begin=0,
        end=end,
        lumens=lumens,
        joinable=own | _some(chance, end, 0.1),
        quiet=_some(chance, end, 0.3),
        preferred=_some(chance, end, 0.3) if chance.random() < 0.5 else None,
        least=chance.choice((0, 0, 1, 2, 3)),
        worth=chance.choice((0, 1, 2, 1000)),
    )


def _some(chance: random.Random, end: int, share: float) -> frozenset[int]:
    return frozenset(minute for minute in range(end + 1) if chance.random() < share)


def _tiny_lumen(chance: random.Random, name: str, end: int) -> Lumen:
    reach, last = chance.randint(2, 5), -chance.randint(0, 4)
    if chance.random() < 0.4:
        return Lumen(name=name, reach=reach, last=last)
    begin = chance.randint(-2, end + 2)
    finish = begin + chance.randint(0, 3)
    flushed = {begin, finish} if chance.random() < 0.8 else {begin}
    return Lumen(
        name=name,
        reach=reach,
        last=last,
        touched=frozenset(minute for minute in (begin, finish) if minute >= 0),
        flushed=frozenset(minute for minute in flushed if minute >= 0),
        busy=((begin, finish),),
    )


@pytest.mark.parametrize("seed", range(120))
def test_the_judge_agrees_with_looking_at_every_placement(seed: int) -> None:
    """Going through time finds the same key, and as many placements that have it, as writing every placement down."""
    problem = tiny_problem(seed)
    found, wanted = best(problem), best_of_all(problem)
    assert found is not None
    assert wanted is not None
    assert (found.key, found.ways) == (wanted.key, wanted.ways)
    assert not faults(problem, found.placement)


ONE = Lumen(name="a", reach=5, last=0)


@pytest.mark.parametrize(
    ("placement", "fault"),
    [
        pytest.param(((5, 10),), False, id="at the last minute"),
        pytest.param(((6, 10),), True, id="one minute after it"),
        pytest.param(((5,),), True, id="none within reach of the end"),
        pytest.param(((0, 5, 10),), True, id="where it was flushed already"),
        pytest.param(((5, 10, 13),), True, id="beyond the end"),
    ],
)
def test_the_judge_counts_a_reach_to_its_last_minute(placement: Placement, fault: bool) -> None:
    """With a reach of 5 and a last flush at 0, 12 minutes take a flush by 5, by 10, and one from 7 on."""
    assert bool(faults(Problem(begin=0, end=12, lumens=(ONE,)), placement)) is fault


@pytest.mark.parametrize(("first", "fault"), [(0, False), (1, True)])
def test_the_judge_has_what_is_late_at_the_beginning_flushed_at_once(first: int, fault: bool) -> None:
    """A lumen that was flushed 9 minutes ago, with a reach of 5, is flushed in the first minute."""
    late = Problem(begin=0, end=4, lumens=(Lumen(name="a", reach=5, last=-9),))
    assert bool(faults(late, ((first,),))) is fault


@pytest.mark.parametrize("minute", [1, 2, 3, 4])
def test_the_judge_keeps_idle_flushes_out_of_what_runs_and_of_what_is_flushed(minute: int) -> None:
    """Something runs from 2 up to 4, and is flushed at both: only 1 is free."""
    used = Lumen(name="a", reach=9, last=0, touched=frozenset({2, 4}), flushed=frozenset({2, 4}), busy=((2, 4),))
    assert bool(faults(Problem(begin=0, end=6, lumens=(used,)), ((minute,),))) is (minute != 1)


def test_the_judge_counts_what_the_key_says() -> None:
    """Two lumens at 10 and 20, one at 12: worked out by hand.

    Sessions 10, 12 and 20; 20 joins another touch, so 2 count, 1 of them, 12, in quiet hours; 5 flushes; 10 is at a
    preferred time, 12 is not. 12 stands 8 before 20, which is less than 9. With a session worth 3 flushes, 3*2 + 5.
    Lumen a has 10 + 12 + 20 = 42 and lumen b 10 + 20 = 30, together 72.
    """
    lumens = (Lumen(name="a", reach=99, last=0), Lumen(name="b", reach=99, last=0))
    quiet, preferred = frozenset(range(11, 30)), frozenset({10})
    placement = ((10, 12, 20), (10, 20))
    for worth, figures in ((3, (1, 11, 2)), (0, (5, 1, 2))):
        problem = Problem(
            begin=4,
            end=40,
            lumens=lumens,
            joinable=frozenset({20}),
            quiet=quiet,
            preferred=preferred,
            least=9,
            worth=worth,
        )
        # 10 stands 2 before 12 in lumen a, and 12 stands 8 before 20; in lumen b 10 stands 10 before 20
        assert key(problem, placement) == (2, *figures, 1, -72, -42, -30)


# Small plans


@dataclass(frozen=True)
class Size:
    """How large plans of one kind are: lumens, margin, the reach of each lumen, and the horizon in reaches."""

    lumens: int
    margin: tuple[int, int]
    reach: tuple[int, int]
    reaches: tuple[float, float]


SIZES = {
    "one lumen": (Size(1, (0, 3), (30, 40), (2, 4)), 25),
    "two lumens": (Size(2, (0, 24), (9, 20), (2, 4)), 100),
    "two lumens without a margin": (Size(2, (0, 0), (30, 33), (1.5, 2.2)), 20),
    "three lumens": (Size(3, (0, 27), (5, 10), (2, 4)), 120),
}
"""The kinds of plans, and how many of each."""

CASES = [(kind, seed) for kind, (_, count) in SIZES.items() for seed in range(count)]


def clock(minute: int) -> str:
    """Write a minute of the day as a clock time."""
    return f"{minute // 60:02}:{minute % 60:02}"


def moment(minute: int) -> str:
    """Write a minute of the first day as a moment."""
    return f"2026-06-01 {clock(minute)}"


def listed(texts: Sequence[str]) -> str:
    """Write a list of texts as a plan does."""
    return "[" + ", ".join(f'"{text}"' for text in texts) + "]"


@dataclass
class Maker:
    """Makes one plan up, as edits to the base plan."""

    chance: random.Random
    size: Size
    lines: list[str] = field(default_factory=list)

    def one(self, *options: object) -> object:
        """Choose one of some values."""
        return self.chance.choice(options)

    def within(self, bounds: tuple[int, int]) -> int:
        """Choose a whole number."""
        return self.chance.randint(*bounds)

    def maybe(self, share: float) -> bool:
        """Say yes in a share of all cases."""
        return self.chance.random() < share

    def edits(self) -> str:
        """Return the plan."""
        reaches = [self.within(self.size.reach) for _ in range(self.size.lumens)]
        self.shortest = min(reaches)
        self.margin = max(self.within(self.size.margin), 30 - min(reaches))  # no plan may state a limit below 30 min
        self.length = round(max(reaches) * self.chance.uniform(*self.size.reaches))
        self.lines += ["[plan]", f'start = "{moment(START)}"', f'end = "{moment(START + self.length)}"']
        self.household()
        self.protocol()
        for name, reach in zip("abc", reaches, strict=False):
            self.lumen(name, reach)
        return "\n".join(self.lines)

    def household(self) -> None:
        """State quiet hours and preferred times, or none."""
        self.lines.append("[household]")
        nights = []
        for _ in range(self.chance.choice((0, 1, 1, 2))):
            begin = START + self.within((-5, self.length))
            nights.append(f"{clock(begin)}-{clock(begin + self.within((3, 15)))}")
        self.lines.append(f"quiet_hours = {listed(nights)}")
        if self.maybe(0.5):
            times = {clock(START + self.within((0, self.length))) for _ in range(self.within((1, 4)))}
            self.lines.append(f"preferred_flush_times = {listed(sorted(times))}")

    def protocol(self) -> None:
        """State what bounds the placement."""
        self.lines += [
            "[protocol]",
            f'planning_margin = "{self.margin} min"',
            f'least_time_to_next_touch = "{self.one(0, 0, self.within((0, self.shortest // 2)), self.shortest // 2)} min"',
            f"saved_session_worth = {self.one(0, 1, 2, 1000, 1000)}",
            f'joining_time = "{self.one(0, 0, 5)} min"',
        ]

    def lumen(self, name: str, reach: int) -> None:
        """Add a lumen, and perhaps what runs in it."""
        since = self.within((0, reach + 2)) if self.maybe(0.9) else reach + self.margin + 5
        running = self.maybe(0.1)
        self.lines += [
            f"[lumen.{name}]",
            f'idle_limit = "{reach + self.margin} min"',
            f'last_flushed = "{moment(START - (3 if running else since))}"',
        ]
        if running:
            self.order(
                name, [], 'clock_times = ["08:57"]', f'first_dose = "{moment(START - 3)}"', "until_removal = true"
            )
            self.lines.append(f'duration = "{self.within((3, 12))} min"')
        elif self.maybe(0.12):
            begin = START + self.within((0, self.length - 1))
            self.order(name, [], "continuous = true", f'first_dose = "{moment(begin)}"', "without least_spacing")
            until = START + self.length if self.maybe(0.5) else begin + self.within((2, self.length))
            self.lines += [
                f'stops = "{moment(until)}"',
                'volume = "100 mL"',
                f'bag_every = "{self.within((4, 12))} min"',
                f"bag_flush = {listed(['saline'] if self.maybe(0.5) else [])}",
            ]
        elif self.maybe(0.6):
            self.doses(name)

    def doses(self, name: str) -> None:
        """Add an order with one dose or more, which do not overlap."""
        pushed = self.maybe(0.15)
        if pushed:
            duration = self.within((1, min(self.shortest, 15)))  # the handling time
        else:
            duration = self.within((1, 12)) if self.maybe(0.9) else self.within((15, 35))
        begins = [START + self.within((0, self.length - 1))]
        while self.maybe(0.5):
            begins.append(begins[-1] + duration + self.within((0, 12)))
        begins = [begin for begin in begins if begin < START + self.length]
        self.order(name, [moment(begin) for begin in begins])
        self.lines.append(f'duration = "{duration} min"')
        if self.maybe(0.2):
            self.lines.append("after = []")
        if pushed:
            self.lines.append('given_as = "push"')

    def order(self, lumen: str, moments: list[str], *timing: str) -> None:
        """Begin an order."""
        stated = [f"moments = {listed(moments)}"] if moments else list(timing)
        self.lines += [f"[order.o{lumen}]", f'lumen = "{lumen}"', *stated]


def small_plan(kind: str, seed: int) -> str:
    """Return the edits of one small plan."""
    return Maker(random.Random(f"{kind} {seed}"), SIZES[kind][0]).edits()


@pytest.mark.parametrize(("kind", "seed"), CASES, ids=lambda part: str(part).replace(" ", "-"))
def test_idle_flushes_of_a_small_plan_stand_at_the_optimum(kind: str, seed: int) -> None:
    """The placement of a small plan breaks no limit, and its whole key is that of the best placement there is."""
    edits = small_plan(kind, seed)
    compiled = schedule(edits)
    problem, placement = problem_of(compiled), placement_of(compiled)
    wanted = best(problem)
    assert wanted is not None, edits
    assert not faults(problem, placement), edits
    told = f"{edits}\nfound {shown(placement)}\nbest {shown(wanted.placement)}, one of {wanted.ways}"
    assert key(problem, placement) == wanted.key, told


def shown(placement: Placement) -> list[list[str]]:
    """Show a placement by the clock of Chicago in summer."""
    return [[clock((at - 5 * 60) % 1440) for at in flushes] for flushes in placement]
