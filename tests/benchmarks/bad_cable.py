"""What a spoilt byte costs: winds over a cable that hits a share of all bytes each way, in bursts or evenly spread."""

from __future__ import annotations

from rig import job_list

from boards.noise import BURST_BYTES
from cable import Cable, client_on, wind_through
from reelwright.errors import DeviceError

WINDS = 20
SHARES = (0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.1)


def rows() -> list[tuple[str, str]]:
    """One row a cable: how many winds came to their end, and what each exchange took."""
    found = []
    for share in (0.2, 0.3, 0.4):
        found.append((f"{share:.0%} of bytes hit, in bursts of {BURST_BYTES:.0f}", _over(share, BURST_BYTES)))
    found += [(f"{share:.0%} of bytes hit, evenly spread", _over(share, 1 / (1 - share))) for share in SHARES]
    return found


def _over(share: float, burst_bytes: float) -> str:
    ended = retries = asked = 0
    seconds = 0.0
    for seed in range(WINDS):
        cable = Cable(share, seed + 1, burst_bytes)
        client = client_on(cable)
        try:
            client.hello()
            wind_through(cable, client, job_list())
            ended += 1
        except (DeviceError, AssertionError):
            pass
        retries += client.retries
        asked += len(cable.log)
        seconds += cable.clock()
    each = asked - retries
    return f"{ended} of {WINDS} winds ended; an exchange took {asked / each:.1f} tries, a wind {seconds / WINDS:.0f} s"


if __name__ == "__main__":
    for what, figure in rows():
        print(f"{what}: {figure}")
