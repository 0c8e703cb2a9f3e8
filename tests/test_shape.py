"""The shape of the code: which way imports go, what is pure, how long a module may be."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "reminders"
MODULES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path
    for path in PACKAGE.rglob("*.py")
    if path.name != "__init__.py"
}

LAYERS = [
    {"reminders.zones", "reminders.findings", "reminders.unit_slips", "reminders.popups.popup"},
    {"reminders.units"},
    {"reminders.times", "reminders.popups.texts"},
    {"reminders.record.facts"},
    {"reminders.record.lines", "reminders.record.published"},
    {"reminders.plan.forms"},
    {"reminders.plan.key_times"},
    {"reminders.plan.keys", "reminders.plan.source"},
    {
        "reminders.plan.order",
        "reminders.plan.protocol",
        "reminders.plan.idle_limit",
        "reminders.plan.pop_ups",
        "reminders.plan.care",
    },
    {"reminders.plan.model", "reminders.plan.durations"},
    {
        "reminders.plan.read_back",
        "reminders.plan.pharmacist",
        "reminders.plan.infusion_checks",
        "reminders.plan.items",
    },
    {
        "reminders.plan.stock_checks",
        "reminders.plan.order_checks",
        "reminders.plan.care_checks",
        "reminders.plan.people_checks",
    },
    {"reminders.plan.checks"},
    {"reminders.plan.read"},
    {"reminders.schedule.model", "reminders.schedule.identity"},
    {
        "reminders.schedule.doses",
        "reminders.schedule.steps",
        "reminders.schedule.limits",
        "reminders.schedule.status",
        "reminders.schedule.care_rules",
        "reminders.schedule.care_tied",
        "reminders.schedule.in_force",
    },
    {"reminders.schedule.happened", "reminders.schedule.care"},
    {"reminders.schedule.draws"},
    {
        "reminders.schedule.touches",
        "reminders.schedule.counts",
        "reminders.schedule.whole_line",
        "reminders.schedule.beliefs",
        "reminders.schedule.placing",
    },
    {
        "reminders.schedule.bags",
        "reminders.schedule.stock",
        "reminders.schedule.actual",
        "reminders.schedule.asks",
        "reminders.schedule.answers",
        "reminders.schedule.sweep",
    },
    {"reminders.schedule.ahead", "reminders.schedule.lumen_now", "reminders.schedule.care_now"},
    {"reminders.schedule.idle"},
    {
        "reminders.schedule.offers",
        "reminders.schedule.reasons",
        "reminders.schedule.terms",
        "reminders.schedule.idle_touches",
    },
    {"reminders.schedule.lumens"},
    {
        "reminders.schedule.compile",
        "reminders.schedule.order_review",
        "reminders.schedule.plain",
        "reminders.schedule.figures",
    },
    {"reminders.schedule.care_review", "reminders.schedule.revision_review"},
    {"reminders.schedule.review"},
    {"reminders.schedule.relief"},
    {"reminders.words"},
    {"reminders.step_words", "reminders.care_words"},
    {
        "reminders.read_back_words",
        "reminders.event_words",
        "reminders.stock_words",
        "reminders.fact_words",
        "reminders.feed_words",
        "reminders.views.waiting_words",
        "reminders.popups.fault_words",
        "reminders.saying.when",
        "reminders.saying.task_names",
        "reminders.reminding.quiet",
    },
    {"reminders.reminding.matters"},
    {"reminders.reminding.care"},
    {"reminders.saying.phrases", "reminders.reminding.moments", "reminders.reminding.orders"},
    {"reminders.saying.which", "reminders.saying.advice", "reminders.saying.care_answer", "reminders.reminding.decide"},
    {
        "reminders.saying.done",
        "reminders.saying.care",
        "reminders.saying.household",
        "reminders.saying.answer",
        "reminders.reminding.wording",
    },
    {"reminders.saying.report", "reminders.reminding.outlook"},
    {
        "reminders.views.waiting",
        "reminders.views.event_bytes",
        "reminders.views.kept_current",
        "reminders.views.stock_text",
    },
    {
        "reminders.views.calendar",
        "reminders.views.agenda",
        "reminders.views.summary",
        "reminders.views.schedule_json",
        "reminders.views.findings_text",
        "reminders.views.idle_times",
        "reminders.views.history_orders",
        "reminders.views.history_tasks",
        "reminders.views.key_words",
        "reminders.views.event_changes",
        "reminders.views.due",
        "reminders.views.told",
        "reminders.views.timeline_lanes",
        "reminders.views.timeline_clock",
    },
    {
        "reminders.views.history",
        "reminders.views.plan_changes",
        "reminders.views.timeline_care",
        "reminders.views.timeline_shapes",
    },
    {"reminders.views.compare"},
    {
        "reminders.views.history_text",
        "reminders.views.history_files",
        "reminders.views.timeline_legend",
        "reminders.views.timeline_frame",
    },
    {"reminders.views.timeline"},
    {"reminders.sheet.letters"},
    {"reminders.sheet.pen"},
    {"reminders.sheet.flow", "reminders.sheet.pictures", "reminders.sheet.marks", "reminders.sheet.week"},
    {"reminders.sheet.recipes"},
    {"reminders.sheet.content", "reminders.sheet.drawing"},
    {"reminders.sheet.front", "reminders.sheet.sections"},
    {"reminders.sheet.pdf"},
    {"reminders.mailing.unpacking"},
    {"reminders.mailing.letter", "reminders.mailing.contents", "reminders.mailing.fitting"},
    {"reminders.mailing.forms"},
    {"reminders.mailing.message"},
    {"reminders.examine"},
    {"reminders.drafting.layout", "reminders.drafting.labels"},
    {"reminders.drafting.entries"},
    {"reminders.drafting.draft"},
    {"reminders.drafting.groups"},
    {"reminders.drafting.look", "reminders.drafting.shapes", "reminders.drafting.provider"},
    {"reminders.drafting.wording"},
    # From here on: files, clock, network, screen.
    {"reminders.files", "reminders.mailing.sending"},
    {"reminders.record.store", "reminders.places"},
    {"reminders.household", "reminders.phones"},
    {"reminders.publishing", "reminders.phone_words", "reminders.earlier"},
    {"reminders.reporting", "reminders.feed_file", "reminders.adopting", "reminders.receiving"},
    {
        "reminders.popups.terminal",
        "reminders.popups.session_bus",
        "reminders.popups.mac_script",
        "reminders.popups.windows_tray",
    },
    {"reminders.popups.helper", "reminders.popups.show"},
    {
        "reminders.daemon.alarm",
        "reminders.daemon.journal",
        "reminders.daemon.keeper",
        "reminders.daemon.life",
        "reminders.daemon.log",
        "reminders.daemon.once",
    },
    {"reminders.daemon.desk", "reminders.daemon.ticker"},
    {"reminders.web.limits", "reminders.web.serving"},
    {"reminders.web.guard"},
    {"reminders.web.feed", "reminders.web.once", "reminders.web.page_words", "reminders.web.page_times"},
    {"reminders.web.server", "reminders.web.page_forms"},
    {"reminders.web.page_frame"},
    {"reminders.web.page_actions", "reminders.web.page_phones", "reminders.web.page_stops"},
    {"reminders.web.page_cards", "reminders.web.page_say", "reminders.web.page_days"},
    {"reminders.web.page_supplies", "reminders.web.page_care"},
    {"reminders.web.page_now", "reminders.web.page_report", "reminders.web.page_event"},
    {"reminders.web.page_live"},
    {"reminders.web.page"},
    {"reminders.web.write_form", "reminders.web.write_keep"},
    {"reminders.web.write_desk", "reminders.web.write_findings"},
    {"reminders.web.write_fields", "reminders.web.write_add", "reminders.web.write_frame"},
    {"reminders.web.write_panel"},
    {"reminders.web.write_finish"},
    {"reminders.web.write_page"},
    {"reminders.web.write_server"},
    {"reminders.daemon.run"},
    {"reminders.at_login.common"},
    {"reminders.at_login.options"},
    {
        "reminders.at_login.systemd",
        "reminders.at_login.autostart",
        "reminders.at_login.launchd",
        "reminders.at_login.windows",
    },
    {"reminders.at_login.ways"},
    {"reminders.commands.asking"},
    {"reminders.commands.write_questions"},
    {"reminders.commands.write_session"},
    {"reminders.commands.shared"},
    {"reminders.commands.in_use"},
    {
        "reminders.commands.writing",
        "reminders.commands.planning",
        "reminders.commands.recording",
        "reminders.commands.places",
        "reminders.commands.packet",
        "reminders.commands.receiving",
        "reminders.commands.phones",
        "reminders.commands.popups",
        "reminders.commands.daemon",
        "reminders.commands.at_login",
    },
    {"reminders.cli"},
    {"reminders.__main__"},
]
"""A module may import from the layers above its own in this list, and from nothing else of the package."""

FILES = next(index for index, layer in enumerate(LAYERS) if "reminders.files" in layer)
PURE = {name for layer in LAYERS[:FILES] for name in layer}
"""Everything before the first module that opens a file: no clock, file, socket or printing. The zone rules are read from
the tzdata package, which is as constant as the code."""

FORBIDDEN_CALLS = {
    "now",
    "today",
    "utcnow",
    "print",
    "input",
    "open",
    "write_text",
    "write_bytes",
    "read_bytes",
    "getenv",
}
FORBIDDEN_IMPORTS = {"os", "sys", "socket", "pathlib", "tempfile", "subprocess", "random", "logging"}


def _imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_every_module_has_its_layer() -> None:
    listed = [name for layer in LAYERS for name in layer]
    assert sorted(listed) == sorted(MODULES)


@pytest.mark.parametrize("module", sorted(MODULES))
def test_imports_go_one_way(module: str) -> None:
    level = next(index for index, layer in enumerate(LAYERS) if module in layer)
    allowed = {name for layer in LAYERS[:level] for name in layer}
    used = {name for name in _imports(MODULES[module]) if name in MODULES}
    assert used <= allowed


@pytest.mark.parametrize("module", sorted(PURE))
def test_pure_modules_touch_no_clock_file_or_screen(module: str) -> None:
    tree = ast.parse(MODULES[module].read_text(encoding="utf-8"))
    calls = {
        node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    }
    allowed = {"open"} if module == "reminders.zones" else set()
    assert not (calls & FORBIDDEN_CALLS) - allowed
    assert not {name.split(".")[0] for name in _imports(MODULES[module])} & FORBIDDEN_IMPORTS


@pytest.mark.parametrize("module", sorted(MODULES))
def test_no_module_is_longer_than_can_be_read_at_once(module: str) -> None:
    assert len(MODULES[module].read_text(encoding="utf-8").splitlines()) <= 450


@pytest.mark.parametrize("module", sorted(MODULES))
def test_every_public_name_has_a_docstring(module: str) -> None:
    tree = ast.parse(MODULES[module].read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{module}.{node.name}"
