"""Messages between two processes of this program over a socket pair: pickled, whole, with file handles if need be."""

import pickle
import socket
from typing import Any

_LENGTH = 8
_CHUNK = 1 << 20


class Channel:
    """One end of a socket pair. Raises EOFError when the other end is gone."""

    def __init__(self, end: socket.socket) -> None:
        self.end = end

    def send(self, message: Any, handles: tuple[int, ...] = ()) -> None:
        """Send a message; open file handles go along and are open on the other side too."""
        payload = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
        head = len(payload).to_bytes(_LENGTH, "big")
        try:
            if handles:
                socket.send_fds(self.end, [head], list(handles))
            else:
                self.end.sendall(head)
            self.end.sendall(payload)
        except (BrokenPipeError, ConnectionResetError) as problem:
            raise EOFError("the other process has ended") from problem

    def receive(self, most_handles: int = 0) -> tuple[Any, list[int]]:
        """The next message, and the handles that came with it."""
        handles: list[int] = []
        try:
            if most_handles:
                head, handles, _, _ = socket.recv_fds(self.end, _LENGTH, most_handles)
                head += self._exactly(_LENGTH - len(head)) if head else b""
            else:
                head = self._exactly(_LENGTH)
            if len(head) < _LENGTH:
                raise EOFError("the other process has ended")
            return pickle.loads(self._exactly(int.from_bytes(head, "big"))), handles
        except ConnectionResetError as problem:
            raise EOFError("the other process has ended") from problem

    def _exactly(self, count: int) -> bytes:
        parts = []
        while count:
            part = self.end.recv(min(count, _CHUNK))
            if not part:
                raise EOFError("the other process has ended")
            parts.append(part)
            count -= len(part)
        return b"".join(parts)

    def close(self) -> None:
        """Close this end."""
        self.end.close()
