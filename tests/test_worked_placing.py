"""Where idle flushes go, worked out by hand: W11 and W12 to the minute, and more situations of the same kind (R11).

Clock times are Chicago's unless a test says otherwise; CDT is UTC-5, CST is UTC-6. What the small plan states and a
test does not: a limit of 12 h, no margin, no least time, a saved session worth 1000 flushes, no quiet hours. Each
comment shows the arithmetic. A *session* below is one of idle flushes only. Every plan is invented.
"""

from collections.abc import Iterator

import pytest
from brute_force import Placement, faults, key, placement_of, problem_of
from small_plans import idle, of_code, of_kind, schedule, shown, z

from reminders.schedule.model import Schedule, TouchKind, Why


def flushes(plan: Schedule, lumen: str) -> list[str]:
    """Return a lumen's idle flushes on the household's clock: ``06-01 21:00 CDT``."""
    return [shown(at, plan).removeprefix(f"{plan.plan.clock.local(at).year}-") for at in idle(plan, lumen)]


def sessions(plan: Schedule) -> list[str]:
    """Return the sessions that consist of idle flushes only, on the household's clock."""
    joined = {touch.at for touch in plan.touches if touch.kind is not TouchKind.IDLE_FLUSH}
    alone = {touch.at for touch in plan.touches} - joined
    return [shown(at, plan).removeprefix(f"{plan.plan.clock.local(at).year}-") for at in sorted(alone)]


def moved(placement: Placement) -> Iterator[Placement]:
    """Yield the placement with one flush, and with one whole session, moved by a minute either way."""
    for session in sorted({at for each in placement for at in each}):
        among = [lumen for lumen, each in enumerate(placement) if session in each]
        for movers in [among, *([lumen] for lumen in among)]:
            for by in (-1, 1):
                yield tuple(
                    tuple(sorted(at + by if at == session and lumen in movers else at for at in each))
                    for lumen, each in enumerate(placement)
                )


def left_out(placement: Placement) -> Iterator[Placement]:
    """Yield the placement without one of its flushes."""
    for lumen, each in enumerate(placement):
        for gone in each:
            yield (*placement[:lumen], tuple(at for at in each if at != gone), *placement[lumen + 1 :])


def assert_nothing_near_is_better(plan: Schedule) -> None:
    """Check that a minute either way, or a flush less, breaks the limit or makes the placement worse."""
    problem, placement = problem_of(plan), placement_of(plan)
    assert not faults(problem, placement)
    own = key(problem, placement)
    for other in (*moved(placement), *left_out(placement)):
        assert key(problem, other) > own or faults(problem, other), other


# W11

W11 = """
[plan]
start = "2026-06-01 09:00"
end = "2026-06-06 12:00"
[household]
quiet_hours = ["22:00-07:00"]
[lumen.a]
last_flushed = "2026-06-01 07:00"
[lumen.b]
last_flushed = "2026-06-01 09:00"
[order.dose]
lumen = "a"
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
until_removal = true
duration = "30 min"
"""


def test_w11_both_lumens_meet_at_21_00_and_the_other_joins_the_morning_dose() -> None:
    """Given a daily dose in A and nothing in B, then both are flushed at 21:00, and B at 09:00 with A's start.

    A is flushed at 09:30 and again at 09:00: its one flush between stands from 21:00 (09:00 - 12 h) to 21:30
    (09:30 + 12 h). B is flushed at 09:00, so by 21:00, so by 09:00, and so on: at these times it is as late as can be,
    21:00 is the evening session that A needs anyway, and 09:00 is A's start. A joins at 21:00.
    """
    plan = schedule(W11)
    evenings = [f"06-0{day} 21:00 CDT" for day in range(1, 6)]
    assert flushes(plan, "a") == evenings
    assert flushes(plan, "b") == sorted([*evenings, *(f"06-0{day} 09:00 CDT" for day in range(2, 7))])
    assert sessions(plan) == evenings  # one a day, none of them at night
    assert_nothing_near_is_better(plan)


# W12

W12 = (
    W11.replace('start = "2026-06-01 09:00"', 'takes_effect = "2026-10-30 09:00"\nstart = "2026-10-30 09:00"')
    .replace("2026-06-06 12:00", "2026-11-03 12:00")
    .replace("2026-06-01", "2026-10-30")
)


