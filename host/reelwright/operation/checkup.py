"""What is connected, how it is, and how well the link works. Asks questions only."""

from __future__ import annotations

import time
from collections import Counter
from statistics import median
from typing import TYPE_CHECKING, Any

from attrs import asdict

from reelwright import __version__
from reelwright.condition import Checkup, HeldFacts, LinkFacts, PortFacts, TripFacts
from reelwright.device.discovery import BOARD_VENDORS, entry_of
from reelwright.operation.commands import clear_command, drop_command, resume_command
from reelwright.operation.held import FREE_STATES
from reelwright.operation.resume import memory_of
from reelwright.verdicts import verdict
from windlink import codes
from windlink.sentences import CAPABILITIES, CAUSES, STATES, TRIPS, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.device.client import Client, Winder
    from reelwright.ledger import Ledger, RecordedTrip
    from reelwright.verdicts import Verdict

REQUESTS = 50  # of status, to measure the link by
SLOW_TIMES = 5  # periods of the control step

_CALLED_FOR = (codes.POWER_ON, codes.COMMANDED, codes.UNKNOWN_CAUSE)
_WHY_RESTARTED = {
    codes.WATCHDOG: "Report it with the firmware's version, unless you pressed Ctrl-C on the port.",
    codes.SOFT_RESET: "Another program has used the port: close it while you wind.",
    codes.POWER_DIP: "Check the supply: a motor that starts may draw it down.",
}


def port_facts(name: str) -> PortFacts:
    """What the system says of a port, without opening it."""
    entry = entry_of(name)
    if entry is None:
        return PortFacts(name)
    return PortFacts(
        name=name,
        carries=BOARD_VENDORS.get(entry.vid) if entry.vid is not None else None,
        usb_vendor=None if entry.vid is None else f"{entry.vid:04X}",
        usb_product=None if entry.pid is None else f"{entry.pid:04X}",
        serial_number=entry.serial_number,
    )


def look(client: Client, winder: Winder, ledger: Ledger, *, clock: Callable[[], float] = time.perf_counter) -> Checkup:
    """All that can be found out by asking. Raises LinkLostError."""
    limits = client.request("limits")
    link = _measure(client, clock)
    held, last_trip = _held(client, ledger)
    since = ledger.last_checkup(client.port_name)
    recorded = tuple(_recorded(each) for each in ledger.trips(client.port_name, since))
    findings = [
        *_of_restart(winder),
        *_of_held(held, client, ledger),
        *_of_trips(recorded, since),
        *_of_link(link, limits["loop_ms"]),
    ]
    if winder.firmware != __version__:
        findings.append(verdict("other_firmware", firmware=winder.firmware, program=__version__))
    cause = say(CAUSES, winder.cause)
    return Checkup(
        port=port_facts(client.port_name),
        firmware=winder.firmware,
        program=__version__,
        protocol=winder.protocol,
        board=winder.board,
        boot=winder.boot,
        cause=cause.word,
        cause_sentence=cause.sentence,
        capabilities=tuple(each.word for bit, each in CAPABILITIES.items() if limits["capabilities"] & bit),
        most_job_values=limits["most_job_values"],
        most_layers=limits["most_layers"],
        highest_rate_pulses_s=limits["highest_rate"] / 100,
        loop_ms=limits["loop_ms"],
        link=link,
        held=held,
        since=since,
        last_trip=last_trip,
        recorded_trips=recorded,
        verdicts=tuple(findings) or (verdict("in_order"),),
    )


def _measure(client: Client, clock: Callable[[], float]) -> LinkFacts:
    before = client.retries
    took_s = []
    for _ in range(REQUESTS):
        begun_s = clock()
        client.request("status")
        took_s.append(clock() - begun_s)
        client.inbox.clear()
    counters = client.request("counters")
    return LinkFacts(
        requests=REQUESTS,
        retries=client.retries - before,
        round_trip_min_ms=1000 * min(took_s),
        round_trip_median_ms=1000 * median(took_s),
        round_trip_max_ms=1000 * max(took_s),
        **counters,
    )


