"""`reelwright watch`: look, and touch nothing."""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any

import click

from reelwright.errors import EXIT_DONE, DeviceError, LinkLostError

if TYPE_CHECKING:
    from reelwright.device.client import Client
    from reelwright.ledger import RecordedEvent
    from reelwright.snapshot import Happening
    from reelwright.views import View
    from reelwright.winding.planned import Plan


FIRST_PROGRESS_S = 0.5


@click.command("watch")
@click.option("--port", "port_name", metavar="PORT", help="Serial port of the winder. Default: the only one that fits.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option("--once", is_flag=True, help="Say where the winder is, and end.")
def command(port_name: str | None, as_json: bool, once: bool) -> None:
    """Look at a winder without touching it: nothing is sent but questions.

    For a winder that runs without `wind`: started by its go button, or left by a command that was ended. It ends when
    the winder comes to rest, or with Ctrl-C. Events stay in the winder for `wind` to record: of several that wait it
    tells the first one alone. While it looks, the winder takes it for its host; once it is left, the winder does what
    its job says in on_link_loss.
    """
    from reelwright.device.client import Client
    from reelwright.device.discovery import find_port
    from reelwright.device.port import Port
    from reelwright.views import choose_view
    from reelwright.views.keys import ONLY_LEAVE

    port_name = port_name or find_port()
    with ExitStack() as stack:
        port = Port(port_name)
        stack.callback(port.close)
        client = Client(port)
        client.hello()
        status = client.request("status")
        recorded = _recorded_plan(status["job_id"])
        if recorded is None:
            _tell_bare(status, as_json=as_json)
            sys.exit(EXIT_DONE)
        view = stack.enter_context(choose_view(as_json=as_json, heading=f"Watching {port_name}", keys=ONLY_LEAVE))
        try:
            _look(client, view, *recorded, status, once=once)
        except LinkLostError:
            view.silence()
            raise
        except KeyboardInterrupt:
            view.notice(f"Stopped watching. {unheard(recorded[0])}")
    sys.exit(EXIT_DONE)


def unheard(plan: Plan) -> str:
    """What a winder does with a job once nobody listens to it any more."""
    from reelwright.device.job_values import job_values
    from windlink.job import POSITION
    from windlink.sentences import LINK_LOSSES

    values = job_values(plan.job, plan)
    does = LINK_LOSSES[values[POSITION["link_loss"]]].sentence
    silent_s = values[POSITION["link_loss_ms"]] / 1000
    return f"What the job has a winder do that winds, and hears no host for {silent_s:g} s: {does}"


def _recorded_plan(job_id: int) -> tuple[Plan, list[RecordedEvent]] | None:
    """The plan of a job that this computer's ledger knows, and the events that it has of it."""
    from reelwright.ledger import open_ledger
    from reelwright.profiles import build_job
    from reelwright.winding.plan import make_plan

    if not job_id:
        return None
    with open_ledger() as ledger:
        record = ledger.find(job_id)
        events = ledger.events(job_id) if record else []
    return None if record is None else (make_plan(build_job(record.job, "the ledger")), events)


def _tell_bare(status: dict[str, Any], *, as_json: bool) -> None:
    """What can be said of a winder without a job, or with one that another computer started: no length, only counts."""
    from reelwright.json_text import json_text
    from windlink.sentences import STATES, TRIPS, say

    state = say(STATES, status["state"])
    trip = say(TRIPS, status["reason"]) if status["reason"] else None
    if as_json:
        bare = {"kind": "status", "state": state.word, "trip": trip.word if trip else ""}
        click.echo(json_text({**bare, **{name: status[name] for name in ("job_id", "pulses", "layer")}}))
        return
    click.echo(f"{state.word}: {state.sentence}")
    if trip:
        click.echo(f"{trip.word}: {trip.sentence} {trip.remedy}")
    if status["job_id"]:
        click.echo(
            f"Job {status['job_id']}, which this computer's ledger does not know: layer {status['layer']},"
            f" {status['pulses']} pulses."
        )


def _look(
    client: Client, view: View, plan: Plan, recorded: list[RecordedEvent], status: dict[str, Any], *, once: bool
) -> None:
    from reelwright.operation.doubted import doubt_of
    from reelwright.operation.steady_rate import SteadyRate
    from reelwright.operation.telling import happening_of, happenings_of, result_of, snapshot_of, uncertain_turns_of
    from reelwright.winding.nouns import count_of
    from windlink import codes
    from windlink.frame import EVENT
    from windlink.sentences import TRIPS, say

    job_id = status["job_id"]
    shown = 0
    steady = SteadyRate()
    deadline_s = time.monotonic() + FIRST_PROGRESS_S
    first = None
    while first is None and time.monotonic() < deadline_s:
        # a status has no speed: the first progress has, and an event may come before it
        client.listen()
        first = next((each.fields for each in client.inbox if each.kind != EVENT), None)
    if once or first is None:
        view.progress(snapshot_of(plan, status["state"], status["pulses"], first["rate"] if first else 0))
    while not once and status["state"] in (codes.WINDING, codes.EASING, codes.LOADED):
        client.listen()
        while client.inbox:
            received = client.inbox.popleft()
            if received.kind != EVENT:
                fields = received.fields
                mean_rate = steady.tell(fields["state"], fields["rate"])
                view.progress(snapshot_of(plan, fields["state"], fields["pulses"], fields["rate"], mean_rate))
            elif received.sequence > shown:
                shown = received.sequence
                view.event(happening_of(plan, received))
        if client.keep_alive_due:
            status = client.request("status")
            if status["job_id"] != job_id:
                raise DeviceError("The winder no longer holds the job that was watched.", "Watch again.")
    if status["state"] in (codes.WINDING, codes.EASING):
        return
    kept = client.request("events")
    waiting = kept["newest"] - max(shown, kept["acknowledged"])
    if waiting > 0:
        noun = "later event" if shown else "event"
        view.notice(f"The winder keeps {count_of(waiting, noun)} for `wind` to tell and to record.")
    outcome = ""
    if status["state"] == codes.FINISHED:
        outcome = "reached" if status["pulses"] >= plan.target_pulses else "abandoned"
    trip = say(TRIPS, status["reason"]).word if status["reason"] else ""
    happened = happenings_of(recorded)
    if trip:
        happened = _with_trip(happened, client.request("trip"), trip)
    view.result(
        result_of(
            plan,
            job_id,
            status["state"],
            status["pulses"],
            outcome=outcome,
            trip=trip,
            before_turns=uncertain_turns_of(recorded),
            doubt=doubt_of(plan, happened, status["pulses"]),
        )
    )


def _with_trip(recorded: list[Happening], trip: dict[str, Any], word: str) -> list[Happening]:
    """What happened, the trip too that holds the winder: of one that nobody recorded the event waits there."""
    from reelwright.snapshot import Happening

    fields = {"reason": word, "value": trip["value"], "pulses": trip["pulses"]}
    is_recorded = any(
        each.verb == "tripped" and {name: each.fields.get(name) for name in fields} == fields for each in recorded
    )
    return recorded if is_recorded else [*recorded, Happening(0, "tripped", "", fields)]
