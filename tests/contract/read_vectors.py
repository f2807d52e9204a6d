"""Reads every line of vectors.json and writes it anew; prints what it found. Runs on both interpreters.

Arguments: the folder of windlink, the vectors' path.
"""

import json
import sys

sys.path.insert(0, sys.argv[1])

from windlink.codec import decode, encode
from windlink.frame import FrameError

with open(sys.argv[2]) as file:
    vectors = json.load(file)

for vector in vectors["valid"]:
    line = vector["line"].encode()
    message, sequence, values = decode(line)
    names = [field.name for field in message.fields]
    wanted = [value for _, value in vector["fields"]]
    assert (message.kind, message.verb, sequence) == (vector["kind"], vector["verb"], vector["sequence"]), line
    assert list(values) == wanted, line
    assert [name for name, _ in vector["fields"]][: len(names)] == names, line
    assert encode(message.kind, sequence, message.verb, values) == line, line
    print("valid", vector["line"].strip())

for vector in vectors["invalid"]:
    try:
        decode(vector["line"].encode())
    except FrameError as reason:
        print("ignored:", vector["why"], "-", reason.args[0])
    else:
        raise AssertionError(vector["why"])
