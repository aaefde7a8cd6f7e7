"""The house rules: what may know what, what stands where, and what is never written."""

import csv
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "pyproject.toml",
    "kitting",
    "inventory",
    "jobs",
    "tests",
    "fixtures_demo",
}
LONGEST_MODULE = 450
FORBIDDEN = re.compile(
    "|".join(
        (
            "seed" + " document",
            "tran" + "script",
            "/(?:work|root|farm|home)" + "/",
            "python" + "hosted",
            "npm" + "js",
            "pypi" + r"\.org",
        )
    ),
    re.IGNORECASE,
)


def our_files(*patterns: str) -> list[Path]:
    """Files that git holds or would take: a new file is checked before it is committed."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "--", *patterns],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split("\n")
    return [ROOT / name for name in listed if name and (ROOT / name).is_file()]


def run_tool(*words: str) -> str:
    done = subprocess.run([sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False)
    return "" if done.returncode == 0 else done.stdout + done.stderr


def test_every_import_goes_the_agreed_way() -> None:
    assert run_tool("importlinter.cli", "lint") == ""


def test_the_linter_has_nothing_to_say() -> None:
    assert run_tool("ruff", "check", ".") == ""
    assert run_tool("ruff", "format", "--check", ".") == ""


def test_every_type_holds() -> None:
    assert run_tool("mypy") == ""


def test_the_top_level_holds_only_the_agreed_entries() -> None:
    found = {path.relative_to(ROOT).parts[0] for path in our_files()}
    assert {name for name in found if not name.startswith(".")} == TOP_LEVEL


def test_no_module_is_too_long_to_read() -> None:
    lengths = {path: path.read_text(encoding="utf-8").count("\n") for path in our_files("*.py")}
    assert {path.name: lines for path, lines in lengths.items() if lines > LONGEST_MODULE} == {}


def test_every_row_of_every_table_names_its_source() -> None:
    tables = our_files("kitting/**/*.csv", "tests/calculation/published_values/*.csv")
    assert tables
    silent = []
    for path in tables:
        with path.open(encoding="utf-8", newline="") as lines:
            rows = enumerate(csv.DictReader(lines), 2)
            silent += [f"{path.name}:{row}" for row, cells in rows if not cells["source"]]
    assert silent == []


def test_whatever_changes_the_records_is_begun_again_where_the_database_gave_it_up() -> None:
    """A service is a use case, not a bare transaction; an errand that is taken up and a restored backup are neither."""
    services = our_files("kitting/services/*.py", "inventory/services/*.py", "jobs/services/*.py")
    bare = {path.name for path in services if "transaction.atomic" in path.read_text(encoding="utf-8")}
    assert bare == {"actions.py", "ask_errands.py", "backup_books.py"}


def test_no_file_names_a_machine_or_a_registry() -> None:
    text_files = [path for path in our_files() if path.suffix not in {".xlsx", ".png"}]
    named = {path.name: FORBIDDEN.findall(path.read_text(encoding="utf-8")) for path in text_files}
    assert {name: words for name, words in named.items() if words} == {}


@pytest.mark.parametrize("package", ["kitting", "inventory", "jobs"])
def test_every_folder_with_modules_is_a_package(package: str) -> None:
    folders = {path.parent for path in our_files(f"{package}/*.py", f"{package}/**/*.py")}
    assert [folder for folder in folders if not (folder / "__init__.py").exists()] == []
