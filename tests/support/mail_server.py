"""A mail server in this process: it takes letters over a socket as RFC 5321 says, or refuses them as a test asks."""

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default


class MailServer(socketserver.ThreadingTCPServer):
    """Letters that were delivered, and what is refused: a command's first word, and the answer to it.

    An answer of '' hangs up instead.
    """

    allow_reuse_address = daemon_threads = True

    def __init__(self) -> None:
        self.letters: list[EmailMessage] = []
        self.refuses: dict[str, str] = {}
        super().__init__(("127.0.0.1", 0), _Session)

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.server_address[1])


class _Session(socketserver.StreamRequestHandler):
    server: MailServer

    def handle(self) -> None:
        """Answer one client until it goes."""
        if not self._answered("GREETING", "220 here"):
            return
        for line in self.rfile:
            word = line.decode().split()[0].upper()
            text = "354 go on" if word == "DATA" else "221 bye" if word == "QUIT" else "250 fine"
            if not self._answered(word, text) or word == "QUIT":
                return
            if word == "DATA" and word not in self.server.refuses:
                letter = b"".join(iter(self.rfile.readline, b".\r\n"))
                if not self._answered("END", "250 taken"):
                    return
                if "END" not in self.server.refuses:
                    self.server.letters.append(message_from_bytes(letter, policy=default))  # type: ignore[arg-type]

    def _answered(self, word: str, text: str) -> bool:
        """Whether something was answered; '' hangs up."""
        text = self.server.refuses.get(word, text)
        if text:
            self.wfile.write(f"{text}\r\n".encode())
        return bool(text)


@contextmanager
def mail_server() -> Iterator[MailServer]:
    """Such a server, while a test runs."""
    with MailServer() as server:
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()
        yield server
        server.shutdown()
