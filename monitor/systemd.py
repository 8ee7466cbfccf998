"""Tells the service manager how the watch is: READY=1, WATCHDOG=1, STATUS=..., STOPPING=1.

One datagram on the socket that the service manager named (sd_notify(3), protocol part).
"""

import os
import socket


def notify(*words: str) -> bool:
    """Send these words; False where no service manager listens."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    if address.startswith("@"):
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
        line.settimeout(0.1)
        try:
            line.sendto("\n".join(words).encode(), address)
        except OSError:
            return False
    return True
