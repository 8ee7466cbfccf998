"""From what the sensor delivered to SI, by unit and calibration."""

from monitor.rig import Tag


def to_si(tag: Tag, delivered: float) -> float:
    """SI value of a delivered one: unit(delivered * gain + zero).

    gain (no unit) and zero (in the tag's unit) are the calibration in force.
    """
    return tag.unit.to_si(delivered * tag.gain + tag.zero)
