"""The winder's mind, with no hardware in it: counts, targets, ramp, speed loop, trips, session, link service.

Everything here takes what was read and the time, and returns what to do. The control step allocates
nothing and keeps every integer below 2^30, since a larger one lives on the heap of a 32-bit board.
"""
