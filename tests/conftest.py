"""What every test run shares."""

import os

import pytest
from hypothesis import HealthCheck, settings

# In CI the examples are the same every time, so that a red run is about the change; anywhere else they vary.
settings.register_profile(
    "ours",
    deadline=None,
    derandomize="CI" in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.load_profile("ours")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail a CI run in which a test was skipped, so that nothing is left out in silence."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        reporter.write_line("A test was skipped; in CI that fails the run.")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
