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


def _counter(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.counter import counter

    return counter(setup, rig, secrets)


def _gpio(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.gpio import gpio

    return gpio(setup, rig, secrets)


def _http(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.http import http

    return http(setup, rig, secrets)


def _hwmon(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.hwmon import hwmon

    return hwmon(setup, rig, secrets)


def _iio(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.iio import iio

    return iio(setup, rig, secrets)


def _manual(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.manual import manual

    return manual(setup, rig, secrets)


def _modbus(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.modbus import modbus

    return modbus(setup, rig, secrets)


def _onewire(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.onewire import onewire

    return onewire(setup, rig, secrets)


def _power_supply(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.power_supply import power_supply

    return power_supply(setup, rig, secrets)


def _signs(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.signs import signs

    return signs(setup, rig, secrets)


def _simulated(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.simulator.source import SimulatedSource

    return SimulatedSource(setup, rig, secrets)


def _ups(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    from monitor.sources.ups import ups

    return ups(setup, rig, secrets)


DRIVERS: dict[str, Callable[[SourceSetup, Rig, Secrets], Source]] = {
    "mqtt": _mqtt,
    "counter": _counter,
    "gpio": _gpio,
    "http": _http,
    "hwmon": _hwmon,
    "iio": _iio,
    "manual": _manual,
    "modbus": _modbus,
    "onewire": _onewire,
    "power_supply": _power_supply,
    "signs": _signs,
    "simulated": _simulated,
    "ups": _ups,
}
"""The driver of each kind of source. A new kind is a file and a line here."""
