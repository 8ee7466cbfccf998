"""Tests against real servers: a mosquitto broker and an aiosmtpd mail server on loopback."""
