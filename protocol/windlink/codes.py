"""Every number that stands for a word on the link, declared once.

The words, sentences and remedies for people are in `sentences`, which the board never loads.
"""

# States of a winder.
EMPTY = 0
LOADED = 1
WINDING = 2
EASING = 3
WAITING = 4
FINISHED = 5
TRIPPED = 6

# Reasons of a trip.
NO_PULSES = 1
BACKWARDS = 2
OVERSPEED = 3
RUN_OUT = 4
SNAG = 5
STOP_PRESSED = 6
GUARD_OPEN = 7
LINK_LOST = 8
LATE_LOOP = 9
RESTARTED = 10
RUNS_ON = 11
SLIP = 12
BAD_SENSOR = 13
LOST_STEPS = 14

# Why a request is refused.
UNKNOWN_REQUEST = 1
BAD_FIELDS = 2
WRONG_STATE = 3
WRONG_JOB = 4
JOB_INCOMPLETE = 5
JOB_DAMAGED = 6
JOB_VALUE = 7
NOT_FITTED = 8
STALE = 9
SWITCH_ACTIVE = 10
STILL_TURNS = 11
COUNT_OWED = 12
TOO_FAST = 13

# Why a winder came to rest before the end of its job.
STOP_AT_LAYER = 1
STOP_AT_MARK = 2
STOP_BY_PAUSE = 3
STOP_BY_LINK_LOSS = 4
STOP_AT_RECOUNT = 5

# How a job ended.
REACHED = 1
ABANDONED = 2

# What restarted the board.
POWER_ON = 0
COMMANDED = 1
WATCHDOG = 2
SOFT_RESET = 3
POWER_DIP = 4
UNKNOWN_CAUSE = 5

# Where the memory of a job comes from after a restart.
FROM_NOWHERE = 0
FROM_REGISTERS = 1
FROM_JOURNAL = 2

# Channels on which a loopback gives its pulses, and which of two is ahead.
ONE_CHANNEL = 0
PULSES_ON = 1
PULSES_BACK = 2

# Drives.
HAND = 0
DC = 1
STEPPER = 2

# What the winder does when it has not heard its host for the time that the job allows.
WIND_ON = 0
PAUSE = 1
TRIP = 2

# Kinds of planned stop.
LAYER_STOP = 1
MARK_STOP = 2

# Switches: bits of the fitted mask and of the board's inputs.
STOP_BUTTON = 1
GUARD_SWITCH = 2
RUN_OUT_SWITCH = 4
TENSION_SWITCH = 8
GO_BUTTON = 16

# Capabilities of a board: bits of a mask. The switches keep their bits; the rest stands above them.
CAN_HAND = 32
CAN_DC = 64
CAN_STEPPER = 128
CAN_QUADRATURE = 256
MEASURING_WHEEL = 512
CAN_CHECK_QUADRATURE = 1024
