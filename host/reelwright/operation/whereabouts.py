"""Which winder a job is with, where it was given to more than one.

A job is with the winder that went on with it last: a person agreed, at a resume, that it moves there. What an earlier
winder still holds or remembers of it is history, of the strand on that winder's own spool. It does not go on with it by
itself; a person may agree to take the job back to it, and what is known of its spool then is what it knows itself and
what was heard at it. What was heard at another winder tells nothing of its spool, and narrows no bound there.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.device.discovery import is_gone

if TYPE_CHECKING:
    from reelwright.device.client import Winder
    from reelwright.ledger import Ledger, Stay, WindRecord


@frozen
class Whereabouts:
    """Where a job was, seen from one winder.

    here: its newest stay at this winder; None where nothing tells which. series: of all stays at this winder. last: the
    newest stay that came to something, wherever. moved: that one, where it came after `here`; None while the job is
    with this winder.
    """

    here: Stay | None
    series: frozenset[int]
    last: Stay | None
    moved: Stay | None


def whereabouts(record: WindRecord, ledger: Ledger, winder: Winder, port_name: str) -> Whereabouts:
    """Where a job was, seen from the winder that has answered at this port, and that holds or remembers the job."""
    stays = ledger.stays(record.job_id)
    own = [each for each in stays if is_same(each, port_name, winder.serial_number)]
    if not own:
        # a port of another name: a job that only ever was with one winder is with the one that knows it, and one that
        # has not restarted since is told by its boot, which another one may have drawn too
        own = stays if len(stays) == 1 else [each for each in stays if _is_this_start(each, winder)]
    here = own[-1] if own else None
    series = frozenset(each.series for each in own)
    told = {each.series for each in ledger.counts(record.job_id)}
    told |= {each.series for each in ledger.events(record.job_id) if each.happening.number}
    last = next((each for each in reversed(stays) if each.series in told), stays[-1] if stays else None)
    is_later = last is not None and last.series > (here.series if here else 0) and last.series in told
    return Whereabouts(here, series, last, last if is_later else None)


def is_same(stay: Stay, port_name: str, serial_number: str) -> bool:
    """Whether the winder of a stay is the one at this port: by the serial numbers where both are known."""
    if stay.serial_number and serial_number:
        return stay.serial_number == serial_number
    return stay.port == port_name or os.path.realpath(stay.port) == os.path.realpath(port_name)


def _is_this_start(stay: Stay, winder: Winder) -> bool:
    """Whether a stay was with this start of the winder: by its boot, unless the serial numbers tell them apart."""
    told_apart = stay.serial_number and winder.serial_number and stay.serial_number != winder.serial_number
    return stay.boot == winder.boot and not told_apart


def is_another(stay: Stay, port_name: str, serial_number: str) -> bool:
    """Whether the winder of a stay may be another one than that at this port, as far as the system can tell."""
    if stay.serial_number and serial_number:
        return stay.serial_number != serial_number
    return not is_same(stay, port_name, serial_number) and not is_gone(stay.port)
