"""What there is to say of a winder's condition: what is connected, how its parts did in a test. Plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from attrs import asdict, frozen

if TYPE_CHECKING:
    from reelwright.verdicts import Verdict


@frozen
class PortFacts:
    """The port as the system lists it; None where it does not."""

    name: str
    carries: str | None = None
    usb_vendor: str | None = None
    usb_product: str | None = None
    serial_number: str | None = None


@frozen
class LinkFacts:
    """How the link did. Round trips in milliseconds; counters are of the winder, since its start."""

    requests: int
    retries: int
    round_trip_min_ms: float
    round_trip_median_ms: float
    round_trip_max_ms: float
    bad_lines: int
    overlong_lines: int
    dropped_progress: int
    dropped_events: int
    longest_loop_ms: int


@frozen
class HeldFacts:
    """What the winder is about. known: what the ledger says of its job. trip: word of the trip that holds it.

    remembered: number of the job that was under way before its last start, 0 for none, and the count it has for it.
    """

    state: str
    job_id: int
    known: str
    pulses: int
    layer: int
    trip: str
    remembered: int = 0
    remembered_pulses: int = 0


@frozen
class TripFacts:
    """A trip. at: when the ledger recorded it, "" for the winder's own memory of its last one, which has no date."""

    reason: str
    sentence: str
    remedy: str
    job_id: int = 0
    at: str = ""


@frozen
class Checkup:
    """All facts, and what they mean. since: time of the last checkup on this port, None for the first."""

    port: PortFacts
    firmware: str
    program: str
    protocol: str
    board: str
    boot: int
    cause: str
    cause_sentence: str
    capabilities: tuple[str, ...]
    most_job_values: int
    most_layers: int
    highest_rate_pulses_s: float
    loop_ms: int
    link: LinkFacts
    held: HeldFacts
    since: str | None
    last_trip: TripFacts | None
    recorded_trips: tuple[TripFacts, ...]
    verdicts: tuple[Verdict, ...]

    def to_dict(self) -> dict[str, object]:
        """The checkup as plain data."""
        return asdict(self)


@frozen
class SensorResult:
    """What was counted. turns: pulses of each turn, signed. stray: pulses that came at rest. illegal: transitions.

    restless: the sensor never came to rest, so that no further turn was counted.
    """

    turns: tuple[int, ...]
    stray: int = 0
    illegal: int = 0
    wheel_pulses: int = 0
    restless: bool = False


class MotorSample(NamedTuple):
    """What one progress of a motor test told. number: of the progress, which wraps. duty: a share of full."""

    number: int
    turns: float
    rpm: float
    duty: float


@frozen
class DriveTuning:
    """What a machine file should say of its DC drive. least_duty: a share of full; below it friction holds the spool.

    lag_s: the time in which the spool takes on two thirds of a new speed. acceleration_rpm_s, deceleration_rpm_s: what
    the drive keeps, at most what the machine has now.
    """

    no_load_rpm: float
    least_duty: float
    lag_s: float
    acceleration_rpm_s: float
    deceleration_rpm_s: float


@frozen
class MotorResult:
    """How the test went. pulses: counted, signed. rest_s: from drive off to rest, of the winder's own seconds.

    fastest_rpm: the highest mean over a while. resolution_rpm: by how much it may be off, as pulses are whole (k = 2).

    state: at the end. trip: the trip's code, 0 for none. stopped: by the operator.
    """

    target_pulses: int
    pulses: int
    fastest_rpm: float
    rest_s: float
    state: int
    trip: int = 0
    trip_sentence: str = ""
    trip_remedy: str = ""
    trip_word: str = ""
    stopped: bool = False
    resolution_rpm: float = 0.0
