"""Rehearsal: the lab's own rig, limits and duty list against faults, on a simulated twin.

The faults are played through the same loop and call-out as at night. What comes out is who would
be called when, and whether somebody arrives before harm is done.
"""
