"""Tests of the change detection."""
