"""TOML text to values and, for every key, the line it stands on.

``tomllib`` reads the values and judges the syntax; the tree-sitter grammar for TOML tells the lines.
"""

import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import tree_sitter
import tree_sitter_toml

from reminders.findings import Finding, KeyPath

LONGEST_FILE = 1_000_000
"""Bytes; a plan of one patient is a few thousand."""

BEGINS_PLAN = re.compile(
    rb"^(\xef\xbb\xbf)?[ \t]*(\[[ \t]*plan[ \t]*\]|plan[ \t]*(\.[ \t]*[a-z_]+[ \t]*=|=[ \t]*\{))", re.MULTILINE
)
"""How a file reads like a plan, whatever it is called: it says what the plan itself is, as ``[plan]``, ``plan.id =`` or ``plan = {``."""

UNREADABLE = (ValueError, RecursionError)
"""What tomllib raises: its own error for a breach of TOML, which is a ValueError, and Python's for a number too long."""

MOST_PARTS = 20
"""Parts of a dotted key that are followed; a plan's keys have at most three."""

ENDLESS_NUMBER = re.compile(r"[0-9_]{4000}")
ONE_LINE_KEY = re.compile(r"""\s*[A-Za-z0-9_."'-]+\s*=\s*[^\s\[{"']""")


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """A plan's text: its file's name, its lines, its values, and the line of each key (counted from 1)."""

    name: str
    lines: tuple[str, ...]
    values: dict[str, Any]
    line_of: dict[KeyPath, int] = field(default_factory=dict)

    def locate(self, place: KeyPath) -> int | None:
        """Return the line of a key, or of the nearest table around it; None if not even that is in the file."""
        while place:
            if place in self.line_of:
                return self.line_of[place]
            place = place[:-1]
        return None


@cache
def parser() -> tree_sitter.Parser:
    """Return the parser of the TOML grammar, which tells places and no values."""
    return tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))


MOST_PARTS = 100
"""Of a key with dots: a plan's have three at most, and reading very many takes more memory than there is."""


def _parts(line: str) -> int:
    """Return at most how many parts the key or heading of a line has."""
    return line.partition("=")[0].count(".") + 1


def read_source(name: str, content: bytes) -> tuple[Source, list[Finding]]:
    """Turn a file's bytes into its values and lines, with a finding for each breach of TOML's rules."""
    if len(content) > LONGEST_FILE:
        return _without_values(name, ()), [
            Finding(
                code="unreadable-file",
                message=f"The file has {len(content):,} bytes, far more than a plan.",
                expected=f"a plan file of at most {LONGEST_FILE:,} bytes",
                mend="Check that this is the plan file and not something else.",
            )
        ]
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return _without_values(name, ()), [
            Finding(
                code="unreadable-file",
                message=f"Line {line} holds a byte that is not UTF-8 text.",
                expected="a text file in UTF-8",
                mend="Open the file in a text editor and save it with the encoding UTF-8.",
            )
        ]
    text = text.replace("\r\n", "\n")
    lines = tuple(text.split("\n"))
    if deep := next((number for number, line in enumerate(lines, start=1) if _parts(line) > MOST_PARTS), 0):
        return _without_values(name, lines), [
            Finding(
                code="not-toml",
                message=f"Line {deep} holds a name of more than {MOST_PARTS} parts.",
                expected="headings such as [order.cefazolin], and keys without dots",
                mend="Check that this is the plan file and not something else.",
            )
        ]
    try:
        values = tomllib.loads(text)
    except UNREADABLE as error:
        return _syntax_findings(name, lines, error)
    source = Source(name=name, lines=lines, values=values)
    _map_lines(parser().parse(text.encode()).root_node, source.line_of)
    return source, []


def _without_values(name: str, lines: tuple[str, ...]) -> Source:
    return Source(name=name, lines=lines, values={})


def _syntax_findings(name: str, lines: tuple[str, ...], error: Exception) -> tuple[Source, list[Finding]]:
    """Report the breach, then read on without its line as long as that is a plain one-line key."""
    source = _without_values(name, lines)
    findings: list[Finding] = []
    left = list(lines)
    while True:
        at, what = _breach(error, left)
        place = ("", str(at))
        source.line_of[place] = at
        findings.append(
            Finding(
                code="not-toml",
                message=f"Line {at} does not follow the rules of TOML: {what}.",
                expected='lines such as  key = "text",  key = 12,  key = ["one", "two"]  or  [table]',
                mend=_mend(what, lines[at - 1] if at <= len(lines) else ""),
                places=(place,),
            )
        )
        if at > len(left) or not ONE_LINE_KEY.match(left[at - 1]) or len(findings) == 20:
            return source, findings
        left[at - 1] = ""
        try:
            tomllib.loads("\n".join(left))
        except UNREADABLE as following:
            error = following
        else:
            return source, findings


