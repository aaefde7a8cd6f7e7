"""Serve the pages on this machine, with the worker beside them."""

import subprocess
import sys
import threading
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.servers.basehttp import get_internal_wsgi_application
from gunicorn.app.base import BaseApplication

PORT = 8000
THREADS = 8
_AGAIN_S = 2.0


class _Pages(BaseApplication):
    """Our application under gunicorn: one process, several threads, this machine only unless told otherwise."""

    def __init__(self, address: str) -> None:
        self._address = address
        super().__init__()

    def load_config(self) -> None:
        """Set what differs from gunicorn's own defaults."""
        for name, value in {
            "bind": self._address, "worker_class": "gthread", "threads": THREADS, "loglevel": "warning",
        }.items():  # fmt: skip
            self.cfg.set(name, value)

    def load(self) -> Any:
        """The application that the settings name."""
        return get_internal_wsgi_application()


def serve(*, port: int, say: Callable[[str], object], host: str = "127.0.0.1") -> None:
    """Serve until stopped; a worker that ends by a fault is started again."""
    stop = threading.Event()
    helper = threading.Thread(target=_keep_working, args=(stop,), daemon=True)
    helper.start()
    say(f"The pages are at http://{'localhost' if host == '127.0.0.1' else host}:{port} (stop with Ctrl+C)")
    try:
        _Pages(f"{host}:{port}").run()
    finally:
        stop.set()
        helper.join()


def _keep_working(stop: threading.Event) -> None:
    while not stop.is_set():
        worker = subprocess.Popen([sys.executable, str(settings.BASE_DIR / "manage.py"), "work"])  # noqa: S603 - ours
        while worker.poll() is None and not stop.is_set():
            stop.wait(_AGAIN_S)
        worker.terminate()
        worker.wait()
