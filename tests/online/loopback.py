"""Keeps a process from talking to anything but this computer."""

import socket
from collections.abc import Callable

HERE = ("127.0.0.1", "::1", "localhost", "", None)


def forbid_outside(tell: Callable[[str], None]) -> Callable[[], None]:
    """Make connections and name look-ups beyond this computer fail; return what undoes it."""
    plain = {name: getattr(socket.socket, name) for name in ("connect", "connect_ex", "sendto")}
    look_up = socket.getaddrinfo

    def check(host: object) -> None:
        text = host.decode() if isinstance(host, bytes) else host
        if text not in HERE:
            tell(str(text))
            raise OSError(f"a test may not reach {text}")

    def guarded(name: str) -> Callable:
        def method(self: socket.socket, *args):
            address = args[-1]
            if self.family in (socket.AF_INET, socket.AF_INET6) and isinstance(address, tuple):
                check(address[0])
            return plain[name](self, *args)

        return method

    def getaddrinfo(host, *args, **kwargs):
        check(host)
        return look_up(host, *args, **kwargs)

    for name in plain:
        setattr(socket.socket, name, guarded(name))
    socket.getaddrinfo = getaddrinfo

    def undo() -> None:
        for name in plain:
            delattr(socket.socket, name)
            if getattr(socket.socket, name) is not plain[name]:
                setattr(socket.socket, name, plain[name])
        socket.getaddrinfo = look_up

    return undo