def test_w12_the_longer_night_takes_two_sessions_and_neither_wakes_anyone() -> None:
    """Given W11 across 2026-11-01, then 21:00 CDT and 08:00 CST take the place of the one session between two doses.

    A is flushed at 09:30 CDT (14:30Z) and then at 09:00 CST (15:00Z), 24 h 30 min later: two flushes. The first is by
    02:30Z, the second from 03:00Z (15:00Z - 12 h) on; 22:00 CDT to 07:00 CST is 03:00Z to 13:00Z. So the second stands
    at 13:00Z (07:00 CST) or later. B is flushed at 14:00Z, so by 02:00Z (21:00 CDT), so by 14:00Z (08:00 CST). Two
    sessions do for both: 02:00Z, and one from 13:00Z to 14:00Z. The latest is 14:00Z, 08:00 CST.

    From 14:00Z on B has 12 h, until 20:00 CST, but A's next evening flush stands from 21:00 CST (09:00 - 12 h) to 21:30
    CST. Another session for B would cost more than one more flush at a touch of A: 09:00 or, later, the finish at 09:30
    CST. From then on B keeps to 09:30, and both meet at 21:30.
    """
    plan = schedule(W12)
    assert flushes(plan, "a") == [
        "10-30 21:00 CDT",
        "10-31 21:00 CDT",
        "11-01 08:00 CST",
        "11-01 21:30 CST",
        "11-02 21:30 CST",
    ]
    assert flushes(plan, "b") == [
        "10-30 21:00 CDT",
        "10-31 09:00 CDT",
        "10-31 21:00 CDT",
        "11-01 08:00 CST",
        "11-01 09:30 CST",
        "11-01 21:30 CST",
        "11-02 09:30 CST",
        "11-02 21:30 CST",
        "11-03 09:30 CST",
    ]
    assert sessions(plan) == flushes(plan, "a")
    assert_nothing_near_is_better(plan)


def test_w12_says_by_when_each_flush_of_the_long_night_is_due() -> None:
    """Given W12, then A's two flushes name what they count from and their last minutes: 21:30 CDT and 08:00 CST."""
    reasons = [touch.reason for touch in of_kind(schedule(W12), TouchKind.IDLE_FLUSH, "a")[1:3]]
    assert [(reason.last_flush, reason.deadline) for reason in reasons] == [
        (z("2026-10-31 14:30"), z("2026-11-01 02:30")),
        (z("2026-11-01 02:00"), z("2026-11-01 14:00")),
    ]


@pytest.mark.parametrize(
    ("least", "second"),
    [
        ("60 min", "11-01 08:00 CST"),  # A's next touch is its start at 09:00, B's its flush at 09:30
        ("61 min", "11-01 07:59 CST"),
        ("90 min", "11-01 07:30 CST"),
        ("120 min", "11-01 07:00 CST"),
        ("121 min", "11-01 06:59 CST"),  # nothing is left between 07:00 and the least time: the night must do
    ],
)
def test_w12_the_least_time_to_the_next_dose_moves_the_morning_session(least: str, second: str) -> None:
    """Given W12 and a least time, then the second session is as late as that leaves it before A's start at 09:00 CST.

    A's second flush stands from 22:00 CDT (03:00Z) on, so where 07:00 CST is too late, every other minute is at night.
    """
    plan = schedule(W12 + f'[protocol]\nleast_time_to_next_touch = "{least}"')
    assert flushes(plan, "a")[1:3] == ["10-31 21:00 CDT", second]
    assert flushes(plan, "b")[2:5] == ["10-31 21:00 CDT", second, "11-01 09:30 CST"]
    assert_nothing_near_is_better(plan)


