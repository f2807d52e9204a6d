"""The record of every wind, kept so that what is on a spool can be found again.

`Ledger` is the interface; `open_ledger` opens the one on this computer. Another store may stand behind the
same interface later.
"""

from reelwright.ledger.errors import LedgerError
from reelwright.ledger.ledger import Ledger, ledger_path, new_job_id, open_ledger
from reelwright.ledger.record import Count, RecordedEvent, RecordedTrip, Stay, WindRecord

__all__ = [
    "Count",
    "Ledger",
    "LedgerError",
    "RecordedEvent",
    "RecordedTrip",
    "Stay",
    "WindRecord",
    "ledger_path",
    "new_job_id",
    "open_ledger",
]
