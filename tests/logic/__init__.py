"""Tests of the pure logic."""
