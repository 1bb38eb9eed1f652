"""What can be wrong with a file that ought to be a workbook."""

from __future__ import annotations

import io
import warnings
import zipfile
from pathlib import Path
from typing import Any

import openpyxl

#: Endings of workbooks, in small letters: plain, and with macros.
ENDINGS = (".xlsx", ".xlsm")

_OLE = bytes.fromhex("D0CF11E0A1B11AE1")
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")


class WorkbookProblem(Exception):
    """A file cannot be used; the message is a plain sentence that names the file."""


def content(path: str | Path) -> bytes:
    """The bytes of an .xlsx workbook; raises `WorkbookProblem` if it cannot be one."""
    path = Path(path)
    name = path.name
    not_one = f"{name} is not an Excel workbook (.xlsx)"
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise WorkbookProblem(f"{name} does not exist in {path.parent.absolute()}") from None
    except IsADirectoryError:
        raise WorkbookProblem(f"{not_one}: it is a folder") from None
    except OSError as error:
        raise WorkbookProblem(f"{name} cannot be read: {error.strerror}") from None
    if data.startswith(_OLE):
        if _ENCRYPTED in data:
            raise WorkbookProblem(f"{name} is protected by a password: save it without one first")
        raise WorkbookProblem(f"{not_one}: it is an older kind (.xls); save it as .xlsx first")
    if not data:
        raise WorkbookProblem(f"{not_one}: it is empty")
    if not data.startswith(b"PK"):
        raise WorkbookProblem(f"{not_one}: it is another kind of file")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.namelist()
            broken = archive.testzip()
    except Exception as error:  # zipfile raises many kinds for a damaged archive
        raise damaged(path) from error
    if broken:
        raise damaged(path)
    if "[Content_Types].xml" not in parts or "xl/workbook.bin" in parts:
        raise WorkbookProblem(f"{not_one}: it is another kind of document")
    return data


def damaged(path: str | Path) -> WorkbookProblem:
    """The problem of a file whose parts cannot be read."""
    return WorkbookProblem(f"{Path(path).name} is cut short or damaged")


def load(path: str | Path, **options: Any) -> Any:
    """A workbook read by openpyxl (`options` are passed to it); raises `WorkbookProblem`."""
    data = content(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about extensions that a reader does not need
            return openpyxl.load_workbook(io.BytesIO(data), **options)
    except Exception as error:  # openpyxl raises whatever a wrong part leads to
        raise damaged(path) from error