def test_w12_in_spring_the_shorter_night_lets_the_other_lumen_join_the_finish() -> None:
    """Given W11 across 2027-03-14, then B joins A's finish from the short day on, and both meet at 21:30.

    On 03-13 A is flushed at 09:30 CST (15:30Z), on 03-14 at 09:00 CDT (14:00Z): its flush between stands from 02:00Z
    (20:00 CST) to 03:30Z. B is flushed at 15:00Z, so by 03:00Z (21:00 CST): there they meet. 12 h later it is 15:00Z,
    10:00 CDT: both touches of A, 09:00 and 09:30 CDT, are within reach, and 09:30 is later. From there 12 h lead
    to 21:30 CDT, where A's one flush may stand too (from 21:00 to 21:30).
    """
    plan = schedule(
        W12.replace("2026-10-30", "2027-03-12").replace("2026-11-03", "2027-03-16"),
    )
    evenings = ["03-12 21:00 CST", "03-13 21:00 CST", "03-14 21:30 CDT", "03-15 21:30 CDT"]
    mornings = ["03-13 09:00 CST", "03-14 09:30 CDT", "03-15 09:30 CDT", "03-16 09:30 CDT"]
    assert flushes(plan, "a") == evenings
    assert flushes(plan, "b") == sorted([*evenings, *mornings])
    assert sessions(plan) == evenings
    assert_nothing_near_is_better(plan)


# Quiet hours


RED = """
[lumen.red]
idle_limit = "8 h"
last_flushed = "2026-06-01 08:00"
"""
BLUE = """
[lumen.blue]
last_flushed = "2026-06-01 08:00"
"""
FORCED = """
[plan]
start = "2026-06-01 08:00"
end = "2026-06-02 12:00"
[household]
quiet_hours = ["22:00-07:00"]
"""


@pytest.mark.parametrize(
    ("lumens", "red", "blue"),
    [
        pytest.param(RED + BLUE, ["16:00", "00:00", "08:00"], ["16:00", "00:00"], id="red-stands-first"),
        pytest.param(BLUE + RED, ["16:00", "20:00", "04:00"], ["20:00", "04:00"], id="blue-stands-first"),
    ],
)
def test_a_limit_shorter_than_the_night_forces_one_session_and_is_named(
    lumens: str, red: list[str], blue: list[str]
) -> None:
    """Given limits of 8 h and 12 h and a night of 9 h, then red wakes the household once, blue joins, red is named.

    Red: 28 h take 3 flushes at least (4 * 8 = 32); before 22:00 and from 07:00 on is 9 h apart, so one is at night. Blue:
    28 h take 2 (3 * 12 = 36), the first by hour 12, the second from hour 16 on and by 12 h after the first. Three sessions
    do for both, and blue leaves one out. The third: hours 8, 16, 24 for red, 8, 16 for blue, together 72. The second:
    the third comes by hour 20, so 8, 16, 20 and 8, 20, again 72. The first: the second comes by hour 12, the third by 20,
    so 8, 12, 20 and 12, 20, and 72 once more. Red is latest (48) in the first case, blue (32) in the last.
    """
    plan = schedule(FORCED + lumens)
    assert [each[6:11] for each in flushes(plan, "red")] == red
    assert [each[6:11] for each in flushes(plan, "blue")] == blue
    night = next(at for at in idle(plan) if z("2026-06-02 03:00") <= at < z("2026-06-02 12:00"))
    forced = [touch for touch in plan.touches if touch.reason.why is Why.FORCED_QUIET]
    assert ("red", night) in [(touch.lumen, touch.at) for touch in forced]
    (told,) = [finding for finding in of_code(FORCED + lumens, "night-forced") if "red" in finding.message]
    assert told.places[0] == ("lumen", "red", "idle_limit")
    assert "8 h" in told.message
    assert_nothing_near_is_better(plan)


