"""What a user puts into a workbook besides entries, so that tests can look for it again."""

from __future__ import annotations

import base64

from openpyxl.chart import LineChart, Reference
from openpyxl.comments import Comment
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook.defined_name import DefinedName

from xlfuncs.files import package

#: A red dot.
PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAUAAAAFCAYAAACNbyblAAAAHElEQVQI12P4//8/w38GIAXDIBKE0DHxgljNBAAO"
    "9TXL0Y4OHwAAAABJRU5ErkJggg=="
)
_DRAWN = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
_MAIN = "http://schemas.openxmlformats.org/drawingml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def put_in(book, beside, first_line):
    """Cells beside the log, a comment, a sheet with formulas, rules, a name and a chart."""
    log = book["Log"]
    log[f"{beside}{first_line - 2}"] = "Weather"
    log[f"{beside}{first_line}"] = "fog"
    log[f"{beside}{first_line + 2}"] = "rain"
    log[f"{beside}{first_line + 2}"].font = Font(bold=True, color="FF00AA00")
    log[f"{beside}{first_line + 3}"] = f"=E{first_line + 3}*2"
    log[f"E{first_line}"].comment = Comment("read twice", "the brewer")
    own = book.create_sheet("Hops & malt")
    own["A1"], own["B1"] = "In the shed, kg", 12.5
    own["A2"], own["B2"] = "Readings", "=COUNT(log_reading)"
    own["A3"], own["B3"] = "First", f"=Log!E{first_line}"
    own["A4"], own["B4"] = "Most", "=MAX(B1:B3)"
    own["B1"].fill = PatternFill("solid", fgColor="FFFFEE00")
    own["B1"].number_format = '0.000 "kg"'
    own["A1"].comment = Comment("counted in March", "the brewer")
    own.conditional_formatting.add(
        "B1:B4", FormulaRule(formula=["B1>10"], font=Font(color="FFFF0000"))
    )
    chart = LineChart()
    reading = Reference(log, range_string=f"Log!$E${first_line}:$E${first_line + 9}")
    chart.add_data(reading, titles_from_data=False)
    own.add_chart(chart, "D2")
    book.defined_names["shed"] = DefinedName("shed", attr_text="'Hops & malt'!$B$1")


def picture(data, title, row, column):
    """The workbook with a picture on a sheet, over a cell that is counted from 1."""
    parts = package.unpacked(data)
    _, sheets = package.sheet_parts(parts)
    image = package.free_name(parts, "xl/media/image1.png")
    parts[image] = PICTURE
    types = parts["[Content_Types].xml"].decode()
    png = '<Default Extension="png" ContentType="image/png"/>'
    at = types.index(">", types.index("<Types")) + 1
    parts["[Content_Types].xml"] = (types[:at] + png + types[at:]).encode()
    drawing = next(
        one.target for one in package.relations(parts, sheets[title]) if one.what == "drawing"
    )
    identity = package.relate(parts, drawing, f"{_OFFICE}/image", image)
    anchor = (
        f'<xdr:oneCellAnchor xmlns:xdr="{_DRAWN}" xmlns:a="{_MAIN}" xmlns:r="{_OFFICE}">'
        f"<xdr:from><xdr:col>{column - 1}</xdr:col><xdr:colOff>0</xdr:colOff>"
        f"<xdr:row>{row - 1}</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:from>"
        '<xdr:ext cx="360000" cy="360000"/><xdr:pic><xdr:nvPicPr>'
        '<xdr:cNvPr id="77" name="The mash tun"/><xdr:cNvPicPr/></xdr:nvPicPr><xdr:blipFill>'
        f'<a:blip r:embed="{identity}"/><a:stretch><a:fillRect/></a:stretch></xdr:blipFill>'
        '<xdr:spPr><a:xfrm><a:off x="0" y="0"/><a:ext cx="360000" cy="360000"/></a:xfrm>'
        '<a:prstGeom prst="rect"><a:avLst/></a:prstGeom></xdr:spPr></xdr:pic><xdr:clientData/>'
        "</xdr:oneCellAnchor>"
    )
    text = parts[drawing].decode()
    end = text.rindex("</")
    parts[drawing] = (text[:end] + anchor + text[end:]).encode()
    return package.packed(parts)
