"""Findings as text for people: where, the lines themselves, what was expected, how to mend it."""

import textwrap
from collections.abc import Iterable

from reminders.findings import Finding, Severity
from reminders.plan.source import Source

WIDTH = 110
"""Letters in a line of running text."""

MOST_SHOWN_OF_A_LINE = 100


def finding_text(finding: Finding, source: Source) -> str:
    """Return one finding as a block of lines without a final newline."""
    located = [source.locate(place) for place in finding.places]
    numbers = list(dict.fromkeys(line for line in located if line is not None))
    where = f"{source.name}, line {numbers[0]}" if numbers else source.name
    block = [f"{finding.severity.name} ({finding.code}) in {where}"]
    block += [f"  {line:>5}:  {_shown(source.lines[line - 1])}" for line in numbers if line <= len(source.lines)]
    said = [finding.message]
    if finding.expected:
        said.append(f"Expected: {finding.expected}.")
    if finding.mend:
        said.append(f"To mend: {finding.mend}")
    for text in map(_printable, said):  # a name from the file may hold anything
        block += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)
    return "\n".join(block)


def tally(findings: Iterable[Finding]) -> str:
    """Count findings by severity: ``2 errors, 1 warning, no notes``."""
    counts = [0, 0, 0]
    for finding in findings:
        counts[finding.severity] += 1
    return ", ".join(
        f"{count or 'no'} {severity.name.lower()}{'' if count == 1 else 's'}"
        for severity, count in zip(Severity, counts, strict=True)
    )


def _printable(text: str) -> str:
    return "".join(char if char.isprintable() or char == "\n" else " " for char in text)


def _shown(line: str) -> str:
    text = _printable(line.strip()).replace("\n", " ")
    return text if len(text) <= MOST_SHOWN_OF_A_LINE else text[: MOST_SHOWN_OF_A_LINE - 3] + "..."
