"""A PostgreSQL server for one command, in a folder of its own and gone with it.

``python tests/support/postgres.py COMMAND …`` runs COMMAND with ``DATABASE_URL`` naming the server.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

INSTALLED = Path("/usr/lib/postgresql")  # where Debian keeps the server, one folder a version
USER = "postgres"
MEMORY, ROOM = Path("/dev/shm"), 2 << 30  # files that never touch a disk, where there are two gibibytes for them
# What keeps records safe when a machine fails costs time, and these records need not outlive it.
SETTINGS = {
    "listen_addresses": "''", "fsync": "off", "synchronous_commit": "off", "full_page_writes": "off",
    "wal_level": "minimal", "max_wal_senders": "0", "autovacuum": "off", "jit": "off", "shared_buffers": "256MB",
}  # fmt: skip


def newest_programs() -> Path:
    """The folder with the newest installed server's programs."""
    found = sorted(INSTALLED.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if not found:
        raise SystemExit("No PostgreSQL server is installed: apt-get install postgresql")
    return found[-1].parent


def in_memory() -> Path | None:
    """A folder in memory that is large enough; None where there is none."""
    return MEMORY if MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ROOM else None


@contextmanager
def throw_away_server() -> Iterator[str]:
    """The URL of a server that answers on a socket in its own folder, so on no port, while the block lasts.

    It refuses to run as root, so root hands it to Debian's user for it. Nothing it holds has to outlive the machine.
    """
    programs, is_root = newest_programs(), os.geteuid() == 0
    with tempfile.TemporaryDirectory(prefix="books-", dir=in_memory()) as folder:
        data, log = Path(folder, "data"), Path(folder, "log")

        def run(program: str, *words: str) -> None:
            user = {"user": USER, "group": USER, "extra_groups": ()} if is_root else {}
            command = [programs / program, "-D", data, *words]
            done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, **user)
            if done.returncode:
                said = log.read_text(encoding="utf-8") if log.exists() else ""
                raise SystemExit(f"{program} failed\n{done.stdout}{done.stderr}{said}")

        if is_root:
            shutil.chown(folder, USER, USER)
        run("initdb", "--no-sync", "--auth=trust", f"--username={USER}", "--encoding=UTF8", "--locale=C.UTF-8")
        settings = {**SETTINGS, "unix_socket_directories": f"'{folder}'"}
        options = " ".join(f"-c {name}={value}" for name, value in settings.items())
        run("pg_ctl", "start", "--wait", f"--log={log}", "-o", options)
        try:
            yield f"postgres://{USER}@{quote(folder, safe='')}/{USER}"
        finally:
            run("pg_ctl", "stop", "--mode=immediate")


def main(words: list[str]) -> int:
    """Run a command beside a server; its exit status."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))  # told to stop, stop the server too
    with throw_away_server() as url:
        return subprocess.run(words, env={**os.environ, "DATABASE_URL": url}, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
