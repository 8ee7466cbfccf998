"""The running watch: everything put together, from what an earlier one left to the end."""

from monitor.watch.memory import durable_from, last_readings, remember
from monitor.watch.running import watch

__all__ = ["durable_from", "last_readings", "remember", "watch"]
