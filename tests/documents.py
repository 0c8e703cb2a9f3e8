"""Writes ``sample_plans/README.md`` from the code, so that the page about the keys cannot fall behind it.

``python tests/documents.py`` rewrites the page; ``tests/test_documents.py`` holds it to the code.
"""

import re
import sys
from dataclasses import MISSING, fields
from fractions import Fraction
from pathlib import Path

from reminders.drafting.labels import AT_TIMES
from reminders.findings import CODES
from reminders.plan import model
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, FIELDS
from reminders.schedule.compile import compile_schedule
from reminders.schedule.figures import figures
from reminders.schedule.plain import place_plainly
from reminders.times import DAY
from reminders.units import number
from reminders.views import history_files
from reminders.views.schedule_json import DOCUMENT_KEYS, EVENT_KEYS, FORMAT, TASK_KEYS

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "sample_plans" / "README.md"

BEGIN = """# Plan files

<!-- Written by `python tests/documents.py` from the code; change it there. -->

A plan file holds one patient's orders. It is a text file in TOML: lines `key = value` under headings in square
brackets; `#` begins a remark. Values with letters, colons or units stand in quotation marks, and quantities carry their
units: `"12 h"`, `"10 mL"`, `"100 mL/h"`, `"10 units/mL"`. Write units in full: `"U"` for units is refused, because it is
misread as a zero. Moments such as `"2026-10-26 08:00"` are read on the home clock.

Nothing clinical is ever filled in. What the plan must state and does not is an error; the published ranges that the
message names are for orientation, not to be copied. The plan's words and numbers come from the prescriber's orders and
the provider's protocol.

**Leave names out.** A plan needs no name, address or date of birth, and it is safer on a phone or in an e-mail without.

Check a plan with `reminders check FILE`. Raise `revision` with every change that is put in use, and say from when on it
holds (`takes_effect`): what lies before that moment stays as it was. `reminders compare OLD NEW` says what changes.

## The samples

Everything in them is invented: the provider Fennimore Vale Home Infusion, the people, the telephone numbers, the orders.
None of them is a model for treatment.

| file | what it shows |
| --- | --- |
"""

KEYS = """
`broken/` holds plans with mistakes, for the tests. `protocols/` holds a provider's protocol file: what is the same for all of a
provider's patients, and nothing of any one of them (`[line]` only for limit and lock, `[fluid.NAME]`, `[step.NAME]`, `[protocol]`,
`[supplies]`, `[task.NAME]` without dates, `[call.TIER]`). `reminders write` copies it into a plan.

## The keys

*Needed* means that a plan without the key is refused. A key marked *see meaning* is needed in the cases that its meaning
names.
"""

TABLE_NOTES = {
    "plan": "Exactly one of `end`, `line_removal` and `open_ended` stands.",
    "zone_change": "Once for each leg of a journey. Doses keep their home clock unless their order says otherwise.",
    "lumen": "Once for each lumen of the line, also for those without an order.",
    "call": "`[call.emergency]` and `[call.now]` are needed; `[call.same_day]` and `[call.next_contact]` may stand.",
    "order": "Timing: exactly one of `clock_times`, `every`, `moments`, `continuous`, `follows`, `as_needed`.\n"
    "End: `last_day`, `doses` or `until_removal`; `stops` or `until_removal` if continuous; none after `moments` and\n"
    "`follows`. Length: `duration`, or `volume` and `rate`, or `rate_steps`; stated twice, they must agree.",
}


def page() -> str:
    """Return the whole page."""
    parts = [BEGIN + "".join(f"| `{path.name}` | {_first_words(path)} |\n" for path in samples()), _saved(), KEYS]
    parts += [_table(name, cls) for name, cls in model.TABLES.items()]
    parts.append(_findings())
    parts += [_json(), _history(), _facts()]
    return "\n".join(parts)


def samples() -> list[Path]:
    """Return the sample plans' files in order."""
    return sorted((ROOT / "sample_plans").glob("*.toml"))


def _first_words(path: Path) -> str:
    remarks = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            break
        remarks.append(line.lstrip("# ").strip())
    said = " ".join(remarks)
    return said.partition(". ")[2] if said.startswith("Everything in this file is invented") else said


