"""The real alarm clock under a loop whose time is made up: six weeks pass in a moment, and each alarm rings once, at its moment."""

import asyncio
import random
import selectors
from collections.abc import Callable, Coroutine
from datetime import UTC, datetime, timedelta
from typing import Any

import time_machine

from reminders.daemon.alarm import Alarm

START = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)
"""Six weeks from here lies the end of summer time in Chicago, and in Europe; to the alarm clock it is nothing."""


class _Selector(selectors.DefaultSelector):
    """Waits for nothing: it lets the time pass that it was to wait."""

    loop: "VirtualLoop"

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        found = super().select(0)
        if not found:
            assert timeout is not None, "nothing is left to wait for, and the test is not done"
            self.loop.pass_by(timeout)
        return found


class VirtualLoop(asyncio.SelectorEventLoop):
    """A loop in which waiting takes no time. ``pass_by`` moves its own clock and the computer's together; ``traveller`` the latter."""

    def __init__(self, traveller: time_machine.Traveller) -> None:
        selector = _Selector()
        selector.loop = self
        self.elapsed = 0.0
        self.traveller = traveller
        super().__init__(selector)

    def time(self) -> float:
        return self.elapsed

    def pass_by(self, seconds: float) -> None:
        """Let time pass, by a microsecond at least, so that what is due is found to be."""
        step = max(seconds, 1e-6)
        self.elapsed += step
        self.traveller.shift(step)


def now() -> datetime:
    """Return what the computer's clock shows."""
    return datetime.now(UTC)


class Rings:
    """An alarm clock, and when it rang. ``then`` is done at each ring."""

    def __init__(self, then: Callable[[], None] = lambda: None) -> None:
        self.at: list[datetime] = []
        self.then = then
        self.alarm = Alarm(self._ring)

    async def _ring(self) -> None:
        self.at.append(now())
        self.then()


def virtually(course: Callable[[VirtualLoop], Coroutine[Any, Any, None]]) -> None:
    """Run a course of events from :data:`START` on."""
    with time_machine.travel(START, tick=False) as traveller:
        loop = VirtualLoop(traveller)
        try:
            loop.run_until_complete(course(loop))
            loop.run_until_complete(loop.shutdown_default_executor())
        finally:
            loop.close()


def close_to(rang: list[datetime], meant: list[datetime]) -> bool:
    """Say whether each rang once, at its moment or within a hundredth of a second after it."""
    return len(rang) == len(meant) and all(
        timedelta(0) <= one - other < timedelta(seconds=0.01) for one, other in zip(rang, meant, strict=True)
    )


def test_each_moment_of_six_weeks_rings_once() -> None:
    """Each ring sets the next one, as the daemon does; some lie a millisecond apart, some days."""
    rng = random.Random(42)
    gaps = [rng.choice([0.05, 1.0, 60.0, 3 * 3600.0]) * rng.uniform(0.5, 1.5) for _moment in range(900)]
    moments = [START]
    while moments[-1] < START + timedelta(days=42):
        moments.append(moments[-1] + timedelta(seconds=gaps[len(moments) % len(gaps)]))
    meant = moments[1:]
    assert len(meant) > 500

    async def course(loop: VirtualLoop) -> None:
        waiting = list(meant)

        def following() -> None:
            if waiting:
                rings.alarm.set(waiting.pop(0))

        rings = Rings(following)
        rings.alarm.start()
        following()
        await asyncio.sleep(43 * 86400)
        rings.alarm.stop()
        await asyncio.sleep(1)
        assert close_to(rings.at, meant)

    virtually(course)


def test_a_moment_that_has_passed_rings_at_once() -> None:
    async def course(loop: VirtualLoop) -> None:
        rings = Rings()
        rings.alarm.start()
        rings.alarm.set(START - timedelta(days=3))
        await asyncio.sleep(1)
        assert close_to(rings.at, [START])
        await asyncio.sleep(86400)
        assert len(rings.at) == 1
        rings.alarm.stop()

    virtually(course)


