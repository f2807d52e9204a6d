"""A board that is not there: MicroPython's prompt and a Pico's pins behind a pseudo terminal."""
