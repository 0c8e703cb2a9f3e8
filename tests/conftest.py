"""What all tests share: the sample plans, compiled once, and a list of what could not be run."""

from collections import Counter
from pathlib import Path

import pytest
from readers.readers import libical_program
from readers.samples import SAMPLE_PLANS, Sample, sample

NOT_RUN = "not run: "


@pytest.fixture(name="sample", params=SAMPLE_PLANS, ids=lambda path: path.stem)
def each_sample(request: pytest.FixtureRequest) -> Sample:
    """Give a test every sample plan in turn."""
    path: Path = request.param
    return sample(path)


@pytest.fixture(scope="session")
def libical(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a test the driver for libical, compiled once."""
    return libical_program(tmp_path_factory.mktemp("libical"))


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
