"""Put on PYTHONPATH: in this interpreter and every worker it starts, reaching for the network fails and leaves a mark."""

import os
import socket

_connect, _lookup = socket.socket.connect, socket.getaddrinfo


def _refuse(what: object) -> None:
    with open(os.environ["NETWORK_MARK"], "a") as mark:
        mark.write(f"{what!r}\n")
    raise AssertionError(f"reached for the network: {what!r}")


def _guarded_connect(self, address, *rest):
    if self.family in (socket.AF_INET, socket.AF_INET6):
        _refuse(address)
    return _connect(self, address, *rest)


def _guarded_lookup(host, *rest, **more):
    _refuse(host)


socket.socket.connect = _guarded_connect  # type: ignore[method-assign]
socket.socket.connect_ex = _guarded_connect  # type: ignore[method-assign]
socket.getaddrinfo = _guarded_lookup
with open(os.environ["NETWORK_MARK"] + ".alive", "a") as alive:
    alive.write(f"{os.getpid()}\n")
