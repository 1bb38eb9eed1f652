"""Attacks on the project: hours of what the tests do in seconds, and what no test can wait for."""
