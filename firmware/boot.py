"""Runs before anything else when the board starts: the motor's pins are low before a line of the program is read.

Ctrl-C waits for that: it may be there at once after a restart of the interpreter, which has left the pins as they were.
"""

interrupted = False
while True:
    try:
        __import__("boards.motor_pins", None, None, ("make_safe",)).make_safe()
        break
    except KeyboardInterrupt:
        interrupted = True
if interrupted:
    # no main.py follows a boot.py that fails, and the prompt has the port
    raise KeyboardInterrupt
