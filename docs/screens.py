"""Take a picture of each sheet of a workbook on the screen; run by the office's own Python.

Arguments: the office, the workbook, the folder for the pictures, then TITLE=NAME for each sheet.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import uno
from com.sun.star.connection import NoConnectException

_PIPE = "xlfuncs_screens"


def main(office: str, book: str, folder: str, *sheets: str) -> None:
    """Open the workbook, show one sheet after the other, and keep what is seen."""
    with tempfile.TemporaryDirectory() as profile:
        running = subprocess.Popen(
            [office, f"-env:UserInstallation={Path(profile).as_uri()}", "--norestore", "--nologo",
             "--nofirststartwizard", f"--accept=pipe,name={_PIPE};urp;"]
        )  # fmt: skip
        desktop = _desktop()
        document = desktop.loadComponentFromURL(Path(book).as_uri(), "_blank", 0, ())
        window = document.CurrentController.Frame.ContainerWindow
        window.IsMaximized = True
        window.setPosSize(0, 0, 1366, 768, 15)
        for sheet in sheets:
            title, _, name = sheet.rpartition("=")
            document.CurrentController.setActiveSheet(document.Sheets.getByName(title))
            time.sleep(1.5)
            picture = Path(folder) / f"screen-{name}.png"
            subprocess.run(["import", "-window", "root", "-colors", "64", picture], check=True)
        document.close(True)
        desktop.terminate()
        running.wait(20)


def _desktop():
    context = uno.getComponentContext()
    resolver = context.ServiceManager.createInstanceWithContext(
        "com.sun.star.bridge.UnoUrlResolver", context
    )
    for _ in range(120):
        try:
            remote = resolver.resolve(f"uno:pipe,name={_PIPE};urp;StarOffice.ComponentContext")
        except NoConnectException:
            time.sleep(0.5)
            continue
        return remote.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", remote)
    raise SystemExit("the office does not answer")


if __name__ == "__main__":
    main(*sys.argv[1:])
