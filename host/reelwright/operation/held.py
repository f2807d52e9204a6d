"""Whether a winder is free for a test: no job is under way in it, and none is remembered from before its last start."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reelwright.errors import DeviceError
from reelwright.operation.commands import drop_command, resume_command
from reelwright.operation.resume import memory_of
from windlink import codes
from windlink.sentences import STATES, say

if TYPE_CHECKING:
    from reelwright.device.client import Client

FREE_STATES = (codes.EMPTY, codes.FINISHED)


def free_status(client: Client) -> dict[str, Any]:
    """The status of a winder that is free. Raises DeviceError, with what to do, when the spool on it is a job's."""
    status = client.request("status")
    if status["state"] not in FREE_STATES:
        state = say(STATES, status["state"])
        raise DeviceError(
            f"The winder is {state.word}: the spool on it belongs to a job. {state.sentence}",
            "Finish or abandon that job, or clear the trip, and test then.",
        )
    memory = memory_of(client)
    if memory is not None and memory.under_way:
        go_on = resume_command(memory.job_id, client.port_name)
        raise DeviceError(
            f"The winder remembers job {memory.job_id} from before its last start, and counts on for it.",
            f"Go on with it by `{go_on}`, or give it up by `{drop_command(client.port_name)}`; then test.",
        )
    return status


def refuse_finished(client: Client) -> None:
    """Raises DeviceError, with what to do, unless the winder is free, and has no job that it would still count to."""
    status = free_status(client)
    if status["state"] == codes.FINISHED:
        raise DeviceError(
            f"The winder still has job {status['job_id']}, which it has ended (a motor test is a job, too): the pulses"
            " of this test would be counted to that one.",
            "Restart the board, by its reset button or by unplugging it, and give the command again: a winder that has"
            " just started has no ended job. A simulated one, start again.",
        )
