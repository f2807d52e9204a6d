"""The link between host and winder: frame, catalogue of messages, codec.

One copy runs unchanged on CPython and MicroPython, so it uses only what both have. Nothing here reads
a port, a clock or a file.
"""

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 0