def test_only_what_was_set_last_rings() -> None:
    """Earlier or later than before, or the same moment once more; and other ways of writing one."""

    async def course(loop: VirtualLoop) -> None:
        rings = Rings()
        rings.alarm.start()
        for hours in (5, 2, 3, 3):
            rings.alarm.set((START + timedelta(hours=hours)).astimezone(None))
        await asyncio.sleep(86400)
        rings.alarm.stop()
        assert close_to(rings.at, [START + timedelta(hours=3)])

    virtually(course)


def test_setting_it_anew_from_inside_a_ring_for_what_is_due_already_breaks_no_chain() -> None:
    """Three things due at once: each ring finds the next one due, sets the alarm for it, and is itself not over yet."""

    async def course(loop: VirtualLoop) -> None:
        due = START + timedelta(hours=1)
        rang: list[datetime] = []

        async def ring() -> None:
            rang.append(now())
            if len(rang) < 4:
                alarm.set(due if len(rang) < 3 else due + timedelta(hours=1))
            await asyncio.sleep(5)

        alarm = Alarm(ring)
        alarm.start()
        alarm.set(due)
        await asyncio.sleep(3 * 3600)
        alarm.stop()
        await asyncio.sleep(1)
        assert close_to(rang, [due, due, due, due + timedelta(hours=1)])

    virtually(course)


def test_many_rings_that_hang_do_not_keep_the_next_one_from_ringing() -> None:
    """As when the notification service takes its time and reports come meanwhile: each look sets the alarm."""

    async def course(loop: VirtualLoop) -> None:
        rang: list[datetime] = []

        async def ring() -> None:
            rang.append(now())
            alarm.set(now() + timedelta(seconds=1))
            await asyncio.sleep(60)

        alarm = Alarm(ring)
        alarm.start()
        alarm.set(START + timedelta(seconds=1))
        await asyncio.sleep(40)
        alarm.stop()
        await asyncio.sleep(1)
        assert close_to(rang, [START + timedelta(seconds=1 + number) for number in range(len(rang))])
        assert len(rang) >= 39

    virtually(course)


def test_a_ring_that_fails_is_no_end(caplog: Any) -> None:
    async def course(loop: VirtualLoop) -> None:
        rang: list[datetime] = []

        async def ring() -> None:
            rang.append(now())
            alarm.set(now() + timedelta(hours=1))
            raise RuntimeError("made up")

        alarm = Alarm(ring)
        alarm.start()
        alarm.set(START + timedelta(hours=1))
        await asyncio.sleep(4.5 * 3600)
        alarm.stop()
        await asyncio.sleep(1)
        assert close_to(rang, [START + timedelta(hours=number) for number in range(1, 5)])

    virtually(course)


def test_stopped_it_rings_no_more_and_may_still_be_set() -> None:
    """A look that is under way when the daemon stops sets the alarm once more."""

    async def course(loop: VirtualLoop) -> None:
        rings = Rings()
        rings.alarm.start()
        rings.alarm.set(START + timedelta(hours=1))
        rings.alarm.stop()
        await asyncio.sleep(0)
        rings.alarm.set(START + timedelta(hours=2))
        rings.alarm.stop()
        await asyncio.sleep(86400)
        assert rings.at == []

    virtually(course)


def test_one_that_never_began_can_be_stopped() -> None:
    async def course(loop: VirtualLoop) -> None:
        Rings().alarm.stop()

    virtually(course)


def test_sleep_makes_it_late_and_loses_nothing() -> None:
    """While the computer sleeps its clock goes on and the waiting stands still: so the alarm rings late, by as much, and is not dropped.

    That is why the daemon has a pulse besides, which finds what is due and sets the alarm anew.
    """

    async def course(loop: VirtualLoop) -> None:
        rings = Rings()
        rings.alarm.start()
        rings.alarm.set(START + timedelta(hours=1))
        await asyncio.sleep(600)
        loop.traveller.shift(8 * 3600)
        await asyncio.sleep(60)
        assert rings.at == []
        rings.alarm.set(START + timedelta(hours=1))  # what the pulse brings about
        await asyncio.sleep(1)
        assert close_to(rings.at, [START + timedelta(hours=8, seconds=660)])
        await asyncio.sleep(86400)
        assert len(rings.at) == 1
        rings.alarm.stop()

    virtually(course)
