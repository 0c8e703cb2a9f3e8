"""Where everything stands in a TOML text, and the text with one thing put in, changed or taken out.

All else stays as it is, byte for byte: comments, blank lines, the way in which values are written. The tree-sitter grammar
tells the places, tomlkit writes the values, and whoever calls compares what the new text says with what it should say.
"""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

import tomlkit
import tomlkit.exceptions
import tree_sitter

from reminders.findings import KeyPath
from reminders.plan.source import key_parts, parser

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
LONGEST_LINE = 110


class LayoutError(ValueError):
    """The text has no place for what is to be put in, or not one that can be changed by itself."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a heading or key: what it leads to, and the bytes in which it is written."""

    path: KeyPath
    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Pair:
    """One line ``key = value``, or several lines where the value has them; places are bytes, lines counted from 0."""

    path: KeyPath
    value_begin: int
    value_end: int
    first_line: int
    last_line: int


@dataclass(slots=True)
class Block:
    """A heading with its pairs, or the pairs before the first heading (``heading`` -1)."""

    path: KeyPath
    heading: int
    pairs: list[Pair] = field(default_factory=list)

    @property
    def last_line(self) -> int:
        """Return the last line that belongs to it for certain: the heading, or the end of its last pair."""
        return max([self.heading, *(pair.last_line for pair in self.pairs)])


class Layout:
    """The places in one text, which has no carriage returns."""

    def __init__(self, text: str) -> None:
        """Find the places in a text of TOML; what the grammar stumbles over has none."""
        self.content = text.encode()
        self.lines = text.split("\n")
        self.parts: list[Part] = []
        self.blocks = [Block((), -1)]
        counts: dict[KeyPath, int] = {}
        for node in parser().parse(self.content).root_node.named_children:
            if node.type == "pair":
                self._pair(node, self.blocks[0])
            elif node.type in ("table", "table_array_element"):
                self._block(node, counts)

    def _block(self, node: tree_sitter.Node, counts: dict[KeyPath, int]) -> None:
        head, *pairs = node.named_children
        table = key_parts(head)
        self._note_parts(head, ())
        if node.type == "table_array_element":
            counts[table] = counts.get(table, 0) + 1
            table = (*table, str(counts[table]))
        block = Block(table, node.start_point[0])
        self.blocks.append(block)
        for pair in pairs:
            if pair.type == "pair":
                self._pair(pair, block)

    def _pair(self, node: tree_sitter.Node, block: Block) -> None:
        written = [child for child in node.named_children if child.type != "comment"]
        if len(written) != 2:
            return
        key, value = written
        self._note_parts(key, block.path)
        path = (*block.path, *key_parts(key))
        block.pairs.append(Pair(path, value.start_byte, value.end_byte, node.start_point[0], value.end_point[0]))

    def _note_parts(self, node: tree_sitter.Node, before: KeyPath) -> None:
        leaves = [node]
        while any(leaf.type == "dotted_key" for leaf in leaves):
            leaves = [
                inner for leaf in leaves for inner in (leaf.named_children if leaf.type == "dotted_key" else [leaf])
            ]
        names = key_parts(node)
        for count, leaf in enumerate(leaves[: len(names)], start=1):
            self.parts.append(Part((*before, *names[:count]), leaf.start_byte, leaf.end_byte))

    # -- looking

    def pair(self, path: KeyPath) -> Pair | None:
        """Return the pair that states exactly this key."""
        return next((pair for block in self.blocks for pair in block.pairs if pair.path == path), None)

    def around(self, path: KeyPath) -> Pair | None:
        """Return the pair whose value, an inline table or a list, holds a key."""
        return next(
            (pair for block in self.blocks for pair in block.pairs if len(pair.path) < len(path)
             and path[: len(pair.path)] == pair.path), None
        )  # fmt: skip

    def block(self, path: KeyPath) -> Block | None:
        """Return the block with this heading."""
        return next((block for block in self.blocks if block.path == path and block.heading >= 0), None)

    def blocks_of(self, table: str) -> list[Block]:
        """Return the blocks of one of the plan's tables, whatever their names."""
        return [block for block in self.blocks if block.path[:1] == (table,)]

    def begins(self, block: Block) -> int:
        """Return the line at which a block begins: its heading, or the first of the remarks right above it."""
        line = block.heading
        while line > 0 and self.lines[line - 1].lstrip().startswith("#"):
            line -= 1
        return line

    # -- changing; each returns the new text

    def with_value(self, pair: Pair, raw: Any) -> str:
        """Give a pair another value; the entries of a list that stay keep their remarks."""
        old = self.content[pair.value_begin : pair.value_end].decode()
        return self._spliced(pair.value_begin, pair.value_end, _rewritten(old, raw))

    def with_inner(self, pair: Pair, path: KeyPath, raw: Any) -> str:
        """Change a key inside the inline table, or list of them, that a pair states; None takes it out."""
        old = self.content[pair.value_begin : pair.value_end].decode()
        document = tomlkit.parse(f"v = {old}\n")
        inner: Any = document["v"]
        *way, last = path[len(pair.path) :]
        try:
            for step in way:
                inner = inner[int(step) - 1] if isinstance(inner, list) else inner[step]
            if raw is None:
                del inner[int(last) - 1 if isinstance(inner, list) else last]
            else:
                inner[last] = raw
        except (KeyError, IndexError, ValueError, TypeError, tomlkit.exceptions.TOMLKitError) as error:
            raise LayoutError from error
        written = tomlkit.dumps(document).removeprefix("v = ").removesuffix("\n")
        return self._spliced(pair.value_begin, pair.value_end, written)

    def with_pair(self, block: Block, key: str, raw: Any, before: tuple[str, ...]) -> str:
        """Put a new pair into a block, after the last of the keys ``before`` that stands there."""
        depth = len(block.path)
        line = max([block.heading, *(pair.last_line for pair in block.pairs if pair.path[depth] in before)])
        return self._with_lines(line + 1, [f"{written_key(key)} = {written_value(raw)}"])

    def with_items(self, path: KeyPath, raw: Mapping[str, Any]) -> str:
        """Give a heading that holds nothing but items other ones; the lines of those that stay are kept."""
        layout, text = self, "\n".join(self.lines)
        block = self.block(path)
        names = [pair.path[-1] for pair in block.pairs] if block else []
        for name in dict.fromkeys([*names, *raw]):
            block, pair = layout.block(path), layout.pair((*path, name))
            if block is None:
                raise LayoutError
            if pair is None:
                text = layout.with_pair(block, name, raw[name], tuple(names))
                names.append(name)
            else:
                text = layout.with_value(pair, raw[name]) if name in raw else layout.without_pair(pair)
            layout = Layout(text)
        return text

    def without_pair(self, pair: Pair) -> str:
        """Take a pair out, with the remark at its end; remarks on lines of their own stay."""
        return "\n".join(self.lines[: pair.first_line] + self.lines[pair.last_line + 1 :])

    def with_block(self, path: KeyPath, remark: str, order: tuple[str, ...], *, listed: bool = False) -> str:
        """Put in a new heading: after the last of its kind, or where ``order`` (of tables) puts it, under a remark."""
        table = path[0]
        heading = ".".join(written_key(part) for part in path)
        new = [f"[[{heading}]]" if listed else f"[{heading}]"]
        own = self.blocks_of(table)
        if not own and remark:
            new.insert(0, f"# {remark}")
        after = self.blocks.index(own[-1]) + 1 if own else self._place_of(table, order)
        if after < len(self.blocks):
            at = self.begins(self.blocks[after])
            apart = [""] if at and self.lines[at - 1].strip() else []
            return self._with_lines(at, [*apart, *new, ""])
        end = len(self.lines)
        while end and not self.lines[end - 1].strip():
            end -= 1
        return "\n".join([*self.lines[:end], *([""] if end else []), *new, ""])

    def _place_of(self, table: str, order: tuple[str, ...]) -> int:
        """Return before which block a table of a new kind comes."""
        rank = order.index(table)
        later = (
            count
            for count, block in enumerate(self.blocks)
            if block.heading >= 0 and block.path[0] in order and order.index(block.path[0]) > rank
        )
        return next(later, len(self.blocks))

    def without_block(self, path: KeyPath, remark: str) -> str:
        """Take out a heading with all that stands under it; ``remark`` goes too if it was above the only one left."""
        doomed = [block for block in self.blocks if block.heading >= 0 and block.path[: len(path)] == path]
        if not doomed:
            raise LayoutError
        lines: list[str | None] = list(self.lines)
        for block in doomed:
            after = self.blocks.index(block) + 1
            end = self.begins(self.blocks[after]) if after < len(self.blocks) else len(lines)
            lines[block.heading : end] = [None] * (end - block.heading)
        first = doomed[0].heading
        alone = len(doomed) == len(self.blocks_of(path[0]))
        if alone and remark and first > 0 and self.lines[first - 1] == f"# {remark}":
            lines[first - 1] = None
        left = "\n".join(line for line in lines if line is not None)
        return left if left.endswith("\n") or not left else left + "\n"

    def renamed(self, path: KeyPath, name: str) -> str:
        """Give what stands at ``path`` another last part, in every heading and key that names it."""
        content = self.content
        for part in sorted((part for part in self.parts if part.path == path), key=lambda part: -part.begin):
            content = content[: part.begin] + written_key(name).encode() + content[part.end :]
        return content.decode()

    def _spliced(self, begin: int, end: int, written: str) -> str:
        return (self.content[:begin] + written.encode() + self.content[end:]).decode()

    def _with_lines(self, at: int, new: list[str]) -> str:
        lines = [*self.lines[:at], *new, *self.lines[at:]]
        if at >= len(self.lines):
            lines.append("")
        return "\n".join(lines)


