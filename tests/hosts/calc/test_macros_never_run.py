"""A document whose macro leaves a mark when it is computed leaves none in our offices.

Of an OpenDocument file, because its macros are plain text that a test can write; the office asks
the same setting for the macros of every kind of file.
"""

import time
import zipfile
from pathlib import Path

import pytest

from xlfuncs.hosts.calc import runner, session

OFFICE = "urn:oasis:names:tc:opendocument:xmlns"
PARTS = {
    "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
    "META-INF/manifest.xml": f"""<manifest:manifest xmlns:manifest="{OFFICE}:manifest:1.0">
<manifest:file-entry manifest:full-path="/"
 manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>
<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>
<manifest:file-entry manifest:full-path="Basic/script-lc.xml" manifest:media-type="text/xml"/>
<manifest:file-entry manifest:full-path="Basic/Standard/script-lb.xml"
 manifest:media-type="text/xml"/>
<manifest:file-entry manifest:full-path="Basic/Standard/Mark.xml" manifest:media-type="text/xml"/>
</manifest:manifest>""",
    "content.xml": f"""<office:document-content xmlns:office="{OFFICE}:office:1.0"
 xmlns:table="{OFFICE}:table:1.0"
 xmlns:of="{OFFICE}:of:1.2"
 office:version="1.2"><office:body><office:spreadsheet>
<table:table table:name="Log"><table:table-row><table:table-cell table:formula="of:=12.4*2"/>
<table:table-cell table:formula="of:=MARK()"/>
</table:table-row></table:table></office:spreadsheet></office:body></office:document-content>""",
    "Basic/script-lc.xml": """<library:libraries
 xmlns:library="http://openoffice.org/2000/library" xmlns:xlink="http://www.w3.org/1999/xlink">
<library:library library:name="Standard" library:link="false"/></library:libraries>""",
    "Basic/Standard/script-lb.xml": """<library:library
 xmlns:library="http://openoffice.org/2000/library" library:name="Standard"
 library:readonly="false" library:passwordprotected="false">
<library:element library:name="Mark"/></library:library>""",
}
MODULE = """<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Mark"
 script:language="StarBasic">Function Mark
Open &quot;{mark}&quot; For Output As #1
Print #1, &quot;it ran&quot;
Close #1
Mark = 7
End Function
</script:module>"""


@pytest.fixture
def mark(tmp_path):
    """The file that the macro writes."""
    return tmp_path / "mark.txt"


@pytest.fixture
def document(tmp_path, mark):
    path = tmp_path / "macro.ods"
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in PARTS.items():
            archive.writestr(name, text)
        archive.writestr("Basic/Standard/Mark.xml", MODULE.format(mark=mark))
    return path


def _computed(office, profile, document):
    """Compute it as the careless do: with a word to the office that macros may run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session, "_DRIVER", Path(__file__).with_name("macro_driver.py"))
        task = {"do": "compute", "file": str(document)}
        session.run(office, profile, task, time.monotonic() + 60)


def test_macros_never_run(needs_office, tmp_path, document, mark):
    deadline = time.monotonic() + 60
    profile = runner._profile(needs_office, tmp_path, True, deadline)
    answer = session.run(needs_office, profile, {"do": "values", "file": str(document)}, deadline)
    assert answer["values"] == [["Log", 0, 0, 24.8], ["Log", 0, 1, "#VALUE!"]]
    assert not mark.exists()
    # Twice forbidden: the settings of our profile hold although the caller would let it run.
    _computed(needs_office, profile, document)
    assert not mark.exists()


def test_an_office_of_ordinary_settings_would_run_it(needs_office, tmp_path, document, mark):
    """The control."""
    (tmp_path / "bare" / "user").mkdir(parents=True)
    _computed(needs_office, tmp_path / "bare", document)
    assert mark.read_text().strip() == "it ran"
