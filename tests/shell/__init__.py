"""Tests of the shell: clock, loop, control socket, watch, replay, demo and commands."""
