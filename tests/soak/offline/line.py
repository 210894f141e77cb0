"""The network between one phone and the mill: a line that can be cut at a chosen place of a conversation."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections import Counter

UP, DOWN, MUTE, TORN = "up", "down", "mute", "torn"
"""Whole; nothing gets through; what is posted is heard and its answer lost; every answer is torn."""

TORN_AFTER = 9
METHODS = (b"GET ", b"POST")


class Line:
    """Carries a phone's connections from `port` to the server's port, as `mode` says at each moment."""

    def __init__(self, server_port: int) -> None:
        self.server_port, self.mode = server_port, UP
        self.cuts: Counter[str] = Counter()
        self._pairs: set[tuple[socket.socket, socket.socket]] = set()
        self._lock = threading.Lock()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._door.getsockname()[1])
        threading.Thread(target=self._receive, daemon=True).start()

    def set(self, mode: str) -> None:
        self.mode = mode
        if mode == DOWN:
            with self._lock:
                pairs = list(self._pairs)
            for pair in pairs:
                self._hang_up(pair)

    def close(self) -> None:
        self.set(DOWN)
        self._door.close()

    def _receive(self) -> None:
        while True:
            try:
                phone, _ = self._door.accept()
            except OSError:
                return
            try:
                mill = socket.create_connection(("127.0.0.1", self.server_port), timeout=30)
            except OSError:
                phone.close()
                continue
            mill.settimeout(None)
            pair = (phone, mill)
            with self._lock:
                self._pairs.add(pair)
            asked = Counter[str]()
            threading.Thread(target=self._ask, args=(pair, asked), daemon=True).start()
            threading.Thread(target=self._answer, args=(pair, asked), daemon=True).start()

    def _hang_up(self, pair: tuple[socket.socket, socket.socket]) -> None:
        with self._lock:
            self._pairs.discard(pair)
        for end in pair:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _ask(self, pair: tuple[socket.socket, socket.socket], asked: Counter[str]) -> None:
        phone, mill = pair
        with contextlib.suppress(OSError):
            while told := phone.recv(65536):
                posts = told[:4] == b"POST"
                if self.mode == DOWN:
                    self.cuts["before the request"] += 1
                    break
                if told[:4] in METHODS:
                    asked["posts"] = int(posts)
                mill.sendall(told)
        self._hang_up(pair)

    def _answer(self, pair: tuple[socket.socket, socket.socket], asked: Counter[str]) -> None:
        phone, mill = pair
        with contextlib.suppress(OSError):
            while told := mill.recv(65536):
                if self.mode in (DOWN, TORN) or (self.mode == MUTE and asked["posts"]):
                    if self.mode == TORN:
                        phone.sendall(told[:TORN_AFTER])
                    what = "an entry" if asked["posts"] else "a page"
                    self.cuts[f"after {what} was answered"] += 1
                    break
                phone.sendall(told)
        self._hang_up(pair)
