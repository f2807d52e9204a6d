"""The drawing of a circuit as SVG, and what a drawing says, read back from its text.

Each wire is a straight line from the board's box on the left to a part's box on the right, so the three texts of a
wire - pin, role, terminal - stand at one height, and a test can read from the drawing what a person reads.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from typing import TYPE_CHECKING, Literal

import schemdraw
from schemdraw import elements

from wiring.circuit import DRIVER, INVERTER, INVERTER_TITLE, LIVE_RESISTOR, MOTORS, PARTS, PLUGS, POWER_PARTS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from wiring.circuit import Circuit, Component, Row

Side = Literal["left", "center", "right"]

_BOARD_X, _ROLE_X, _PART_X, _BOX = 0.0, 0.4, 11.0, 6.0
_ROW, _TALL_ROW, _PART_GAP = 0.9, 2.4, 1.0
_ACROSS_GAP = 2.6  # between two small parts that stand at one wire
_PLUG_X, _PLUG_GAP, _BEYOND_PLUG_X = 6.6, 0.2, 8.0
_BEFORE_GATE_X, _GATE_X, _ENABLE_X = 7.3, 8.9, 10.5  # of an enable that is active low: pull-down, inverter, pull-up
_SENSOR_PLUG_X = 8.0  # beyond the parts at the board
_RESERVE_X, _LIVE_X = 9.3, 10.5  # of the capacitor at the driver, and of the lamp across it
_SIZE, _SMALL = 11, 9
_POINTS_OF_A_ROW = 6.0  # two texts nearer than that in height stand on one line


def drawn(circuit: Circuit) -> str:
    """The SVG of a circuit."""
    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"
    sheet = schemdraw.Drawing(show=False)
    sheet.config(fontsize=_SIZE, lw=1.2, margin=0.4, bgcolor="white")
    y = 0.0
    for part in circuit.parts():
        rows = [row for row in circuit.rows if row.part == part]
        top = y
        for row in rows:
            _wire(sheet, row, y)
            y -= _TALL_ROW if _hangs(row) else _ROW
        _box(sheet, _PART_X, top, y, f"{part} {PARTS[part][0]}", left=True)
        if part in PLUGS:
            ref, title = PLUGS[part]
            _text(sheet, (_plug_x(rows[0]), top + 0.85), f"{ref} {title}", "center", _SMALL)
        y -= _PART_GAP
    _box(sheet, _BOARD_X - _BOX, 0.0, y + _PART_GAP, f"U1 {circuit.board}", left=False)
    _text(sheet, (_BOARD_X - _BOX, 1.6), f"Wiring of {circuit.title}", "left", _SIZE + 3)
    if circuit.has_motor:
        _power(sheet, y - 1.5, guard_drops=circuit.guard_drops_motor)
        _motor(sheet, circuit.drive, y - 9.0)
    return str(sheet.get_imagedata("svg").decode())


def read_wires(svg: str) -> set[tuple[str, str, str, str]]:
    """The wires that a drawing shows: (pin of the board, role or supply, part, terminal)."""
    placed = sorted(_texts(svg))
    titles = [
        (y, text.split()[0]) for _, y, text in placed if re.match(r"[A-Z]\d+ ", text) and text.split()[0] in PARTS
    ]
    found = set()
    for left, y, pin in placed:
        if not re.match(r"(GP\d|IO\d|3V3|VBUS|5V|GND)", pin):
            continue
        line = [(x, text) for x, other, text in placed if x > left and abs(other - y) < _POINTS_OF_A_ROW]
        if len(line) == 2:
            (_, role), (_, name) = line
            # the title stands over its box: the nearest one above is the part's
            part = max((title for title in titles if title[0] < y), key=lambda title: title[0])[1]
            found.add((pin, role, part, name))
    return found


def read_components(svg: str) -> set[tuple[str, str]]:
    """The small parts that a drawing shows: (ref, value)."""
    texts = (text for _, _, text in _texts(svg))
    return {(found[1], found[2]) for text in texts if (found := re.fullmatch(r"([RC]\d+) (\d.+)", text))}


def read_parts(svg: str) -> set[str]:
    """The refs of all boxes and of the power circuit's parts."""
    return {text.split()[0] for _, _, text in _texts(svg) if re.match(r"[A-Z]\d+ [a-zA-Z]", text)}


