"""The caution that every command shows which may set a spool in motion, said once."""

CAUTION = (
    "A powered winder can hurt: guard it, and keep hair, sleeves, gloves and hands away from spool, gears and screw;"
    " stand clear of the strand. Ctrl-C and the stop button are operating stops: the emergency stop is a wired one."
)
