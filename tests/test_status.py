"""``reminders status``: whether the daemon lives, and what waits, while the daemon runs or not. Times are Chicago's, in June 2026."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from histories import at as instant
from own_places import OTHER, PLAN_ID, SECOND, at, own_places, put_in_use, run, write
from small_plans import plan_text

from reminders.daemon.life import STALE, Life, only_one, write_life
from reminders.household import kept_in_record, open_in_use
from reminders.places import places
from reminders.times import Instant

NOW = "06-01 09:05"
SECONDS = instant(NOW) * 60.0


@pytest.fixture(name="plan")
def a_plan_in_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a test a plan that is in use on this computer."""
    data = own_places(tmp_path, monkeypatch)
    put_in_use(write(tmp_path))
    return data / "plan.toml"


@contextmanager
def living(*, looked: float = 3.0, pop_ups: str = "", troubles: tuple[str, ...] = ()) -> Iterator[None]:
    """Let a daemon of the plan live that looked so many seconds ago."""
    lock = only_one(places().lock_of(PLAN_ID))
    write_life(
        places().life_of(PLAN_ID),
        Life(pid=4711, started=SECONDS - 600, last_tick=SECONDS - looked, pop_ups=pop_ups, troubles=troubles),
    )
    try:
        yield
    finally:
        lock.release()


def told(status: int, *words: str, moment: str = NOW) -> str:
    """Return what is said at a moment; the exit status must be the one that is expected."""
    result = run("status", *words, *at(moment))
    assert result.exit_code == status, result.output
    return result.output


def test_where_it_does_not_run_what_waits_is_told_all_the_same(plan: Path) -> None:
    said = told(1)
    assert said.startswith("NOT RUNNING: nobody is reminded by this computer. Start it with  reminders run .\n")
    assert "\n  09:00 CDT  Was it done? red lumen, start cefazolin 1 g; told again at 09:10 CDT.\n" in said
    assert "\nTo be told in the next 12 h, unless something is reported:\n" in said


def test_where_nothing_waits_that_is_said(plan: Path) -> None:
    with living():
        said = told(0, moment="06-01 08:55")
    assert "\nNothing waits for an answer.\n" in said


@pytest.mark.parametrize(
    ("looked", "status", "said"),
    [
        (3.0, 0, "It runs, and last looked 3 s ago.\n"),
        (STALE, 0, "It runs, and last looked 60 s ago.\n"),
        (STALE + 1, 1, "STUCK: it runs and has not looked for a while. Stop it and start it again.\n"),
    ],
)
def test_whether_it_lives_is_said_first(plan: Path, looked: float, status: int, said: str) -> None:
    with living(looked=looked):
        found = told(status)
    assert found.startswith(said)
    assert ("\nIts process has the number 4711.\n" in found) is (status == 1)


@pytest.mark.parametrize(("pop_ups", "troubles"), [("Nobody shows them.", ()), ("", ("The disk is full.",))])
def test_what_is_wrong_with_it_is_said(plan: Path, pop_ups: str, troubles: tuple[str, ...]) -> None:
    with living(pop_ups=pop_ups, troubles=troubles):
        assert f"\nTROUBLE: {pop_ups or troubles[0]}\n" in told(1)


def test_a_journal_that_cannot_be_read_is_one_trouble_among_others(plan: Path) -> None:
    places().journal_of(PLAN_ID).parent.mkdir(parents=True, exist_ok=True)
    places().journal_of(PLAN_ID).write_bytes(b"no journal" * 100)
    with living():
        said = told(1)
    assert "TROUBLE: " in said and str(places().journal_of(PLAN_ID)) in said
    assert "Waiting for an answer" in said


def test_a_household_that_does_not_record_is_told_that_nobody_is_asked(plan: Path, tmp_path: Path) -> None:
    other = tmp_path / "silent.toml"
    other.write_text(plan_text(f"{OTHER}\n[plan]\nhousehold_records = false\n"), encoding="utf-8")
    assert "This household does not record: each thing is told once" in told(1, str(other))


@pytest.mark.parametrize("fault", ["", "[plan]\n", "lumen = \n"])
def test_whatever_lies_in_the_file_what_is_in_use_is_told(plan: Path, fault: str) -> None:
    """As the daemon has it, which goes on with it; a file that says no id any more cannot be told from another."""
    before = told(1)
    good = plan.read_text(encoding="utf-8")
    plan.write_text(fault or good.replace("lumen = ", "lumen_ = "), encoding="utf-8")
    after = run("status", *at(NOW))
    assert after.exit_code == 1
    assert (after.output == before) is (not fault)
    assert "Traceback" not in after.output


def test_a_revision_that_waits_is_named(plan: Path) -> None:
    plan.write_text(plan_text(SECOND), encoding="utf-8")
    said = told(1)
    assert "Revision 2 lies in" in said and "reminders record in use" in said
    assert "start cefazolin 1 g" in said


def test_what_the_record_keeps_is_what_was_in_use(plan: Path, tmp_path: Path) -> None:
    now = Instant(instant("06-04 09:00"))
    put_in_use(write(tmp_path, SECOND), moment="06-02 09:00")
    right = open_in_use(plan, now)
    plan.write_text("nothing", encoding="utf-8")
    kept = kept_in_record(plan, PLAN_ID, now)
    assert kept is not None
    assert (kept.plan, kept.earlier, kept.text) == (right.plan, right.earlier, right.text)
    assert kept.record.facts == right.record.facts
    assert (kept.in_use, kept.begun, kept.kept, kept.waiting) == (True, True, True, None)
    assert kept.schedule(now).touches == right.schedule(now).touches


def test_without_a_record_nothing_is_kept(tmp_path: Path) -> None:
    assert kept_in_record(tmp_path / "plan.toml", PLAN_ID, Instant(0)) is None


def test_whoever_reads_of_a_flush_reads_when_to_stop_and_whom_to_call(plan: Path) -> None:
    """R27."""
    said = told(1)
    assert "lumen, flush" in said or "start cefazolin" in said
    assert "STOP, clamp and call On-call nurse, Fennimore Vale, 555-0142" in said
    assert "told you comes first" in said