def _texts(svg: str) -> list[tuple[float, float, str]]:
    """(x, y of the baseline, text) of all text."""
    space = "{http://www.w3.org/2000/svg}"
    found = []
    for text in ElementTree.fromstring(svg).iter(f"{space}text"):  # noqa: S314 - our own drawing
        for line in text.iter(f"{space}tspan"):
            found.append((float(line.get("x", 0)), float(text.get("y", 0)) + float(line.get("dy", 0)), line.text or ""))
    return found


def _hangs(row: Row) -> bool:
    """Whether a small part hangs below or stands above the wire."""
    return any(_is_across(component, row) for component in row.components)


def _is_across(component: Component, row: Row) -> bool:
    return component.ends[0] == row.label


def _text(sheet: schemdraw.Drawing, at: tuple[float, float], text: str, side: Side, size: int = _SIZE) -> None:
    sheet.add(elements.Label().at(at).label(text, halign=side, valign="center", ofst=0, fontsize=size))


def _box(sheet: schemdraw.Drawing, x: float, top: float, bottom: float, title: str, *, left: bool) -> None:
    sheet.add(elements.Rect(corner1=(x, top + 0.5), corner2=(x + _BOX, bottom + 0.4)).at((0, 0)))
    _text(sheet, (x, top + 0.85) if left else (x + 0.1, top + 0.85), title, "left")


def _wire(sheet: schemdraw.Drawing, row: Row, y: float) -> None:
    _text(sheet, (_BOARD_X - 0.2, y), row.pin, "right")
    _text(sheet, (_PART_X + 0.2, y), row.name, "left")
    _text(sheet, (_ROLE_X, y), row.label, "left", _SMALL)
    x = _ROLE_X + 2.9
    sheet.add(elements.Line().at((_BOARD_X, y)).to((_ROLE_X - 0.1, y)))
    sheet.add(elements.Line().at((x - 0.6, y)).to((x, y)))
    across = [each for each in row.components if _is_across(each, row) and not each.beyond_plug]
    for place, component in enumerate(across):
        if place:
            sheet.add(elements.Line().at((x, y)).to((x + _ACROSS_GAP, y)))
            x += _ACROSS_GAP
        _across(sheet, component, x, y)
    for component in [each for each in row.components if not _is_across(each, row) and not each.beyond_plug]:
        start = x + 2.4
        sheet.add(elements.Line().at((x, y)).to((start, y)))
        sheet.add(elements.Resistor().at((start, y)).right().length(1.6))
        _text(sheet, (start + 0.8, y - 0.55), f"{component.ref} {component.value}", "center", _SMALL)
        x = start + 1.6
    if row.through:
        start = x + 2.2
        sheet.add(elements.Line().at((x, y)).to((start, y)))
        sheet.add(elements.Button(nc=True).at((start, y)).right().length(2.0))
        _text(sheet, (start + 1.0, y - 0.65), _contact(POWER_PARTS, *row.through[::-1]), "center", _SMALL)
        x = start + 2.0
    if row.plug:
        plug_x = _plug_x(row)
        sheet.add(elements.Line().at((x, y)).to((plug_x, y)))
        for tip in (plug_x, plug_x + _PLUG_GAP):
            for side in (_PLUG_GAP, -_PLUG_GAP):
                sheet.add(elements.Line().at((tip - _PLUG_GAP, y + side)).to((tip, y)))
        x = plug_x + _PLUG_GAP
    for component in [each for each in row.components if each.beyond_plug and _is_across(each, row)]:
        hangs_at = _BEFORE_GATE_X if row.inverted else _BEYOND_PLUG_X
        sheet.add(elements.Line().at((x, y)).to((hangs_at, y)))
        x = hangs_at
        _across(sheet, component, x, y)
    if row.inverted:
        _inverter(sheet, row, x, y)
        x = _ENABLE_X
    sheet.add(elements.Line().at((x, y)).to((_PART_X, y)))


