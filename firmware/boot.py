"""Runs before anything else when the board starts: the motor's pins are low before a line of the program is read."""

__import__("boards.motor_pins", None, None, ("make_safe",)).make_safe()
