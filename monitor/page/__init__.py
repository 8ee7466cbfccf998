"""The phone page: its own process, a client of the watch's socket with the archive read-only.

A page that hangs or is attacked holds no alarm and delays no scan.
"""
