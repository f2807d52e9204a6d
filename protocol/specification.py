"""Writes the tables of README.md from the catalogue: `python protocol/specification.py`.

Each table stands behind a marker `<!-- name -->` and reaches to `<!-- end -->`.
"""

import re
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "firmware")]

from windcore.protections import BUDGET_MS, PROTECTIONS
from windcore.transitions import accepted_requests
from windlink import sentences
from windlink.catalogue import MESSAGES, STATE_REQUESTS
from windlink.frame import ANSWER, EVENT, PROGRESS, REQUEST
from windlink.job import JOB_FIELDS
from windlink.meanings import JOB, about_field, about_message

README = Path(__file__).with_name("README.md")


def messages() -> str:
    """One table for each kind of message, a row a field."""
    parts = []
    for title, kinds in (("Requests", REQUEST), ("Answers", ANSWER), ("Progress", PROGRESS), ("Events", EVENT)):
        rows = ["| message | field | range | meaning |", "| --- | --- | --- | --- |"]
        for message in (m for m in MESSAGES if m.kind == kinds):
            rows.append(f"| **{message.verb}** | | | {about_message(message)} |")
            rows += [
                f"| | {field.name} | {field.kind()} | {about_field(message, field.name)} |" for field in message.fields
            ]
        parts.append(f"### {title} `{kinds}`\n\n" + "\n".join(rows))
    return "\n\n".join(parts)


def job() -> str:
    """The values of a job, a row a position."""
    rows = ["| position | value | range | meaning |", "| --- | --- | --- | --- |"]
    rows += [f"| {at} | {field.name} | {field.kind()} | {JOB[field.name]} |" for at, field in enumerate(JOB_FIELDS)]
    return "\n".join(rows)


def codes(table: "dict[int, sentences.Saying]") -> str:
    """One table of codes, a row a code."""
    rows = ["| code | word | meaning | what to do |", "| --- | --- | --- | --- |"]
    rows += [f"| {code} | {say.word} | {say.sentence} | {say.remedy} |" for code, say in table.items()]
    return "\n".join(rows)


def protections() -> str:
    """What each trip acts on and how long it needs, from the firmware's own table."""
    rows = [f"| trip | acts when | needs beside {BUDGET_MS} ms | value | limit |", "| --- | --- | --- | --- | --- |"]
    for code, saying in sentences.TRIPS.items():
        rule = PROTECTIONS[code]
        rows.append(f"| {saying.word} | {rule.condition} | {rule.needs} | {rule.value} | {rule.limit} |")
    return "\n".join(rows)


def requests_by_state() -> str:
    """Which requests each state takes, from the session's own table."""
    rows = ["| state | takes |", "| --- | --- |"]
    for state, saying in sentences.STATES.items():
        taken = [f"`{verb}`" for bit, verb in enumerate(STATE_REQUESTS) if accepted_requests(state) >> bit & 1]
        rows.append(f"| {saying.word} | {', '.join(taken) or 'none'} |")
    return "\n".join(rows)


def tables() -> "dict[str, str]":
    """Every table under the name of its marker."""
    return {
        "messages": messages(),
        "job": job(),
        "requests_by_state": requests_by_state(),
        "protections": protections(),
        **{name.lower(): codes(table) for name, table in sentences.TABLES.items()},
    }


def updated(text: str) -> str:
    """The page with every table as the catalogue has it now."""
    for name, table in tables().items():
        pattern = re.compile(rf"<!-- {name} -->\n(?:(?:(?!<!-- ).)*<!-- end -->\n)?", re.DOTALL)
        block = f"<!-- {name} -->\n\n{table}\n\n<!-- end -->\n"
        text, count = pattern.subn(lambda _, block=block: block, text, count=1)
        if not count:
            raise SystemExit(f"{README.name} has no marker for {name}")
    names = ", ".join(f"`{verb}`" for verb in STATE_REQUESTS)
    return re.sub(r"is the first of: .*?\. Every", f"is the first of: {names}. Every", text, count=1)


if __name__ == "__main__":
    README.write_text(updated(README.read_text(encoding="utf-8")), encoding="utf-8")
