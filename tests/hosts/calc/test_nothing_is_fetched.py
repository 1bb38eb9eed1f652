"""A workbook that asks for the network is computed and printed without a word to it.

A server of our own counts who comes; a control with an office of ordinary settings does come, so
that the silence of ours says something.
"""

import http.server
import threading
import zipfile

import openpyxl
import pytest

from xlfuncs.hosts import embedded
from xlfuncs.hosts.calc import runner

REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
DRAWING = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
ART = "http://schemas.openxmlformats.org/drawingml/2006/main"


@pytest.fixture
def server():
    """Address of a server, and the list of what it was asked for."""
    asked = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def parse_request(self):
            understood = super().parse_request()
            asked.append(self.path)  # whatever the method
            return understood

        def do_GET(self):
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"42")

        def log_message(self, *_):
            """Nothing to say."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as running:
        threading.Thread(target=running.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{running.server_port}", asked
        running.shutdown()


def relations(*targets):
    outside = ' TargetMode="External"'
    links = "".join(
        f'<Relationship Id="rId{i}" Type="{REL}/{kind}" Target="{target}"'
        f"{outside if '://' in target else ''}/>"
        for i, (kind, target) in enumerate(targets, 1)
    )
    return f'<Relationships xmlns="{PACKAGE}">{links}</Relationships>'


def picture(address):
    return f"""<xdr:wsDr xmlns:xdr="{DRAWING}" xmlns:a="{ART}" xmlns:r="{REL}"><xdr:twoCellAnchor>
<xdr:from><xdr:col>3</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>3</xdr:row><xdr:rowOff>0</xdr:rowOff>
</xdr:from><xdr:to><xdr:col>6</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>9</xdr:row>
<xdr:rowOff>0</xdr:rowOff></xdr:to><xdr:pic><xdr:nvPicPr><xdr:cNvPr id="2" name="p"/><xdr:cNvPicPr/>
</xdr:nvPicPr><xdr:blipFill><a:blip r:link="rId1"/><a:stretch><a:fillRect/></a:stretch>
</xdr:blipFill><xdr:spPr><a:xfrm><a:off x="0" y="0"/><a:ext cx="900000" cy="900000"/></a:xfrm>
<a:prstGeom prst="rect"><a:avLst/></a:prstGeom></xdr:spPr></xdr:pic><xdr:clientData/>
</xdr:twoCellAnchor></xdr:wsDr>"""


@pytest.fixture
def curious(tmp_path, server):
    """A workbook with a linked picture, a web function, a DDE link and a link to a workbook."""
    address, _ = server
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    sheet["A1"] = 12.4
    sheet["A2"] = "=A1*2"
    sheet["A3"] = f'=_xlfn.WEBSERVICE("{address}/webservice")'
    sheet["A4"] = "=[1]Sheet1!$A$1"
    sheet["A5"] = "=[2]!item"
    sheet["A6"] = f'=HYPERLINK("{address}/hyperlink","go")'
    plain = tmp_path / "plain.xlsx"
    book.save(plain)
    with zipfile.ZipFile(plain) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    parts["xl/drawings/drawing1.xml"] = picture(address)
    parts["xl/drawings/_rels/drawing1.xml.rels"] = relations(("image", f"{address}/picture.png"))
    parts["xl/worksheets/_rels/sheet1.xml.rels"] = relations(
        ("drawing", "../drawings/drawing1.xml")
    )
    sheet_part = "xl/worksheets/sheet1.xml"
    parts[sheet_part] = parts[sheet_part].replace(
        "</worksheet>", f'<drawing xmlns:r="{REL}" r:id="rId1"/></worksheet>'
    )
    parts["xl/externalLinks/externalLink1.xml"] = (
        f'<externalLink xmlns="{MAIN}"><externalBook xmlns:r="{REL}" r:id="rId1"><sheetNames>'
        '<sheetName val="Sheet1"/></sheetNames></externalBook></externalLink>'
    )
    parts["xl/externalLinks/_rels/externalLink1.xml.rels"] = relations(
        ("externalLinkPath", f"{address}/other.xlsx")
    )
    parts["xl/externalLinks/externalLink2.xml"] = (
        f'<externalLink xmlns="{MAIN}"><ddeLink ddeService="soffice" ddeTopic="{address}/dde">'
        '<ddeItems><ddeItem name="item" advise="1"/></ddeItems></ddeLink></externalLink>'
    )
    book_part, rels = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
    links = "".join(
        f'<Relationship Id="link{i}" Type="{REL}/externalLink" '
        f'Target="externalLinks/externalLink{i}.xml"/>'
        for i in (1, 2)
    )
    parts[rels] = parts[rels].replace("</Relationships>", f"{links}</Relationships>")
    references = (
        f'<externalReferences xmlns:r="{REL}"><externalReference r:id="link1"/>'
        '<externalReference r:id="link2"/></externalReferences>'
    )
    parts[book_part] = parts[book_part].replace("<calcPr", f"{references}<calcPr")
    kind = "application/vnd.openxmlformats-officedocument"
    types = (
        f'<Override PartName="/xl/drawings/drawing1.xml" ContentType="{kind}.drawing+xml"/>'
        + "".join(
            f'<Override PartName="/xl/externalLinks/externalLink{i}.xml" '
            f'ContentType="{kind}.spreadsheetml.externalLink+xml"/>'
            for i in (1, 2)
        )
    )
    name = "[Content_Types].xml"
    parts[name] = parts[name].replace("</Types>", f"{types}</Types>")
    path = tmp_path / "curious.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        for part, text in parts.items():
            archive.writestr(part, text)
    return path


def test_the_embedded_engine_names_what_would_be_fetched(curious, server):
    calculation = embedded.calculate(curious)
    assert calculation.values["Log", "A2"] == 24.8
    assert {address for _, address, _ in calculation.failures} == {"A3", "A4", "A5"}
    assert server[1] == []


def test_computing_and_printing_ask_nobody(needs_office, curious, server, tmp_path):
    values = runner.compute(curious)
    assert values["Log", "A2"] == 24.8
    runner.print_pdf(curious, tmp_path / "out.pdf")
    assert (tmp_path / "out.pdf").read_bytes().startswith(b"%PDF-")
    assert server[1] == []


def test_an_office_of_ordinary_settings_would_ask(
    needs_office, curious, server, tmp_path, monkeypatch
):
    """The control."""
    monkeypatch.setattr(runner, "_SETTINGS", {"/org.openoffice.Office.Common/Misc": {
        "FirstRun": False}})  # fmt: skip
    runner.print_pdf(curious, tmp_path / "out.pdf")
    assert "/picture.png" in server[1]