def _inverter(sheet: schemdraw.Drawing, row: Row, x: float, y: float) -> None:
    """The transistor before an input that is active low, and the resistor that pulls the input up."""
    sheet.add(elements.Line().at((x, y)).to((_GATE_X, y)))
    transistor = sheet.add(elements.NFet().theta(0).reverse().anchor("gate").at((_GATE_X, y)))
    drain, source = transistor.absanchors["drain"], transistor.absanchors["source"]
    sheet.add(elements.Ground().at(source))
    _text(sheet, (source[0] - 0.4, source[1] - 0.6), f"{INVERTER} {INVERTER_TITLE}", "right", _SMALL)
    sheet.add(elements.Line().at(drain).to((_ENABLE_X, drain[1])))
    sheet.add(elements.Line().at((_ENABLE_X, drain[1])).to((_ENABLE_X, y)))
    sheet.add(elements.Dot().at((_ENABLE_X, drain[1])))
    pull_up = row.components[-1]
    sheet.add(elements.Resistor().at((_ENABLE_X, drain[1])).up().length(1.1))
    _text(sheet, (_ENABLE_X - 0.4, drain[1] + 0.55), f"{pull_up.ref} {pull_up.value}", "right", _SMALL)
    _text(sheet, (_ENABLE_X, drain[1] + 1.35), f"to VCC of {row.part}", "center", _SMALL)


def _plug_x(row: Row) -> float:
    """Where a wire's plug stands: before what hangs on the part's side of it."""
    return _PLUG_X if row.part == DRIVER else _SENSOR_PLUG_X


def _across(sheet: schemdraw.Drawing, component: Component, x: float, y: float) -> None:
    """A small part from a place of a wire to ground or to a supply."""
    sheet.add(elements.Dot().at((x, y)))
    kind = elements.Capacitor if component.ref.startswith("C") else elements.Resistor
    sheet.add(kind().at((x, y)).down().length(1.3))
    _text(sheet, (x + 0.5, y - 0.65), f"{component.ref} {component.value}", "left", _SMALL)
    if component.ends[1] == "GND":
        sheet.add(elements.Ground().at((x, y - 1.3)))
    else:
        _text(sheet, (x, y - 1.5), f"to {component.ends[1]} of U1", "center", _SMALL)


def _contact(titles: Mapping[str, str], one: str, other: str) -> str:
    """What stands at a contact, by its two terminals: "S0 emergency stop, latches: 11 to 12"."""
    ref, _, number = one.partition(".")
    return f"{ref} {titles[ref]}: {number} to {other.partition('.')[2]}"