@pytest.mark.parametrize(
    ("worth", "wanted"),
    [
        pytest.param(
            1,
            ["06-06 08:00 CDT", "06-06 20:00 CDT", "06-06 22:59 CDT", "06-07 10:59 CDT", "06-07 22:59 CDT"],
            id="a-flush-more-and-no-night",
        ),
        pytest.param(
            0,
            ["06-06 08:00 CDT", "06-06 20:00 CDT", "06-07 08:00 CDT", "06-07 20:00 CDT"],
            id="no-flush-more",
        ),
    ],
)
def test_quiet_hours_of_some_weekdays_hold_on_those_only(worth: int, wanted: list[str]) -> None:
    """Given nights to 06:30 on weekdays and to 08:30 at the weekend, then 08:00 suits on Saturday and not on Sunday.

    From Friday 20:00 to Monday 08:00 is 60 h: 4 flushes do only at 08:00 and 20:00, and Sunday 08:00 is in Saturday's
    night. To keep out of it, one flush stands from 20:30 (08:30 - 12 h) to 22:59 on Saturday; before it two are needed (by
    08:00, by 20:00), and after it two, by 10:59 and by 22:59 on Sunday. Each is as late as it can be.
    """
    plan = schedule(
        f"""
        [plan]
        start = "2026-06-05 20:00"
        end = "2026-06-08 08:00"
        [household]
        quiet_hours = ["Mon-Fri 22:00-06:30", "Sat Sun 23:00-08:30"]
        [protocol]
        saved_session_worth = {worth}
        [lumen.red]
        last_flushed = "2026-06-05 20:00"
        """
    )
    assert flushes(plan, "red") == wanted
    assert_nothing_near_is_better(plan)


def test_a_lumen_joins_the_night_dose_of_another_lumen() -> None:
    """Given doses at 02:00 and 14:00 in red, then blue is flushed at red's finishes and nobody gets up for it alone.

    Blue was flushed at 02:30; 12 h later it is 14:30, when red's dose finishes, and so on. Flushes on its own, such as
    21:59 and 07:00, would be sessions; at 02:30 somebody is up.
    """
    plan = schedule(
        """
        [plan]
        start = "2026-06-01 08:00"
        end = "2026-06-03 08:00"
        [household]
        quiet_hours = ["22:00-07:00"]
        [lumen.red]
        last_flushed = "2026-06-01 02:30"
        [lumen.blue]
        last_flushed = "2026-06-01 02:30"
        [order.dose]
        clock_times = ["02:00", "14:00"]
        first_dose = "2026-06-01 14:00"
        until_removal = true
        duration = "30 min"
        """
    )
    assert flushes(plan, "red") == []  # 11 h 30 min from a finish to the next start
    assert flushes(plan, "blue") == ["06-01 14:30 CDT", "06-02 02:30 CDT", "06-02 14:30 CDT", "06-03 02:30 CDT"]
    assert sessions(plan) == []
    assert_nothing_near_is_better(plan)


def test_a_flight_brings_the_quiet_hours_of_the_place_where_the_household_is() -> None:
    """Given a flight from New York to Phoenix, then the morning flush, at night there, becomes two by day.

    The dose keeps 20:00 New York, 00:00Z; it finishes at 00:30Z. The flush between stands from 12:00Z to 12:30Z: 08:30
    EDT at the latest, by day. In Phoenix (UTC-7) that is 05:30 MST, and 22:00 to 07:00 MST is 05:00Z to 14:00Z: two
    flushes, by 04:59Z (21:59 MST) and by 16:59Z (09:59 MST). After the last dose, from 00:30Z to 16:00Z, one does, from
    04:00Z on: 21:59 MST again.
    """
    plan = schedule(
        """
        [plan]
        takes_effect = "2026-07-08 12:00"
        zone = "America/New_York"
        start = "2026-07-08 12:00"
        end = "2026-07-13 12:00"
        [household]
        quiet_hours = ["22:00-07:00"]
        [[zone_change]]
        at = "2026-07-10 13:00"
        zone = "America/Phoenix"
        [lumen.red]
        last_flushed = "2026-07-08 11:00"
        [order.dose]
        clock_times = ["20:00"]
        first_dose = "2026-07-08 20:00"
        until_removal = true
        duration = "30 min"
        """
    )
    assert flushes(plan, "red") == [
        "07-09 08:30 EDT",
        "07-10 08:30 EDT",
        "07-10 21:59 MST",
        "07-11 09:59 MST",
        "07-11 21:59 MST",
        "07-12 09:59 MST",
        "07-12 21:59 MST",
    ]
    assert_nothing_near_is_better(plan)


# Sessions and flushes