def _saved() -> str:
    """Return what the best places for idle flushes come to in each sample, beside the plain ones."""
    lines = [
        "What the places of their idle flushes come to. *Plain*: each lumen is flushed when its own limit, less the margin,",
        "has run out, at whatever hour; *best*: as `reminders` places them. Night sessions are those in quiet hours.",
        "",
        "| sample | night sessions of idle flushes only: plain | best | sessions a day: plain | best | idle flushes: plain | best |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for path in samples():
        plan = read_plan(path.name, path.read_bytes()).plan
        assert plan is not None, f"{path.name} is sound"
        now = plan.course.start.instant
        best = compile_schedule(plan, EMPTY, now)
        found, plain = figures(best), figures(compile_schedule(plan, EMPTY, now, place=place_plainly))
        days = Fraction(best.end - best.start, DAY)
        cells = [plain.night_idle, found.night_idle, number(plain.sessions / days, 1), number(found.sessions / days, 1)]
        cells += [plain.idle_flushes, found.idle_flushes]
        lines.append(f"| `{path.name}` | " + " | ".join(map(str, cells)) + " |")
    return "\n".join(lines) + "\n"


def _table(name: str, cls: type) -> str:
    heading = f"[{name}.NAME]" if name in model.NAMED_TABLES else f"[{name}]"
    heading = f"[[{name}]]" if name in model.LISTED_TABLES else heading
    needed = " This table may be left out." if name in model.OPTIONAL_TABLES else ""
    said = re.sub(r" \(R[0-9, R]+\)", "", " ".join((cls.__doc__ or "").split()).replace("``", "`"))
    lines = [f"### `{heading}`", "", said + needed, ""]
    if name in TABLE_NOTES:
        lines += [TABLE_NOTES[name], ""]
    lines += ["| key | needed | written as | meaning |", "| --- | --- | --- | --- |"]
    for item in fields(cls):
        if "form" not in item.metadata:
            continue
        optional = item.default is not MISSING or item.default_factory is not MISSING
        at_times = item.name in AT_TIMES.get(name, "").split()
        need = ("see meaning" if at_times else "") if optional else "needed"
        meaning = item.metadata["meaning"]
        if item.metadata["sources"]:
            meaning += f" For orientation: {item.metadata['sources']}."
        lines.append(f"| `{item.name}` | {need} | {item.metadata['form'].shown} | {meaning} |")
    return "\n".join(lines) + "\n"


def _findings() -> str:
    lines = [
        "## The findings",
        "",
        "`reminders check` tells everything that it finds in one run. An error stops anything from being written; a",
        "warning is for someone to decide; a note is to be known. Codes do not change from release to release.",
        "",
        "| code | kind | what it is about |",
        "| --- | --- | --- |",
    ]
    lines += [f"| `{code}` | {severity.name.lower()} | {about} |" for code, (severity, about) in CODES.items()]
    return "\n".join(lines) + "\n"


def _json() -> str:
    lines = [
        "## The schedule as JSON",
        "",
        f'`reminders compile` writes, beside the calendar, the whole schedule as JSON (`"format": "{FORMAT}"`):',
        "",
        "| key | what it holds |",
        "| --- | --- |",
    ]
    lines += [f"| `{key}` | {about} |" for key, about in DOCUMENT_KEYS.items()]
    lines += ["", "Each of the `events`:", "", "| key | what it holds |", "| --- | --- |"]
    lines += [f"| `{key}` | {about} |" for key, about in EVENT_KEYS.items()]
    lines += ["", "Each of the `tasks`:", "", "| key | what it holds |", "| --- | --- |"]
    lines += [f"| `{key}` | {about} |" for key, about in TASK_KEYS.items()]
    return "\n".join(lines) + "\n"


def _history() -> str:
    """Describe the history as JSON; its CSV has the same rows."""
    lines = [
        "## The history as JSON",
        "",
        f'`reminders history --json` writes what was planned and what was recorded (`"format": "{history_files.FORMAT}"`);',
        "`--csv` writes the same rows as a table.",
    ]
    tables = (
        ("The document", history_files.DOCUMENT_KEYS),
        ("Each row", history_files.ROW_KEYS),
        ("Each moment", history_files.MOMENT_KEYS),
        ("Each order", history_files.ORDER_KEYS),
        ("Each care task", history_files.TASK_KEYS),
        ("Each lumen", history_files.LUMEN_KEYS),
        ("Each idle time", history_files.GAP_KEYS),
    )
    for heading, keys in tables:
        lines += ["", f"{heading}:", "", "| key | what it holds |", "| --- | --- |"]
        lines += [f"| `{key}` | {about} |" for key, about in keys.items()]
    return "\n".join(lines) + "\n"


def _facts() -> str:
    """Describe the lines of an exported record."""
    lines = [
        "## The record as lines",
        "",
        "`reminders export` writes a first line that names the plan, then a line of JSON for each fact, in the order in which",
        "they were entered. Each has `key`, `report`, `kind`, `happened` and `entered` (in UTC), and may have `by` and `note`.",
        "",
        "| kind | must have | may have |",
        "| --- | --- | --- |",
    ]
    for kind, (needed, allowed) in FIELDS.items():
        cells = (" ".join(f"`{name}`" for name in sorted(names)) for names in (needed, allowed))
        lines.append(f"| {kind.value} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    sys.stdout.write(f"wrote {PAGE}\n")
