"""The documents say what the code does: keys, commands, modules, figures of the README."""

import io
import json
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest
from babel.messages.extract import extract
from click.testing import CliRunner
from documents import PAGE, ROOT, page

from reminders.cli import COMMANDS, main
from reminders.plan import model
from reminders.views.schedule_json import DOCUMENT_KEYS, EVENT_KEYS, TASK_KEYS

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_page_about_the_keys_is_what_the_code_says() -> None:
    """`python tests/documents.py` rewrites it."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_key_of_every_table_is_on_the_page() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for name, cls in model.TABLES.items():
        section = text.split(f"### `[{'[' if name in model.LISTED_TABLES else ''}{name}", 1)[1].split("\n##", 1)[0]
        for item in fields(cls):
            if "form" in item.metadata:
                assert f"| `{item.name}` |" in section


def test_the_json_has_exactly_the_documented_keys(tmp_path: Path) -> None:
    sample = ROOT / "sample_plans" / "weekly-delivery.toml"
    done = CliRunner().invoke(main, ["compile", str(sample), "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    document = json.loads((tmp_path / "weekly-delivery.json").read_bytes())
    assert document["tasks"]
    assert all(list(row) == list(TASK_KEYS) for row in document["tasks"])
    assert list(document) == list(DOCUMENT_KEYS)
    assert all(list(event) == list(EVENT_KEYS) for event in document["events"])


def _line_with(text: str, needle: str) -> str:
    blocks = re.findall(r"```sh\n(.*?)```", text, re.S)
    (found,) = [line for block in blocks for line in str(block).splitlines() if needle in line]
    return found


def test_the_readme_has_one_command_for_a_sample_and_one_for_the_tests() -> None:
    assert "reminders compile sample_plans/" in _line_with(README, "reminders compile")
    assert _line_with(README, "pytest").startswith("python3 -m venv")


def test_the_readme_begins_with_the_job_in_one_paragraph() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# reminders"
    for word in ("nurse", "infusion", "lumen", "flush", "calendar"):
        assert word in paragraph


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_is_in_the_readme_and_has_help(command: str) -> None:
    assert f"reminders {command}" in README
    shown = CliRunner().invoke(main, [command, "--help"])
    assert shown.exit_code == 0
    assert len(shown.output.splitlines()) > 5


def test_the_readme_shows_the_real_agenda_of_its_sample() -> None:
    """What the README prints after its agenda command is what the command prints."""
    command, shown = re.findall(r"```text\n\$ (reminders agenda [^\n]*)\n(.*?)```", README, re.S)[0]
    done = subprocess.run(
        [sys.executable, "-m", *command.split()], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stdout.startswith(shown.rstrip().removesuffix("...").rstrip())


def test_the_readme_shows_a_real_report_and_its_answer(tmp_path: Path) -> None:
    """What the README prints after its report is what the program answers, on a copy of that sample."""
    said, shown = re.findall(r"```text\n\$ reminders record ([^\n]*)\n(.*?)\.\.\.\n```", README, re.S)[0]
    name, *words = said.split()
    plan = tmp_path / name
    plan.write_bytes((ROOT / "sample_plans" / name).read_bytes())
    for moment, what in (("07 21:25", ["flushed", "21:20"]), ("08 08:30", words)):
        done = CliRunner().invoke(main, ["record", str(plan), *what, "--now", f"2026-09-{moment}-05:00"])
        assert done.exit_code == 0, done.output
    assert done.output == shown


def test_the_readme_shows_a_real_finding() -> None:
    """The finding that the README prints is what `check` says of the plan that it names."""
    (shown,) = re.findall(r"```text\n(ERROR .*?)\n```", README, re.S)
    done = CliRunner().invoke(main, ["check", str(ROOT / "sample_plans" / "broken" / "conflicting-orders.toml")])
    assert done.exit_code == 1
    assert shown in done.output


def test_the_words_of_the_household_can_be_extracted_into_a_catalogue() -> None:
    """Babel, which knows nothing of the project, finds them; each keeps its places for values by name."""
    source = ROOT / "reminders" / "words.py"
    found = [message for _, message, _, _ in extract("python", io.BytesIO(source.read_bytes()))]
    assert len(found) > 60
    assert "it will not flush (never force it)" in " ".join(map(str, found))
    for message in found:
        assert not re.search(r"{\W|{}", str(message))


def test_every_module_has_one_line_in_the_developers_guide() -> None:
    modules = [path.relative_to(ROOT).as_posix() for path in (ROOT / "reminders").rglob("*.py")]
    for module in modules:
        if not module.endswith("__init__.py"):
            lines = [line for line in DEVELOPERS.splitlines() if f"`{module}`" in line and line.startswith("|")]
            assert len(lines) == 1, module


def test_the_top_level_is_what_was_agreed() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    if not tracked:
        pytest.skip("not run: git is not installed, or this is no checkout")
    top = {line.split("/")[0] for line in tracked.splitlines() if not line.startswith(".")}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "reminders", "tests", "sample_plans"}