def test_three_lumens_share_as_many_sessions_as_the_shortest_limit_needs() -> None:
    """Given limits of 8, 12 and 24 h and no orders, then 44 h take 5 sessions: red's, which the others join.

    Red: 5 flushes (6 * 8 = 48), each 8 h after the last: hours 8, 16, 24, 32 and 40. Green: one, at hour 20 to 24: 24.
    Blue: to leave a session out, two of red's gaps must be 12 h together instead of 16, and 48 - 44 = 4 h are to spare: so
    one can be left out, and 4 flushes it is. From hour 32 to the end, 44, is 12 h: it is the one at hour 40, and no
    other flush stands earlier for it.
    """
    plan = schedule(
        """
        [plan]
        start = "2026-06-01 08:00"
        end = "2026-06-03 04:00"
        [lumen.red]
        idle_limit = "8 h"
        last_flushed = "2026-06-01 08:00"
        [lumen.blue]
        last_flushed = "2026-06-01 08:00"
        [lumen.green]
        idle_limit = "24 h"
        last_flushed = "2026-06-01 08:00"
        """
    )
    red = ["06-01 16:00 CDT", "06-02 00:00 CDT", "06-02 08:00 CDT", "06-02 16:00 CDT", "06-03 00:00 CDT"]
    assert flushes(plan, "red") == red
    assert flushes(plan, "blue") == red[:4]
    assert flushes(plan, "green") == [red[2]]
    assert_nothing_near_is_better(plan)


def with_slow_lumens(worth: int, *names: str, quiet: str = "") -> Schedule:
    """Return a day and a half of W11's A, with other lumens that may lie idle for 20 h, and a session's worth."""
    others = "".join(f'[lumen.{name}]\nidle_limit = "20 h"\nlast_flushed = "2026-06-01 09:00"\n' for name in names)
    a_alone = W11.partition("[lumen.b]")[0]
    order = "[order.dose]" + W11.partition("[order.dose]")[2]
    stated = f"[protocol]\nsaved_session_worth = {worth}\n[household]\nquiet_hours = [{quiet}]"
    return schedule(f"{a_alone}{others}{order}{stated}".replace("2026-06-06 12:00", "2026-06-02 21:00"))


ALONE, JOINED = ["06-02 05:00 CDT"], ["06-01 21:30 CDT", "06-02 09:30 CDT"]


@pytest.mark.parametrize(
    ("worth", "others", "wanted"),
    [
        # sessions and flushes: 2 and 2 against 1 and 3
        pytest.param(0, "b", ALONE, id="0-keeps-to-2-flushes"),
        pytest.param(1, "b", JOINED, id="1-makes-it-4-against-4-and-fewer-sessions"),
        pytest.param(1000, "b", JOINED, id="1000-saves-the-session"),
        # 2 and 3 against 1 and 5
        pytest.param(0, "bc", ALONE, id="0-keeps-to-3-flushes"),
        pytest.param(1, "bc", ALONE, id="1-makes-it-5-against-6"),
        pytest.param(2, "bc", JOINED, id="2-makes-it-7-against-7-and-fewer-sessions"),
        pytest.param(1000, "bc", JOINED, id="1000-saves-it-for-both"),
    ],
)
def test_a_saved_session_is_worth_as_many_flushes_as_the_plan_says(worth: int, others: str, wanted: list[str]) -> None:
    """Given 36 h in which A needs an evening session, then the plan says whether others join it at a flush's cost.

    A's evening flush stands at 21:30 at the latest, as in W11. A lumen that may lie idle for 20 h and was flushed at
    09:00 needs one flush, from 01:00 (21:00 - 20 h) to 05:00: a session of its own. Or two that cost no session: with A
    at 21:30, and at A's finish the next morning, 09:30.
    """
    plan = with_slow_lumens(worth, *others)
    assert flushes(plan, "a") == ["06-01 21:30 CDT"]
    assert all(flushes(plan, name) == wanted for name in others)
    assert_nothing_near_is_better(plan)


@pytest.mark.parametrize(("worth", "wanted"), [(0, ALONE), (1, JOINED)])
def test_a_session_worth_nothing_does_not_buy_off_a_night(worth: int, wanted: list[str]) -> None:
    """Given the same with quiet hours, then with a worth of 0 the flush at 05:00 stays; any worth spares the night."""
    plan = with_slow_lumens(worth, "b", quiet='"22:00-07:00"')
    assert flushes(plan, "b") == wanted
    assert_nothing_near_is_better(plan)


