"""Whole parts of an old workbook that are its user's: sheets, pictures, names.

They are carried as parts, not by way of a reader that knows only some of what they may hold; only
what must change is edited: numbers of looks and texts, and references to cells that have moved.
"""

from __future__ import annotations

import html
import posixpath
import re
from collections.abc import Callable, Iterator
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

from openpyxl.utils import get_column_letter

from xlfuncs.files import package
from xlfuncs.files.calls import Calls
from xlfuncs.files.package import Parts, Relation, local
from xlfuncs.files.part import Scan, Tag
from xlfuncs.functions import CATALOGUE
from xlfuncs.records.looks import Looks
from xlfuncs.records.moves import CannotFollow, Moves
from xlfuncs.records.old import Lost, Old, Template

_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_STYLES, _TYPES = "xl/styles.xml", "[Content_Types].xml"
_DRAWING = "application/vnd.openxmlformats-officedocument.drawing+xml"
_DRAWN = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
#: What a sheet or a picture may refer to, and takes along.
_TAKEN = {"drawing", "chart", "image", "comments", "vmlDrawing", "hyperlink", "table",
          "chartColorStyle", "chartStyle", "themeOverride", "chartUserShapes"}  # fmt: skip
#: What is left behind without a loss: how a printer was set, and what stands in a comment too.
_PASSED_OVER = {"printerSettings", "threadedComment"}
_IN_WORDS = {"pivotTable": "a pivot table", "slicer": "a slicer", "timeline": "a timeline",
             "queryTable": "data from elsewhere", "oleObject": "an embedded object",
             "control": "a form control", "ctrlProp": "a form control",
             "package": "an embedded object", "diagramData": "a diagram"}  # fmt: skip
#: What may follow the drawing of a sheet.
_AFTER_DRAWING = {"legacyDrawing", "legacyDrawingHF", "drawingHF", "picture", "oleObjects",
                  "controls", "webPublishItems", "tableParts", "extLst"}  # fmt: skip
#: Attributes that name a relation; and a mark of identities that are new already.
_NAMING, _FRESH = ("id", "embed", "link", "pict", "dm", "lo", "qs", "cs"), "\N{SNOWMAN}"
_CALLS = Calls(CATALOGUE)

MACROS = "macros do not come along; a new workbook that ends in .xlsm has the functions' own"

Edit = tuple[int, int, str]


