"""Reelwright: winds a known length of strand from one spool to another, and records what is on it."""

__version__ = "0.1.0"