def test_a_lumen_joins_bag_changes_in_another_even_if_they_flush_nothing() -> None:
    """Given a bag change at 10:00 each day in red, then blue, which may lie idle for 30 h, is flushed at two of them.

    74 h take 2 flushes (3 * 30 = 90), and the second stands at hour 44 or later. At bag changes: hours 24 and 48. On its own
    it would be flushed at hours 30 and 60, in two sessions.
    """
    plan = schedule(
        """
        [plan]
        start = "2026-06-01 10:00"
        end = "2026-06-04 12:00"
        [lumen.red]
        last_flushed = "2026-06-01 09:00"
        [lumen.blue]
        idle_limit = "30 h"
        last_flushed = "2026-06-01 10:00"
        [order.feed]
        without least_spacing
        continuous = true
        first_dose = "2026-06-01 10:00"
        until_removal = true
        volume = "1000 mL"
        bag_every = "24 h"
        bag_flush = []
        """
    )
    assert flushes(plan, "blue") == ["06-02 10:00 CDT", "06-03 10:00 CDT"]
    assert sessions(plan) == []
    assert_nothing_near_is_better(plan)


# Margin, least time, preferred times


@pytest.mark.parametrize(
    ("margin", "least", "quiet", "wanted"),
    [
        # 11 h 45 min: from 09:00 back it is 21:15, and from 09:30 on it is 21:15
        pytest.param("15 min", "0 min", "", ["21:15"], id="one-minute-is-left"),
        # 11 h 44 min: by 21:14, and from 21:16 on; then 11 h 44 min after 21:14
        pytest.param("16 min", "0 min", "", ["21:14", "08:58"], id="a-second-flush"),
        # 30 min before the dose at 09:00
        pytest.param("16 min", "30 min", "", ["21:14", "08:30"], id="not-just-before-the-dose"),
        # 5 h 52 min before the dose at 09:00, and 5 h 54 min after the other flush
        pytest.param("16 min", "5 h 52 min", "", ["21:14", "03:08"], id="far-from-the-dose"),
        # the last minute before the quiet hours, and 5 h 52 min before that
        pytest.param("16 min", "5 h 52 min", "02:00-08:50", ["20:07", "01:59"], id="far-from-each-other"),
    ],
)
def test_margin_and_least_time_bound_where_a_flush_may_stand(
    margin: str, least: str, quiet: str, wanted: list[str]
) -> None:
    """Given W1's daily dose of half an hour at 09:00, then margin and least time decide what its gap of 23.5 h takes.

    With a margin of 16 min the first flush is by 21:14, the second from 21:16 on. In the last case it cannot stand after
    the quiet hours, since 08:50 is too near to the dose, so it stands before them, and the first keeps away from it.
    """
    plan = schedule(
        f"""
        [plan]
        start = "2026-06-01 08:00"
        end = "2026-06-02 09:15"
        [household]
        quiet_hours = [{f'"{quiet}"' if quiet else ""}]
        [protocol]
        planning_margin = "{margin}"
        least_time_to_next_touch = "{least}"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.dose]
        clock_times = ["09:00"]
        first_dose = "2026-06-01 09:00"
        until_removal = true
        duration = "30 min"
        """
    )
    assert [shown(at, plan)[11:16] for at in idle(plan)] == wanted
    assert_nothing_near_is_better(plan)


@pytest.mark.parametrize(
    ("least", "wanted"),
    [
        ("0 min", "06-02 07:10 CDT"),
        ("20 min", "06-02 07:10 CDT"),
        ("21 min", "06-02 07:09 CDT"),
        ("30 min", "06-02 07:00 CDT"),
        ("31 min", "06-01 21:59 CDT"),
    ],
)
def test_what_is_too_near_to_the_dose_and_would_be_at_night_goes_into_the_evening(least: str, wanted: str) -> None:
    """Given a flush at 19:10 and a dose at 07:30, then one flush stands from 19:30 to 07:10, and the least time decides.

    With 30 min it stands by 07:00, which is not at night any more; with a minute more by 06:59, which is. Before the night
    the last minute is 21:59.
    """
    plan = schedule(
        f"""
        [plan]
        start = "2026-06-01 19:30"
        end = "2026-06-02 08:00"
        [household]
        quiet_hours = ["22:00-07:00"]
        [protocol]
        least_time_to_next_touch = "{least}"
        [lumen.red]
        last_flushed = "2026-06-01 19:10"
        [order.dose]
        moments = ["2026-06-02 07:30"]
        duration = "30 min"
        """
    )
    assert flushes(plan, "red") == [wanted]
    assert_nothing_near_is_better(plan)