class Carrier:
    """Carries what is the user's from the parts of an old workbook into those of a new one."""

    def __init__(self, old: Old, made: Template, moves: Moves, new: Parts) -> None:
        self.old, self.made, self.moves, self.new = old, made, moves, new
        self.parts: Parts = package.unpacked(old.source.data)
        self.lost: list[Lost] = []
        self.notes: list[str] = []
        self._done: dict[str, str] = {}  # old parts, and their names in the new workbook
        self._texts = _shared_texts(self.parts)
        self._looks = Looks(self.parts[_STYLES], new[_STYLES])
        self._types = _types(self.parts)

    def carry(self) -> None:
        """Carry sheets, pictures on our sheets and names; what cannot be is in `lost`."""
        _, sheets = package.sheet_parts(self.parts)
        states = _states(self.parts)
        for title, now in self.moves.own.items():
            if title not in sheets:
                self.lost.append(Lost(title, "", "", "a sheet that is no table of cells"))
                continue
            self._sheet(title, now, sheets[title], states.get(title, "visible"))
        for title in self.moves.titles:
            if title in sheets:
                self._pictures(title, sheets[title])
        self._names()
        self._others()
        self.new[_STYLES] = self._looks.written()

    # --- sheets

    def _sheet(self, title: str, now: str, part: str, state: str) -> None:
        scan = Scan(self.parts[part])
        left = self._left_behind(title, part, now)
        identities = {one.identity for one in left}
        edits = list(self._sheet_edits(scan, title, now, identities))
        content = scan.edited(_outermost(edits))
        name = package.add_sheet_part(self.new, now, content, state=state)
        self._done[part] = name
        self._relate(part, name, title, now, identities)

    def _left_behind(self, title: str, part: str, now: str) -> list[Relation]:
        left = [one for one in package.relations(self.parts, part) if one.what not in _TAKEN]
        for one in left:
            if one.what not in _PASSED_OVER:
                what = _IN_WORDS.get(one.what, one.what)
                self.lost.append(Lost(title, "", "", f"{what} is not carried over; cells are"))
        return left

    def _sheet_edits(self, scan: Scan, title: str, now: str, left: set[str]) -> Iterator[Edit]:
        shared = _shared_formulas(scan)
        sheet = scan.tags[0]
        for part in sheet.children:
            if _refers(part, left):
                yield part.start, part.end, ""
        for tag in scan.tags:
            match local(tag.name):
                case "c":
                    yield from self._cell(scan, tag, title, now, shared)
                case "row" | "col":
                    which = "s" if local(tag.name) == "row" else "style"
                    if which in tag.attributes:
                        look = str(self._looks.cell(int(tag.attributes[which])))
                        yield _attributes(scan, tag, {**tag.attributes, which: look})
                case "cfRule":
                    if "dxfId" in tag.attributes:
                        look = str(self._looks.rule(int(tag.attributes["dxfId"])))
                        yield _attributes(scan, tag, {**tag.attributes, "dxfId": look})
                case "sheetView":
                    kept = {k: v for k, v in tag.attributes.items() if k != "tabSelected"}
                    yield _attributes(scan, tag, kept)
                case "formula" | "formula1" | "formula2":
                    yield from self._rule(scan, tag, title, now)
                case "f" if ":" in tag.name:  # of conditions that only later programs know
                    yield from self._rule(scan, tag, title, now)

    def _cell(
        self, scan: Scan, tag: Tag, title: str, now: str, shared: dict[str, tuple[str, str]]
    ) -> Iterator[Edit]:
        """A cell with its look and text as the new workbook counts them, its formula as it reads
        there."""
        attributes = {k: v for k, v in tag.attributes.items() if k not in ("cm", "vm")}
        inside = {local(child.name): child for child in tag.children}
        if "s" in attributes:
            attributes["s"] = str(self._looks.cell(int(attributes["s"])))
        formula = inside.get("f")
        said = ""
        if formula is not None:
            said = self._formula(scan, tag, formula, title, now, shared)
            yield formula.start, formula.end, said
        if "v" in inside and attributes.get("t") == "s":
            value = inside["v"]
            text = self._texts[int(_content(scan, value))]
            prefix = tag.name.removesuffix("c")
            attributes["t"] = "inlineStr"
            yield value.start, value.end, f"<{prefix}is>{text}</{prefix}is>"
        elif formula is not None and not said and attributes.get("t") == "str" and "v" in inside:
            value, prefix = inside["v"], tag.name.removesuffix("c")
            text = f'<{prefix}t xml:space="preserve">{_raw(scan, value)}</{prefix}t>'
            attributes["t"] = "inlineStr"
            yield value.start, value.end, f"<{prefix}is>{text}</{prefix}is>"
        yield _attributes(scan, tag, attributes)

    def _formula(
        self,
        scan: Scan,
        cell: Tag,
        tag: Tag,
        title: str,
        now: str,
        shared: dict[str, tuple[str, str]],
    ) -> str:
        """The element of a formula; empty if it cannot follow what it refers to."""
        attributes = dict(tag.attributes)
        text = _content(scan, tag)
        address = cell.attributes.get("r", "")
        try:
            if attributes.get("t") == "dataTable":
                raise CannotFollow("data tables (what-if analysis) are not carried over")
            if attributes.get("t") == "shared":
                text = _spelled_out(shared, attributes.get("si", ""), address)
                attributes = {}
            text = self._follow(text, title, now)
        except CannotFollow as reason:
            value = next((c for c in cell.children if local(c.name) == "v"), None)
            shown = "" if value is None else _content(scan, value)
            why = f"its value stands in place of ={text}: {reason}"
            self.lost.append(Lost(title, address, shown, why))
            return ""
        kept = {k: v for k, v in attributes.items() if k in ("t", "ref", "aca", "ca")}
        return f"{tag.written(kept)}{escape(text)}</{tag.name}>"

    def _follow(self, text: str, title: str, now: str) -> str:
        return self.moves.formula(_CALLS.bare(text), title, now)

    def _rule(self, scan: Scan, tag: Tag, title: str, now: str) -> Iterator[Edit]:
        """A formula of a condition, or of what may be typed."""
        text = _content(scan, tag)
        try:
            new = self._follow(text, title, now)
        except CannotFollow as reason:
            why = f"a rule (={text}) no longer applies: {reason}"
            self.lost.append(Lost(title, "", "", why))
            new = "FALSE"
        if new != text:
            yield scan.inside(tag), tag.closing, escape(new)

    # --- what parts refer to

    def _relate(self, part: str, name: str, title: str, now: str, left: set[str]) -> None:
        """Carry what a part refers to, under the identities that it knows it by."""
        lines = []
        for one in package.relations(self.parts, part):
            if one.identity in left:
                continue
            target = one.target
            if not one.outside:
                if target not in self.parts:
                    continue
                target = self._part(target, title, now)
                target = posixpath.relpath(target, posixpath.dirname(name))
            mode = ' TargetMode="External"' if one.outside else ""
            lines.append(
                f'<Relationship Id="{one.identity}" Type="{one.kind}" '
                f"Target={quoteattr(target)}{mode}/>"
            )
        if lines:
            self.new[package.relations_of(name)] = (
                f'<Relationships xmlns="{package.RELATIONS}">{"".join(lines)}</Relationships>'
            ).encode()

    def _part(self, part: str, title: str, now: str) -> str:
        """A part and all that it refers to; its name in the new workbook."""
        if part in self._done:
            return self._done[part]
        name = package.free_name(self.new, part)
        self._done[part] = name
        content = self.parts[part]
        if name.endswith(".xml"):
            content = self._edited(content, title, now)
        self.new[name] = content
        if part in self._types:
            package.add_type(self.new, name, self._types[part])
        elif (ending := name.rpartition(".")[2].lower()) not in _defaults(self.new):
            _add_default(self.new, ending, _defaults(self.parts)[ending])
        left = {r.identity for r in self._left_behind(title, part, now)}
        self._relate(part, name, title, now, left)
        return name

    def _edited(self, content: bytes, title: str, now: str) -> bytes:
        """A picture whose references follow their cells, a table with a number of its own."""
        scan = Scan(content)
        edits: list[Edit] = []
        for tag in scan.tags:
            if local(tag.name) == "f" and not tag.children:
                edits.append((scan.inside(tag), tag.closing, self._drawn(scan, tag, title, now)))
            elif tag is scan.tags[0] and local(tag.name) == "table":
                number = str(1 + sum("/tables/" in one for one in self.new))
                edits.append(_attributes(scan, tag, {**tag.attributes, "id": number}))
        return scan.edited(edits)

    def _drawn(self, scan: Scan, tag: Tag, title: str, now: str) -> str:
        text = _content(scan, tag)
        try:
            return escape(self._follow(text, title, now))
        except CannotFollow as reason:
            self.lost.append(Lost(title, "", "", f"a picture lost its cells {text}: {reason}"))
            return "#REF!"

    # --- pictures on our sheets

    def _pictures(self, title: str, part: str) -> None:
        """Pictures, shapes and charts that the user put on one of our sheets."""
        for relation in package.relations(self.parts, part):
            if relation.what != "drawing" or relation.target not in self.parts:
                continue
            drawing = relation.target
            scan = Scan(self.parts[drawing])
            inside = {one.identity: one for one in package.relations(self.parts, drawing)}
            for anchor in scan.tags[0].children:
                if local(anchor.name).endswith("Anchor") and not self._is_ours(anchor, inside):
                    self._anchor(title, drawing, scan, anchor, inside)

    def _is_ours(self, anchor: Tag, inside: dict[str, Relation]) -> bool:
        """Whether it is a chart of ours: one that draws the columns that one of ours draws."""
        charts = [
            inside[i] for i in _identities(anchor) if i in inside and inside[i].what == "chart"
        ]
        if len(charts) != 1 or charts[0].target not in self.parts:
            return False
        scan = Scan(self.parts[charts[0].target])
        texts = {
            _content(scan, tag) for tag in scan.tags if local(tag.name) == "f" and not tag.children
        }
        drawn = {name for text in texts if (name := self.old.named(text)) in self.made.names}
        return bool(drawn) and frozenset(drawn) in self.made.drawn()

    def _anchor(
        self, title: str, drawing: str, scan: Scan, anchor: Tag, inside: dict[str, Relation]
    ) -> None:
        ours = self.moves.titles[title]
        corner = _corner(scan, anchor)
        to = self.moves.place(title, *corner) if corner else None
        sheet = to[0] if to else ours
        _, sheets = package.sheet_parts(self.new)
        place = self._drawing(sheets[sheet])
        text = scan.text[anchor.start : anchor.end].decode()
        for identity in _identities(anchor):
            if identity not in inside:
                continue
            one = inside[identity]
            if one.what not in _TAKEN:
                what = _IN_WORDS.get(one.what, one.what)
                where = f"{get_column_letter(corner[1])}{corner[0]}" if corner else ""
                self.lost.append(Lost(title, where, "", f"{what} is not carried over"))
                return
            target = one.target if one.outside else self._part(one.target, title, sheet)
            new = package.relate(self.new, place, one.kind, target, outside=one.outside)
            text = re.sub(
                rf'(:(?:id|embed|link|pict|dm|lo|qs|cs)=)"{identity}"', rf'\1"\0{new}"', text
            )
        text = text.replace("\0", "")
        if corner and to:
            text = _shifted(text, to[1] - corner[0], to[2] - corner[1])
        root = scan.tags[0].attributes
        spaces = "".join(
            f" {name}={quoteattr(value)}" for name, value in root.items()
            if name.startswith("xmlns") and f"{name}=" not in text.partition(">")[0]
        )  # fmt: skip
        text = re.sub(r"^<([\w:]+)", rf"<\1{spaces}", text)
        whole = self.new[place].decode()
        end = whole.rindex("</")
        self.new[place] = (whole[:end] + text + whole[end:]).encode()

    def _drawing(self, sheet: str) -> str:
        """The drawing of a new sheet, made if it has none."""
        for relation in package.relations(self.new, sheet):
            if relation.what == "drawing":
                text = self.new[relation.target].decode()
                # An empty element has no end to put something before.
                self.new[relation.target] = re.sub(
                    r"<((?:\w+:)?wsDr)\b([^>]*)/>\s*$", r"<\1\2></\1>", text
                ).encode()
                return relation.target
        name = package.free_name(self.new, "xl/drawings/drawing1.xml")
        self.new[name] = f'<wsDr xmlns="{_DRAWN}"></wsDr>'.encode()
        package.add_type(self.new, name, _DRAWING)
        identity = package.relate(self.new, sheet, f"{_OFFICE}/drawing", name)
        scan = Scan(self.new[sheet])
        after = [tag for tag in scan.tags[0].children if local(tag.name) in _AFTER_DRAWING]
        at = after[0].start if after else scan.tags[0].closing
        element = f'<drawing xmlns:r="{_OFFICE}" r:id="{identity}"/>'
        self.new[sheet] = scan.edited([(at, at, element)])
        return name

    # --- names, and what cannot be carried

    def _names(self) -> None:
        """Names that the user has given."""
        book, sheets = package.sheet_parts(self.new)
        order, content = list(sheets), ""
        scan = Scan(self.parts[package.sheet_parts(self.parts)[0]])
        old_order = [tag.attributes["name"] for tag in scan.tags if local(tag.name) == "sheet"]
        for tag in scan.tags:
            if local(tag.name) != "definedName":
                continue
            # Names of functions that macros hold, and what is told of these.
            if "vbProcedure" in tag.attributes or tag.children:
                continue
            attributes, text = dict(tag.attributes), _content(scan, tag)
            name = attributes["name"]
            home = ""
            if "localSheetId" in attributes:
                home = old_order[int(attributes["localSheetId"])]
                if home not in self.moves.own:
                    continue  # what is printed of our sheets is ours
                attributes["localSheetId"] = str(order.index(self.moves.own[home]))
            elif name in self.made.names or name.startswith("_xl") or name in self.made.marks:
                continue
            try:
                text = self._follow(text, home, self.moves.own.get(home, ""))
            except CannotFollow as reason:
                self.lost.append(Lost("", name, text, f"a name whose cells are gone: {reason}"))
                continue
            content += f"{tag.written(attributes)}{escape(text)}</{tag.name}>"
        self.new[book] = package.put_after_sheets(
            self.new[book].decode(), "definedNames", content
        ).encode()

    def _others(self) -> None:
        """What belongs to the workbook as a whole."""
        book, _ = package.sheet_parts(self.parts)
        kinds = {one.what for one in package.relations(self.parts, book)}
        for kind, what in (("externalLink", "links to other files"),
                           ("connections", "connections to data elsewhere")):  # fmt: skip
            if kind in kinds:
                self.lost.append(Lost(self.old.source.name, "", "", f"{what} are not carried over"))
        if "vbaProject" in kinds:
            self.notes.append(MACROS)


