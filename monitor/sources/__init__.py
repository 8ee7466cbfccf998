"""Where readings come from: one driver a file, and the one table of drivers.

A driver is imported when a source of its kind is set up, so that a rig pays only for what it has.
"""

from collections.abc import Callable

from monitor.rig import Rig
from monitor.setup import SourceSetup
from monitor.sources.base import Secrets, Source


def _mqtt(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.mqtt import MqttSource

    return MqttSource(setup, rig, secrets)


DRIVERS: dict[str, Callable[[SourceSetup, Rig, Secrets], Source]] = {
    "mqtt": _mqtt,
}
"""The driver of each kind of source. A new kind is a file and a line here."""