def written_key(name: str) -> str:
    """Write one part of a key, in quotation marks where TOML wants them."""
    return name if BARE_KEY.fullmatch(name) else written_value(name)


def written_value(raw: Any) -> str:
    """Write a value as the samples do: strings in double quotation marks, blanks inside the braces of a table."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, str):
        return _string(raw)
    if isinstance(raw, datetime | date | time):
        return raw.isoformat()
    if isinstance(raw, Mapping):
        inner = ", ".join(f"{_string(name)} = {written_value(value)}" for name, value in raw.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(raw, list):
        items = [written_value(item) for item in raw]
        line = f"[{', '.join(items)}]"
        return line if len(line) <= LONGEST_LINE else "[\n" + "".join(f"    {item},\n" for item in items) + "]"
    return str(raw)


def _string(text: str) -> str:
    written: str = tomlkit.string(text).as_string()
    return written


def _rewritten(old: str, raw: Any) -> str:
    """Write a value in the place of another; in a list of several lines the entries that stay keep their lines."""
    if not isinstance(raw, list) or "\n" not in old or not raw:
        return written_value(raw)
    document = tomlkit.parse(f"v = {old}\n")
    array: Any = document["v"]
    if not isinstance(array, list):
        return written_value(raw)
    before, after = [written_value(item) for item in array], [written_value(item) for item in raw]
    for kind, first, last, begin, end in reversed(difflib.SequenceMatcher(None, before, after).get_opcodes()):
        if kind == "equal":
            continue
        for _count in range(first, last):
            array.pop(first)
        for item in reversed(raw[begin:end]):
            array.insert(first, item)
    return tomlkit.dumps(document).removeprefix("v = ").removesuffix("\n")
