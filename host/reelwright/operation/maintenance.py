"""The restart that leaves the winder's port to whoever uploads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.errors import LinkLostError

if TYPE_CHECKING:
    from reelwright.device.client import Client

HOW_TO_LEAVE = (
    "The winder's port is free for uploads: close this program's other commands on it. The drive is off and stays off."
    " To wind again restart the board: its reset button, unplugging it, or Ctrl-D at its prompt."
)


def free_port(client: Client) -> str:
    """Have the winder restart without its control loop; what to tell the operator.

    Raises RefusedError while the spool turns, LinkLostError when the winder did not answer: it may have restarted
    all the same, since its answer can be lost on the way.
    """
    try:
        client.request("maintenance")
    except LinkLostError as silence:
        raise LinkLostError(
            f"The winder did not answer. {silence.message}",
            "It may have restarted with its port free: give `reelwright checkup` to see, or restart the board.",
        ) from silence
    return HOW_TO_LEAVE
