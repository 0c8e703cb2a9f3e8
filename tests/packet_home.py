"""For tests of packets: a nurse's desk at which they are made, and the files that come of it. Everything is invented."""

from dataclasses import dataclass
from pathlib import Path

from click.testing import Result
from own_places import HOME, run
from small_plans import plan_text

from reminders.plan.read import read_plan
from reminders.plan.read_back import check_letters

NOW = ("--now", "2026-06-01 08:30-05:00")
"""Half an hour after the plan of ``own_places`` begins."""


def with_read_back(edits: str, by: str = "Ines Marlow") -> str:
    """Return edits of the base plan after somebody has read it back, with the letters that then stand in it."""
    plan = read_plan("plan.toml", plan_text(edits).encode()).plan
    assert plan is not None
    return f'{edits}\n[read_back]\nby = "{by}"\nat = "2026-05-31 16:00"\ncheck = "{check_letters(plan)}"\n'


@dataclass
class Desk:
    """A nurse's folder: plan files, and the packets that are made of them."""

    folder: Path

    def write(self, edits: str, name: str = "fennimore.toml") -> Path:
        """Write the base plan with edits."""
        path = self.folder / name
        path.write_text(plan_text(edits), encoding="utf-8")
        return path

    def packs(self, plan: Path, *options: str | Path, now: tuple[str, str] = NOW) -> Result:
        """Make a packet of a plan."""
        return run("packet", plan, "--out", self.out, *options, *now)

    @property
    def out(self) -> Path:
        """Return where the packets are."""
        return self.folder / "out"

    def mail(self, revision: int = 1) -> bytes:
        """Return the e-mail of a revision."""
        return self._one(f"packet-revision-{revision}-*.eml")

    def calendar(self, revision: int = 1) -> bytes:
        """Return the calendar of a revision."""
        return self._one(f"calendar-revision-{revision}-*.ics")

    def sheet(self, revision: int = 1) -> bytes:
        """Return the sheet of a revision."""
        return self._one(f"sheet-revision-{revision}-*.pdf")

    def _one(self, pattern: str) -> bytes:
        """Return the one file of a pattern; the plan's mark in its name is none of a test's business."""
        (found,) = self.out.glob(pattern)
        return found.read_bytes()


def packed(folder: Path, edits: str = HOME, *options: str) -> Desk:
    """Return a desk at which one packet was made."""
    folder.mkdir(parents=True, exist_ok=True)
    desk = Desk(folder)
    result = desk.packs(desk.write(with_read_back(edits)), *options)
    assert result.exit_code == 0, result.output
    return desk