def _mend(what: str, line: str) -> str:
    """Say how the usual slips are mended."""
    if any(mark in line for mark in "\u201c\u201d\u2018\u2019\u201e"):
        return 'The quotation marks are curly. Type straight ones ("), and switch off smart quotes in the editor.'
    if line.strip().startswith("[") and what.startswith("Cannot declare"):
        return "This heading stands twice; keep one, or give one another name. Journeys need double brackets: [[zone_change]]."
    if what.startswith("Cannot overwrite"):
        return "This key stands twice in its table, or the heading above it is missing. Keep one."
    if line.strip().startswith("["):
        return "A heading is a name in square brackets, such as [line] or [lumen.red]; names have no spaces."
    if re.search(r"=\s*(True|False|TRUE|FALSE|yes|no)\b", line):
        return "Write true or false, in small letters and without quotation marks."
    if line.strip().startswith("//"):
        return "A remark begins with #."
    return (
        "Most often quotation marks or a bracket are missing: every value with letters, a colon or a unit stands in "
        "quotation marks, save true and false."
    )


def _breach(error: Exception, lines: list[str]) -> tuple[int, str]:
    """Return the line of a breach, as far as the error tells it, and what it is."""
    if isinstance(error, RecursionError):
        return 1, "brackets are nested too deeply"
    if not isinstance(error, tomllib.TOMLDecodeError):
        long = next((count for count, line in enumerate(lines, start=1) if ENDLESS_NUMBER.search(line)), 1)
        return long, "a number has too many digits"
    told, _, where = str(error).rpartition(" (at ")
    found = re.match(r"line (\d+), column \d+\)$", where)
    return int(found.group(1)) if found else len(lines), told or str(error)


def _map_lines(root: tree_sitter.Node, line_of: dict[KeyPath, int]) -> None:
    counts: dict[KeyPath, int] = {}
    for node in root.named_children:
        if node.type == "pair":
            _map_pair(node, (), line_of)
        elif node.type in ("table", "table_array_element"):
            head, *pairs = node.named_children
            table = key_parts(head)
            if node.type == "table_array_element":
                counts[table] = counts.get(table, 0) + 1
                table = (*table, str(counts[table]))
            for length in range(1, len(table) + 1):
                line_of.setdefault(table[:length], head.start_point[0] + 1)
            for pair in pairs:
                if pair.type == "pair":
                    _map_pair(pair, table, line_of)


def _map_pair(pair: tree_sitter.Node, table: KeyPath, line_of: dict[KeyPath, int]) -> None:
    parts = [child for child in pair.named_children if child.type != "comment"]
    if len(parts) != 2:  # the grammar stumbled over what tomllib accepts; the table's line must do
        return
    key, value = parts
    path = (*table, *key_parts(key))
    for length in range(len(table) + 1, len(path) + 1):
        line_of.setdefault(path[:length], key.start_point[0] + 1)
    _map_value(value, path, line_of)


def _map_value(value: tree_sitter.Node, path: KeyPath, line_of: dict[KeyPath, int]) -> None:
    if value.type == "inline_table":
        for pair in value.named_children:
            if pair.type == "pair":
                _map_pair(pair, path, line_of)
    elif value.type == "array":
        items = (child for child in value.named_children if child.type != "comment")
        for count, item in enumerate(items, start=1):
            line_of[(*path, str(count))] = item.start_point[0] + 1
            _map_value(item, (*path, str(count)), line_of)


def key_parts(node: tree_sitter.Node) -> KeyPath:
    """Return the parts of a key; of one with far too many, only the first."""
    parts: list[str] = []
    waiting = [node]
    while waiting and len(parts) < MOST_PARTS:
        part = waiting.pop()
        text = (part.text or b"").decode()
        if part.type == "dotted_key":
            waiting += reversed(part.named_children)
        elif part.type == "quoted_key":
            parts += tomllib.loads(f"{text} = 0")
        else:
            parts.append(text)
    return tuple(parts)
