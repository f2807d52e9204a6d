"""The picture in the README is what the live view draws."""

import xml.etree.ElementTree as ElementTree

from pictures.live_view import PICTURE, drawn


def test_the_picture_on_disk_is_what_the_view_draws_today():
    assert PICTURE.read_text(encoding="utf-8") == drawn(), "out of date: run `python tests/pictures/live_view.py`"


def test_drawing_it_again_gives_the_same_picture():
    assert drawn() == drawn()


def test_the_picture_is_whole_xml_and_fetches_nothing():
    root = ElementTree.fromstring(drawn())  # noqa: S314 - our own drawing

    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert drawn().count("http") == 1  # the name space alone
