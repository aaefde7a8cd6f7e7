"""What every test run shares."""

import os
from collections.abc import Iterator, Sequence

import pytest
from django.conf import settings as django_settings
from django.db import connection
from django.db.backends.base.operations import BaseDatabaseOperations
from hypothesis import HealthCheck, settings
from pytest_django.plugin import DjangoDbBlocker
from snapshots import forget

from inventory.migrations import _append_only as append_only

pytest_plugins = ["chromium"]

# In CI the examples are the same every time, so that a red run is about the change; anywhere else they vary.
settings.register_profile(
    "ours",
    deadline=None,
    derandomize="CI" in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.load_profile("ours")

APPEND_ONLY = (
    "inventory_action", "inventory_movement", "kitting_bagentry", "kitting_event", "kitting_jobreadiness",
    "kitting_printing", "kitting_retired", "kitting_rulerevision",
)  # fmt: skip
DATABASE_FIXTURES = {"db", "transactional_db", "live_server"}


def pytest_configure() -> None:
    """Do what takes long in the request that asks for it; the worker has tests of its own. Digest passwords fast."""
    django_settings.ERRANDS_AT_ONCE = True
    django_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # slow by intent else


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what uses the records, so that ``-m database`` runs that and nothing else."""
    for item in items:
        if item.get_closest_marker("django_db") or DATABASE_FIXTURES & set(getattr(item, "fixturenames", ())):
            item.add_marker("database")


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings: None,  # noqa: ARG001  # first the number that tells workers apart on one server
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Keep SQLite's records in a file of this run and worker: threads and processes can't share those in memory."""
    if connection.vendor == "sqlite":
        connection.settings_dict["TEST"]["NAME"] = str(tmp_path_factory.mktemp("books") / "kitting.sqlite3")


@pytest.fixture(scope="session")
def copies_of_books(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:  # noqa: ARG001
    """Leave no copies of books on a server when the tests are done."""
    yield
    with django_db_blocker.unblock():
        forget()


@pytest.fixture(scope="session", autouse=True)
def emptied_between_tests() -> Iterator[None]:
    """Let the books be emptied after a test that commits; else nothing may empty an append-only table."""
    empty = BaseDatabaseOperations.execute_sql_flush

    def lift_empty_and_lay(operations: BaseDatabaseOperations, statements: Sequence[str]) -> None:
        vendor = connection.vendor
        lift = [one for table in APPEND_ONLY for one in append_only.lifting(vendor, table)]
        lay = [one for table in APPEND_ONLY for one in append_only.laying(vendor, table)]
        empty(operations, [*lift, *statements, *lay])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BaseDatabaseOperations, "execute_sql_flush", lift_empty_and_lay)
        yield


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail a CI run in which a test was skipped, so that nothing is left out in silence."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        reporter.write_line("A test was skipped; in CI that fails the run.")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
