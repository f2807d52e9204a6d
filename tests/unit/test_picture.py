"""The picture in the README is what the live view draws."""

import xml.etree.ElementTree as ElementTree

from pictures.live_view import PICTURE, drawn


def text_of(picture: str) -> list[str]:
    """All that can be read in it. How it is drawn is the terminal library's affair, and changes with its releases."""
    root = ElementTree.fromstring(picture)  # noqa: S314 - our own drawing
    return [text for each in root.iter("{http://www.w3.org/2000/svg}text") for text in each.itertext()]


def test_the_picture_on_disk_says_what_the_view_says_today():
    on_disk = PICTURE.read_text(encoding="utf-8")
    assert any("winding" in text for text in text_of(on_disk))
    assert text_of(on_disk) == text_of(drawn()), "out of date: run `python tests/pictures/live_view.py`"


def test_drawing_it_again_gives_the_same_picture():
    assert drawn() == drawn()


def test_the_picture_is_whole_xml_and_fetches_nothing():
    root = ElementTree.fromstring(drawn())  # noqa: S314 - our own drawing

    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert drawn().count("http") == 1  # the name space alone