def _held(client: Client, ledger: Ledger) -> tuple[HeldFacts, TripFacts | None]:
    status = client.request("status")
    trip = client.request("trip")
    record = ledger.find(status["job_id"]) if status["job_id"] else None
    known = ""
    if record is not None:
        length_m = float(str(record.plan["length_m"]))
        known = f" ({length_m:.2f} m, begun {record.started_at})"
    memory = memory_of(client)
    remembered = memory if memory is not None and memory.under_way else None
    held = HeldFacts(
        state=say(STATES, status["state"]).word,
        job_id=status["job_id"],
        known=known,
        pulses=status["pulses"],
        layer=status["layer"],
        trip=say(TRIPS, status["reason"]).word if status["reason"] else "",
        remembered=remembered.job_id if remembered else 0,
        remembered_pulses=remembered.pulses if remembered else 0,
    )
    return held, _trip(trip["reason"]) if trip["reason"] else None


def _trip(reason: int) -> TripFacts:
    saying = say(TRIPS, reason)
    return TripFacts(saying.word, saying.sentence, saying.remedy)


def _recorded(recorded: RecordedTrip) -> TripFacts:
    happening = recorded.event.happening
    reason = str(happening.fields.get("reason", ""))
    return TripFacts(reason, happening.sentence, happening.remedy, recorded.job_id, recorded.event.at)


def _of_restart(winder: Winder) -> list[Verdict]:
    if winder.cause in _CALLED_FOR:
        return []
    cause = say(CAUSES, winder.cause)
    return [verdict("restarted_by_itself", cause=cause.sentence, remedy=_WHY_RESTARTED.get(winder.cause, ""))]


def _of_held(held: HeldFacts, client: Client, ledger: Ledger) -> list[Verdict]:
    found = []
    if held.trip:
        word, sentence, remedy = client.trip_sentence()
        known = ledger.find(held.job_id) is not None
        command = clear_command(client.port_name, word, job_id=held.job_id if known else 0)
        found.append(verdict("tripped", trip=word, sentence=sentence, remedy=remedy, command=command))
    if held.remembered:
        way = _way_on(held.remembered, client, ledger)
        found.append(verdict("job_remembered", job_id=held.remembered, pulses=held.remembered_pulses, way=way))
    idle = [say(STATES, state).word for state in FREE_STATES]
    if held.state not in idle and held.job_id:
        way = _way_on(held.job_id, client, ledger)
        found.append(verdict("job_held", job_id=held.job_id, known=held.known, state=held.state, way=way))
    return found


def _way_on(job_id: int, client: Client, ledger: Ledger) -> str:
    """What to do about a job that the winder has."""
    if ledger.find(job_id) is not None:
        return f"`{resume_command(job_id, client.port_name)}` goes on with it."
    return (
        "The ledger of this computer does not know it: go on with it from where it was begun, or give it up for"
        f" another by `{drop_command(client.port_name)}`."
    )


def _of_trips(recorded: tuple[TripFacts, ...], since: str | None) -> list[Verdict]:
    if not recorded:
        return []
    counts = Counter(each.reason for each in recorded)
    return [
        verdict(
            "tripped_before",
            since=f"since {since}" if since else "so far",
            trips=", ".join(f"{reason} {count}" for reason, count in counts.most_common()),
            job_id=recorded[-1].job_id,
        )
    ]


def _of_link(link: LinkFacts, loop_ms: int) -> list[Verdict]:
    facts: dict[str, Any] = {**asdict(link), "loop_ms": loop_ms}
    judged = (
        ("requests_repeated", link.retries > 0),
        ("lines_damaged", link.bad_lines + link.overlong_lines > 0),
        ("events_dropped", link.dropped_events > 0),
        ("slow_loop", link.longest_loop_ms >= SLOW_TIMES * loop_ms),
    )
    return [verdict(code, **facts) for code, worth_a_look in judged if worth_a_look]
