"""The pure logic: readings and answers in, texts and records out. No I/O, no clock, no threads.

In the order in which a value passes: scaling, quality, derived, conditions, alarms, events,
callout, wording; state holds what is remembered, step runs the pipe.
"""