# --- reading parts ------------------------------


def _content(scan: Scan, tag: Tag) -> str:
    return html.unescape(_raw(scan, tag))


def _raw(scan: Scan, tag: Tag) -> str:
    return "" if tag.empty else scan.text[scan.inside(tag) : tag.closing].decode()


def _attributes(scan: Scan, tag: Tag, attributes: dict[str, str]) -> Edit:
    return tag.start, scan.inside(tag), tag.written(attributes, tag.empty)


def _outermost(edits: list[Edit]) -> list[Edit]:
    """Edits without those that lie within a stretch that another one takes out."""
    kept: list[Edit] = []
    for edit in sorted(edits, key=lambda one: (one[0], -one[1])):
        if not kept or edit[0] >= kept[-1][1]:
            kept.append(edit)
    return kept


def _shared_texts(parts: Parts) -> list[str]:
    """The content of each shared text, as it is written."""
    name = "xl/sharedStrings.xml"
    if name not in parts:
        return []
    scan = Scan(parts[name])
    return [_raw(scan, tag) for tag in scan.tags[0].children if local(tag.name) == "si"]


def _shared_formulas(scan: Scan) -> dict[str, tuple[str, str]]:
    """The formulas that are written once for several cells: address and text by number."""
    found = {}
    for cell in scan.tags:
        if local(cell.name) != "c":
            continue
        for tag in cell.children:
            if local(tag.name) == "f" and tag.attributes.get("t") == "shared" and not tag.empty:
                text = _content(scan, tag)
                if text:
                    found[tag.attributes.get("si", "")] = cell.attributes.get("r", ""), text
    return found


