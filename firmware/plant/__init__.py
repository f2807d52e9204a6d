"""The physics behind the simulated board: motor, spools, strand, sensor, a person at the crank, faults.

Floating point, but only sums, products, quotients and square roots, which IEEE 754 rounds the same way
everywhere. No function of the C library's is used, so one seed gives the same bits on every interpreter.
"""
