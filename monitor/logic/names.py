"""How a text names the conditions that limits make, and what to do first."""

WORDS = {
    "flow low": ("FLOW LOW", "Look at siphon valve, crest and strainer."),
    "flow far too low": ("FLOW FAR TOO LOW", "Look at siphon valve and crest, see it run."),
    "flow high": ("FLOW HIGH", "Set the siphon valve back: it may draw the header down."),
    "no flow": ("NO FLOW to larvae", "Prime the siphon or open its valve, see it run."),
    "header low": ("HEADER LOW", "Look at pump and strainer, shut siphon valve if it sinks."),
    "header high": ("HEADER HIGH", "Clear the header overflow."),
    "tank high": ("TANK RISING", "Outlet screen: lower flow, change screen."),
    "tank low": ("TANK LOW", "See that water runs in; look for a leak."),
    "sump low": ("SUMP LOW", "Look for a leak; top up slowly."),
    "sump high": ("SUMP HIGH", "Stop the top-up; look at header and screen."),
    "temperature high": ("WATER WARM", "Look at cooling and room, cut lights."),
    "temperature low": ("WATER COLD", "Look at heater and room."),
    "room warm": ("ROOM WARM", "Look at the room cooling."),
    "air low": ("AIR LOW", "Look at air pump and line, change to the spare."),
    "air high": ("AIR PRESSURE HIGH", "Change the air stone."),
    "changed": ("READINGS CHANGED", "Look at it when you are there."),
    "watch silent": ("WATCH SILENT", "Go, or call the site: look at the tank first."),
    "path silent": ("SIGN OF LIFE MISSING on one path", "Look at broker, router and line."),
    "clock wrong": ("CLOCK of the watch off", "Set its clock, look at its battery."),
    "floor wet": ("FLOOR WET", "Keep out of water near live plugs; find the leak."),
}
"""Condition name -> how a text names it, and the first action."""
