"""The demo: a night with a power cut on the simulated rig, watched by the real loop.

Real are the logic, the loop, the archive and the texts (as files in a folder). Simulated are the
water, the sensors and the people; the clock is virtual and paced.
"""

from monitor.demo.play import Wishes, play

__all__ = ["Wishes", "play"]
