"""Tests of the archive: packing, time, writing, reading, trouble with the disk."""