@pytest.mark.parametrize(
    ("blue", "wanted"),
    [
        # 19:30 + 12 h is the plan's first minute, and red, which must be flushed by 08:00, joins
        pytest.param("19:30", ["07:30"], id="in-one-session"),
        pytest.param("19:45", ["07:45"], id="in-one-session-a-little-later"),
    ],
)
def test_where_the_limit_leaves_no_room_for_the_least_time_all_else_still_counts(blue: str, wanted: list[str]) -> None:
    """Given red flushed at 20:00, the plan's start at 07:30, and its dose at 08:15, then an hour before it is too much.

    Red is flushed by 08:00 at the latest, so less than an hour before its dose wherever that is, and nothing is gained
    by a session of its own: it joins blue, which is flushed 12 h after its last flush.
    """
    plan = schedule(
        f"""
        [plan]
        start = "2026-06-01 07:30"
        end = "2026-06-01 12:00"
        [protocol]
        least_time_to_next_touch = "1 h"
        [lumen.red]
        last_flushed = "2026-05-31 20:00"
        [lumen.blue]
        last_flushed = "2026-05-31 {blue}"
        [order.dose]
        moments = ["2026-06-01 08:15"]
        duration = "30 min"
        """
    )
    assert [shown(at, plan)[11:16] for at in idle(plan)] == wanted
    assert idle(plan, "blue") == idle(plan)
    assert_nothing_near_is_better(plan)


def test_after_a_push_the_limit_counts_from_its_start_even_right_behind_an_infusion() -> None:
    """Given an infusion from 09:00 to 09:30 and a push of 5 min at 09:30, then the next flush is due by 21:30."""
    plan = schedule(
        """
        [plan]
        start = "2026-06-01 08:00"
        end = "2026-06-02 08:00"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.dose]
        moments = ["2026-06-01 09:00"]
        duration = "30 min"
        [order.pushed]
        moments = ["2026-06-01 09:30"]
        given_as = "push"
        duration = "5 min"
        """
    )
    assert flushes(plan, "red") == ["06-01 21:30 CDT"]
    assert_nothing_near_is_better(plan)


@pytest.mark.parametrize(
    ("preferred", "wanted"),
    [
        pytest.param([], ["06-01 21:30 CDT", "06-02 09:30 CDT"], id="none"),
        pytest.param(["08:00", "20:00"], ["06-01 20:00 CDT", "06-02 08:00 CDT"], id="both"),
        pytest.param(["20:00"], ["06-01 20:00 CDT", "06-02 08:00 CDT"], id="the-first-and-the-other-12-h-later"),
        pytest.param(["07:30"], ["06-01 21:30 CDT", "06-02 07:30 CDT"], id="the-second-and-the-first-still-late"),
        pytest.param(["12:00", "18:59"], ["06-01 21:30 CDT", "06-02 09:30 CDT"], id="never-at-a-flush-more"),
    ],
)
def test_preferred_times_count_only_among_equals(preferred: list[str], wanted: list[str]) -> None:
    """Given a lumen flushed at 09:30 and 33 h 30 min, then two flushes do, and a preferred time may choose their minutes.

    The second stands at 07:00 (19:00 - 12 h) or later, and at 09:30 at the latest; the first from 19:00 to 21:30.
    """
    times = ", ".join(f'"{time}"' for time in preferred)
    plan = schedule(
        f"""
        [plan]
        start = "2026-06-01 09:30"
        end = "2026-06-02 19:00"
        [household]
        preferred_flush_times = [{times}]
        [lumen.red]
        last_flushed = "2026-06-01 09:30"
        """
    )
    assert flushes(plan, "red") == wanted
    assert_nothing_near_is_better(plan)
