"""What all tests share: the sample plans, compiled once, and a list of what could not be run."""

import uuid
from collections import Counter
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

import pytest
from hypothesis import settings
from readers.readers import libical_program
from readers.samples import CARED_FOR, SAMPLE_PLANS, Sample, sample
from small_plans import SAMPLES

import reminders
from reminders.record.store import record_path

NOT_RUN = "not run: "

# The same made-up examples on every machine: what fails, fails for whoever looks. --hypothesis-seed=N makes up others.
settings.register_profile("repeatable", derandomize=True, database=None, deadline=None)
settings.load_profile("repeatable")


@pytest.fixture(name="sample", params=[*SAMPLE_PLANS, None], ids=lambda path: path.stem if path else "care-tasks")
def each_sample(request: pytest.FixtureRequest) -> Sample:
    """Give a test every sample plan in turn, and the tests' own that has care tasks of every sort."""
    path: Path | None = request.param
    return CARED_FOR if path is None else sample(path)


@pytest.fixture(scope="session")
def libical(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a test the driver for libical, compiled once."""
    return libical_program(tmp_path_factory.mktemp("libical"))


def pytest_collection_finish() -> None:
    """Load the whole package first: what Hypothesis makes up depends on the modules that are loaded by then."""
    for module in walk_packages(reminders.__path__, "reminders."):
        if not module.name.endswith("__main__"):
            import_module(module.name)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """List the judges that were missing and how many tests waited for each: not run is not the same as passed."""
    missing: Counter[str] = Counter()
    for report in terminalreporter.stats.get("skipped", []):
        reason = str(report.longrepr[2]) if isinstance(report.longrepr, tuple) else str(report.longrepr)
        reason = reason.removeprefix("Skipped: ")
        if reason.startswith(NOT_RUN):
            missing[reason.removeprefix(NOT_RUN)] += 1
    if missing:
        terminalreporter.section("not run")
        for reason, tests in sorted(missing.items()):
            terminalreporter.write_line(f"{tests} tests: {reason}")


@pytest.fixture(autouse=True)
def _records_of_samples_apart(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep what a test records of a sample plan out of the project's folder, and out of other tests."""
    folder: list[Path] = []

    def apart(plan_file: Path, plan_id: uuid.UUID) -> Path:
        if plan_file.resolve().parent != SAMPLES:
            return record_path(plan_file, plan_id)
        folder[:] = folder or [tmp_path_factory.mktemp("records")]
        return record_path(folder[0] / plan_file.name, plan_id)

    monkeypatch.setattr("reminders.household.record_path", apart)
