"""The winding model: turns, layers, length, mass, fit, time and uncertainty of strand on a spool.

Pure functions and frozen data. Nothing here reads a file, a clock or a port, or imports another room.
Lengths are millimetres and masses grams unless a name says otherwise.
"""
