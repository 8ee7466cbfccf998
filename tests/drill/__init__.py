"""Tests of the rehearsal."""
