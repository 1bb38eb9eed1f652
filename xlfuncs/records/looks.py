"""The looks of cells, brought from one workbook's list of them into another's."""

from __future__ import annotations

from copy import deepcopy
from xml.etree import ElementTree

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
#: The lists of what looks are made of, and the attribute by which a look names each.
_MADE_OF = {"fonts": "fontId", "fills": "fillId", "borders": "borderId"}
#: Numbers of number formats below this one are the same in every workbook.
_FIRST_OWN = 164


def _q(name: str) -> str:
    return f"{{{_MAIN}}}{name}"


class Looks:
    """Looks of an old workbook put into a new one; each is brought when it is asked for."""

    def __init__(self, old: bytes, new: bytes) -> None:
        ElementTree.register_namespace("", _MAIN)
        self._old, self._new = ElementTree.fromstring(old), ElementTree.fromstring(new)
        self._cells: dict[int, int] = {}
        self._rules: dict[int, int] = {}
        self._parts: dict[tuple[str, int], int] = {}

    def written(self) -> bytes:
        """The new workbook's part of looks."""
        return bytes(ElementTree.tostring(self._new, encoding="utf-8", xml_declaration=True))

    def cell(self, number: int) -> int:
        """The number that the look of a cell has now."""
        if number not in self._cells:
            self._cells[number] = self._cell(number)
        return self._cells[number]

    def rule(self, number: int) -> int:
        """The number that the look given by a condition has now."""
        if number not in self._rules:
            found = self._at("dxfs", number)
            self._rules[number] = 0 if found is None else self._put("dxfs", found)
        return self._rules[number]

    def _cell(self, number: int) -> int:
        found = self._at("cellXfs", number)
        if found is None:
            return 0
        look = _bare(found)
        look.set("xfId", "0")
        for parts, attribute in _MADE_OF.items():
            look.set(attribute, str(self._part(parts, int(look.get(attribute, "0")))))
            look.set(f"apply{attribute.removesuffix('Id').capitalize()}", "1")
        look.set("numFmtId", str(self._format(int(look.get("numFmtId", "0")))))
        look.set("applyNumberFormat", "1")
        return self._put("cellXfs", look)

    def _part(self, parts: str, number: int) -> int:
        if (parts, number) not in self._parts:
            found = self._at(parts, number)
            self._parts[parts, number] = 0 if found is None else self._put(parts, found)
        return self._parts[parts, number]

    def _format(self, number: int) -> int:
        if number < _FIRST_OWN:
            return number
        formats = {
            one.get("numFmtId"): one.get("formatCode", "General")
            for one in self._old.iterfind(f"{_q('numFmts')}/{_q('numFmt')}")
        }
        code = formats.get(str(number), "General")
        held = self._list("numFmts")
        for one in held:
            if one.get("formatCode") == code:
                return int(one.get("numFmtId", "0"))
        known = [int(one.get("numFmtId", "0")) for one in held]
        new = max([*known, _FIRST_OWN - 1]) + 1
        ElementTree.SubElement(held, _q("numFmt"), numFmtId=str(new), formatCode=code)
        held.set("count", str(len(held)))
        return new

    def _at(self, parts: str, number: int) -> ElementTree.Element | None:
        held = self._old.find(_q(parts))
        return held[number] if held is not None and 0 <= number < len(held) else None

    def _put(self, parts: str, look: ElementTree.Element) -> int:
        held = self._list(parts)
        held.append(_bare(look))
        held.set("count", str(len(held)))
        return len(held) - 1

    def _list(self, parts: str) -> ElementTree.Element:
        held = self._new.find(_q(parts))
        if held is None:  # only the formats of numbers and the looks of conditions may be missing
            held = ElementTree.Element(_q(parts))
            after = self._new.find(_q("cellStyles")) if parts == "dxfs" else None
            self._new.insert(0 if after is None else list(self._new).index(after) + 1, held)
        return held


def _bare(look: ElementTree.Element) -> ElementTree.Element:
    """A look without what only later programs know."""
    copy = deepcopy(look)
    for element in copy.iter():
        for name in [name for name in element.attrib if name.startswith("{")]:
            del element.attrib[name]
        for child in [child for child in element if not child.tag.startswith(f"{{{_MAIN}}}")
                      or child.tag == _q("extLst")]:  # fmt: skip
            element.remove(child)
    return copy
