"""The restart that leaves the winder's port to whoever uploads."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from reelwright.device.client import RefusedError
from reelwright.device.patience import patience
from reelwright.errors import LinkLostError
from windlink import codes

if TYPE_CHECKING:
    from reelwright.device.client import Client

_ASK_AGAIN_S = 0.5

HOW_TO_LEAVE = (
    "The winder's port is free for uploads: close this program's other commands on it. The drive is off and stays off."
    " To wind again restart the board: its reset button, unplugging it, or Ctrl-D at its prompt."
)


def free_port(client: Client, *, stands_within_s: float = 0.0) -> str:
    """Have the winder restart without its control loop; what to tell the operator.

    stands_within_s: how long the spool may take to come to rest. After a restart that nobody asked for the winder does
    not know at once that it stands. Raises RefusedError while the spool turns, LinkLostError when the winder did not
    answer: it may have restarted all the same, since its answer can be lost on the way.
    """
    until_s = time.monotonic() + stands_within_s * patience()
    try:
        while True:
            try:
                client.request("maintenance")
                break
            except RefusedError as refused:
                if refused.code != codes.STILL_TURNS or time.monotonic() >= until_s:
                    raise
                client.listen(_ASK_AGAIN_S)
    except LinkLostError as silence:
        raise LinkLostError(
            f"The winder did not answer. {silence.message}",
            "It may have restarted with its port free: give `reelwright checkup` to see, or restart the board.",
        ) from silence
    return HOW_TO_LEAVE
