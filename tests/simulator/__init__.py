"""Tests of the simulated rig against the worked scenario and independent numerics."""
