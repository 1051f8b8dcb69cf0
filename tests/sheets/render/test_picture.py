"""A sheet shows itself in a notebook as SVG, and names itself where no picture can be shown."""

from xml.etree import ElementTree

from survey.record import read_record
from survey.sheets.record.survey_sheet import survey_sheet
from survey.sheets.render.picture import Picture
from survey.shipped import demo_record


def test_picture_is_svg_and_its_name_is_one_line():
    picture = Picture(survey_sheet(read_record(demo_record("loft_window"))))
    root = ElementTree.fromstring(picture._repr_svg_())
    assert root.tag.endswith("svg")
    assert (root.get("width"), root.get("height")) == ("1040", "735")
    assert repr(picture) == "<picture of the sheet 'Survey: what was measured'>"