def _power(sheet: schemdraw.Drawing, y: float, *, guard_drops: bool) -> None:
    """The motor's supply. Fixed but for the guard: it knows nothing of the board's pins."""
    left = _BOARD_X - _BOX
    _text(sheet, (left, y + 1.3), "Motor supply: apart from the logic's; no wire of the board takes part", "left")
    x = left + 2.0
    low = y - 5.2
    sheet.add(elements.Battery().at((left, low)).to((left, y)).reverse())
    _text(sheet, (left + 0.6, (y + low) / 2), f"G1 {POWER_PARTS['G1']}", "left", _SMALL)
    sheet.add(elements.Line().at((left, y)).to((x, y)))
    sheet.add(elements.Fuse().at((x, y)).right().length(2))
    _text(sheet, (x + 1, y + 0.6), f"F1 {POWER_PARTS['F1']}", "center", _SMALL)
    tap = x + 3.2
    sheet.add(elements.Line().at((x + 2, y)).to((tap, y)))
    sheet.add(elements.Dot().at((tap, y)))
    sheet.add(elements.Switch().at((tap + 1.5, y)).right().length(2))
    sheet.add(elements.Line().at((tap, y)).to((tap + 1.5, y)))
    _text(sheet, (tap + 2.5, y + 0.8), f"K1 {POWER_PARTS['K1']}: 1 to 2", "center", _SMALL)
    sheet.add(elements.Arrow().at((tap + 3.5, y)).to((_PART_X, y)))
    _text(sheet, (_PART_X + 0.2, y), "A1 VM", "left")
    # beside the driver, on its side of the contactor
    for x_across in (_RESERVE_X, _LIVE_X):
        sheet.add(elements.Dot().at((x_across, y)))
        sheet.add(elements.Dot().at((x_across, low)))
    sheet.add(elements.Capacitor2(polar=True).at((_RESERVE_X, y)).to((_RESERVE_X, low)))
    _text(sheet, (_RESERVE_X - 0.3, y - 0.6), f"C0 {POWER_PARTS['C0']}", "right", _SMALL)
    half = (y + low) / 2
    sheet.add(elements.Resistor().at((_LIVE_X, y)).to((_LIVE_X, half)))
    sheet.add(elements.LED().at((_LIVE_X, half)).to((_LIVE_X, low)))
    _text(sheet, (_LIVE_X + 0.5, (y + half) / 2), f"{LIVE_RESISTOR.ref} {LIVE_RESISTOR.value}", "left", _SMALL)
    _text(sheet, (_LIVE_X + 0.8, (half + low) / 2), f"H0 {POWER_PARTS['H0']}", "left", _SMALL)
    # the chain that holds the contactor
    chain = y - 2.2
    if guard_drops:
        sheet.add(elements.Button(nc=True).at((tap, y)).to((tap, chain)))
        _text(sheet, (tap + 0.5, y - 0.8), _contact({"S4": "guard switch"}, "S4.21", "S4.22"), "left", _SMALL)
    else:
        sheet.add(elements.Line().at((tap, y)).to((tap, chain)))
    sheet.add(elements.Button(nc=True).at((tap, chain)).right().length(2.2))
    _text(sheet, (tap + 2.8, chain - 0.7), _contact(POWER_PARTS, "S0.11", "S0.12"), "right", _SMALL)
    hold = tap + 3.0
    sheet.add(elements.Line().at((tap + 2.2, chain)).to((hold, chain)))
    sheet.add(elements.Dot().at((hold, chain)))
    sheet.add(elements.Button().at((hold, chain)).right().length(2.4))
    _text(sheet, (hold + 1.2, chain + 0.65), f"S1 {POWER_PARTS['S1']}", "center", _SMALL)
    sheet.add(elements.Line().at((hold, chain)).to((hold, chain - 1.2)))
    sheet.add(elements.Switch().at((hold, chain - 1.2)).right().length(2.4))
    _text(sheet, (hold + 1.2, chain - 1.7), "K1 contactor: 13 to 14", "center", _SMALL)
    end = hold + 2.4
    sheet.add(elements.Line().at((end, chain - 1.2)).to((end, chain)))
    sheet.add(elements.Dot().at((end, chain)))
    coil = end + 1.6
    sheet.add(elements.Line().at((end, chain)).to((coil, chain)))
    sheet.add(elements.Inductor().at((coil, chain)).to((coil, low)))
    _text(sheet, (coil + 0.4, (chain + low) / 2 + 0.3), "K1 coil: A1 to A2", "left", _SMALL)
    diode = end + 0.7
    sheet.add(elements.Dot().at((diode, chain)))
    sheet.add(elements.Diode().at((diode, low)).to((diode, chain)))
    _text(sheet, (diode - 0.4, (chain + low) / 2 - 0.9), f"D1 {POWER_PARTS['D1']}", "right", _SMALL)
    sheet.add(elements.Line().at((left, low)).to((coil, low)))
    sheet.add(elements.Arrow().at((coil, low)).to((_PART_X, low)))
    _text(sheet, (_PART_X + 0.2, low), "A1 GND, and GND of U1 here alone", "left")


def _motor(sheet: schemdraw.Drawing, drive: str, y: float) -> None:
    """The motor at its driver."""
    title, nets, reversal = MOTORS[drive]
    top = y
    for at_driver, at_motor in nets.values():
        _text(sheet, (_PLUG_X - 0.2, y), at_driver.replace(".", " "), "right")
        sheet.add(elements.Line().at((_PLUG_X, y)).to((_PART_X, y)))
        _text(sheet, (_PART_X + 0.2, y), at_motor.partition(".")[2], "left")
        y -= _ROW
    _box(sheet, _PART_X, top, y, f"M1 {title}", left=True)
    mend = f"If the spool turns against the winding direction: {reversal}."
    _text(sheet, (_BOARD_X - _BOX, top), mend, "left", _SMALL)