def _spelled_out(shared: dict[str, tuple[str, str]], number: str, address: str) -> str:
    """A formula that is written once for several cells, as it reads in one of them."""
    from openpyxl.formula.translate import Translator

    if number not in shared:
        raise CannotFollow("the file does not say how it reads")
    origin, text = shared[number]
    return str(Translator(f"={text}", origin).translate_formula(address))[1:]


def _identities(tag: Tag) -> list[str]:
    """The relations that an element and what is in it name."""
    found = [
        value
        for name, value in tag.attributes.items()
        if ":" in name and local(name) in _NAMING
        and not name.startswith("xmlns")
    ]  # fmt: skip
    return found + [one for child in tag.children for one in _identities(child)]


def _refers(tag: Tag, identities: set[str]) -> bool:
    return bool(identities) and not identities.isdisjoint(_identities(tag))


def _corner(scan: Scan, anchor: Tag) -> tuple[int, int] | None:
    """Row and column of the cell in which a picture begins, from 1."""
    for tag in anchor.children:
        if local(tag.name) == "from":
            held = {local(one.name): int(_content(scan, one)) for one in tag.children}
            return held["row"] + 1, held["col"] + 1
    return None


def _shifted(text: str, rows: int, columns: int) -> str:
    """An anchor so many rows and columns on."""

    def by(step: int) -> Callable[[re.Match[str]], str]:
        return lambda found: f"{found[1]}{max(0, int(found[2]) + step)}"

    text = re.sub(r"(<(?:\w+:)?row>)(\d+)", by(rows), text)
    return re.sub(r"(<(?:\w+:)?col>)(\d+)", by(columns), text)


def _states(parts: Parts) -> dict[str, str]:
    book, _ = package.sheet_parts(parts)
    return {
        tag.attributes["name"]: tag.attributes.get("state", "visible")
        for tag in Scan(parts[book]).tags
        if local(tag.name) == "sheet"
    }


def _types(parts: Parts) -> dict[str, str]:
    return {
        one.attrib["PartName"].lstrip("/"): one.attrib["ContentType"]
        for one in ElementTree.fromstring(parts[_TYPES])
        if "PartName" in one.attrib
    }


def _defaults(parts: Parts) -> dict[str, str]:
    return {
        one.attrib["Extension"].lower(): one.attrib["ContentType"]
        for one in ElementTree.fromstring(parts[_TYPES])
        if "Extension" in one.attrib
    }


def _add_default(parts: Parts, ending: str, media: str) -> None:
    text = parts[_TYPES].decode()
    element = f"<Default Extension={quoteattr(ending)} ContentType={quoteattr(media)}/>"
    parts[_TYPES] = re.sub(r"(<Types\b[^>]*>)", lambda f: f[1] + element, text, count=1).encode()
