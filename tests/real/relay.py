"""A line between two programs that can be pulled: it then swallows everything and says nothing."""

import select
import socket
import threading
from contextlib import suppress

from real.servers import HOST, PATIENCE


class Relay:
    """Passes connections on to a port of this machine until `pull`."""

    def __init__(self, behind: int) -> None:
        self._behind = behind
        self._is_pulled = threading.Event()
        self._over = threading.Event()
        self._listener = socket.create_server((HOST, 0))
        self._listener.settimeout(0.1)
        self.port: int = self._listener.getsockname()[1]
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    def pull(self) -> None:
        """From now on nothing passes, in either direction, and nobody is told."""
        self._is_pulled.set()

    def stop(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join(PATIENCE)
        self._listener.close()

    def _accept(self) -> None:
        while not self._over.is_set():
            with suppress(TimeoutError):
                near, _ = self._listener.accept()
                thread = threading.Thread(target=self._pass, args=(near,), daemon=True)
                self._threads.append(thread)
                thread.start()

    def _pass(self, near: socket.socket) -> None:
        with near, suppress(OSError):
            if self._is_pulled.is_set():
                self._over.wait()
                return
            with socket.create_connection((HOST, self._behind)) as far:
                other = {near: far, far: near}
                while not self._over.is_set():
                    for end in select.select([near, far], [], [], 0.1)[0]:
                        if self._is_pulled.is_set():
                            self._over.wait()
                        data = end.recv(65_536)
                        if not data:
                            return
                        other[end].sendall(data)
