"""How much a pass of the loop takes and gives on a board's port. For both interpreters."""

from promises import keep

from boards.console import Console
from fakes import bench
from fakes.world import WORLD
from windcore.journal import WORDS
from windcore.loop import run
from windcore.service import Identity
from windlink.codec import encode
from windlink.frame import REQUEST

MOST_IN, MOST_OUT = 32, 48


def console():
    assert bench, "its stand-ins for sys and select are there"
    WORLD.begin("rp2")
    return Console()


def a_flood_is_taken_in_small_parts_and_none_of_it_is_lost():
    port = console()
    sent = bytes([97 + index % 26 for index in range(100)])
    WORLD.typed.extend(sent)
    room = bytearray(128)
    taken = []
    parts = []
    for _ in range(5):
        count = port.receive(room)
        taken.append(count)
        parts.append(bytes(room[:count]))
    assert taken == [MOST_IN, MOST_IN, MOST_IN, 4, 0], taken
    assert b"".join(parts) == sent


def a_pass_gives_no_more_than_its_part_and_lines_keep_their_order():
    port = console()
    WORLD.room = 10000
    lines = [b"%d" % number * 63 + b"\n" for number in (1, 2, 3)]
    waiting = list(lines)
    given = []
    for _ in range(8):
        before = len(WORLD.told)
        port.receive(bytearray(1))
        if waiting and port.send(waiting[0]):
            waiting.pop(0)
        port.flush()
        given.append(len(WORLD.told) - before)
    assert max(given) == MOST_OUT, given
    assert bytes(WORLD.told) == b"".join(lines)


class OneHost:
    """A board that hears a host that asks in every second pass, counts lines by the pass, and collects every sixth."""

    blind_ms = 0

    def __init__(self):
        self.identity = Identity("bench", 0, 1, 0, 1)
        self.backup = [0] * WORDS
        self.store = self
        self.lines = [0]

    def now_ms(self):
        return 10 * len(self.lines)

    def read(self, *_):
        return b""

    def write(self, *_):
        raise AssertionError("nothing has turned")

    def apply(self, _):
        pass

    def off(self):
        pass

    def feed(self):
        pass

    def collect(self):
        return self.collects()

    def collects(self):
        return len(self.lines) % 6 == 0

    def receive(self, room):
        assert not self.collects()
        number = len(self.lines)
        if number % 2:
            return 0
        asked = encode(REQUEST, number, "status")
        room[: len(asked)] = asked
        return len(asked)

    def send(self, _):
        assert not self.collects()
        self.lines[-1] += 1
        return True

    def wait(self):
        self.lines.append(0)
        return len(self.lines) < 200


def a_pass_makes_one_line_at_most_and_none_where_it_collects_garbage():
    board = OneHost()
    run(board)
    assert max(board.lines) == 1
    # an answer in every second pass but those that collect, and progress between them
    assert sum(board.lines) > 75, sum(board.lines)


def garbage_is_collected_after_what_came_and_went_and_never_for_passes_alone():
    board = bench.switch_on("rp2", 1)
    assert not any(board.collect() for _ in range(1000))
    WORLD.room = 10000
    for _ in range(3):
        passes = 0
        while not board.collect():
            board.receive(bytearray(32))
            board.send(b"=7 progress 00000000\n")
            passes += 1
        # 24 of them leave 60 kB
        assert passes == 24, passes
    passes = 0
    while not board.collect():
        WORLD.typed.extend(b">7 status 00000000\n")
        board.receive(bytearray(32))
        board.send(b"=7 progress 00000000\n")
        passes += 1
    assert passes == 12, passes


PROMISES = (
    a_flood_is_taken_in_small_parts_and_none_of_it_is_lost,
    a_pass_gives_no_more_than_its_part_and_lines_keep_their_order,
    a_pass_makes_one_line_at_most_and_none_where_it_collects_garbage,
    garbage_is_collected_after_what_came_and_went_and_never_for_passes_alone,
)

if __name__ == "__main__":
    keep(PROMISES)
