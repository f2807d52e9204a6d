"""The job that a winder holds."""

from windlink.job import FIRST_STOP, JOB_FIELDS


class Job:
    """A checked job: each field of the link's list under its own name, and the stops behind them.

    Raises nothing: `windlink.job.first_fault` has passed the values before.
    """

    def __init__(self, job_id: int, crc: str, values: "list[int]") -> None:
        self.job_id = job_id
        self.crc = crc
        for position, field in enumerate(JOB_FIELDS):
            setattr(self, field.name, values[position])
        self.stops = values[FIRST_STOP:]

    def __getattr__(self, name: str) -> int:
        # only reached for a name that no field has; it tells the type checker what the fields are
        raise AttributeError(name)
