"""The simulated rig and people: a physics of its own, sensors with faults, and stories.

`SimulatedRig` plays a `Story` on a virtual clock; `STORIES` are those that come with holdwater.
"""

from monitor.simulator.climate import Day
from monitor.simulator.nights import STORIES
from monitor.simulator.people import Rule, ScriptedPeople
from monitor.simulator.recording import write_recording
from monitor.simulator.simulated import SimulatedRig
from monitor.simulator.story import Action, Say, Story

__all__ = [
    "STORIES",
    "Action",
    "Day",
    "Rule",
    "Say",
    "ScriptedPeople",
    "SimulatedRig",
    "Story",
    "write_recording",
]
