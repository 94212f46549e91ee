"""Whether a PDF can be read by who hears it: what PDF/UA-1 (ISO 14289-1) asks, as far as a program can
tell, looked up with pikepdf. The rules are from memory, unverified; typst's own check is not asked.

    pdf_check.py check LANGUAGE FILE...     prints a JSON object: a file's problems, by its name
    pdf_check.py damage KIND FILE OUT       writes the file without one of the things that are checked

What it cannot tell: whether the reading order makes sense and whether an alternative text is true.
"""

import json
import re
import sys

import pikepdf
from pikepdf import Array, Dictionary, Name

STANDARD = set(
    "Document Part Art Sect Div BlockQuote Caption TOC TOCI Index NonStruct Private P H H1 H2 H3 H4 H5 H6 "
    "L LI Lbl LBody Table TR TH TD THead TBody TFoot Span Quote Note Reference BibEntry Code Link Annot "
    "Figure Formula Form".split()
)
SHOWS = {"Tj", "TJ", "'", '"', "f", "F", "f*", "B", "B*", "b", "b*", "S", "s", "Do", "sh", "INLINE IMAGE"}
GONE = ("/JavaScript", "/JS", "/Launch", "/URI", "/GoToR", "/SubmitForm", "/EmbeddedFiles")


class Document:
    def __init__(self, file):
        self.pdf = pikepdf.open(file)
        self.root = self.pdf.Root
        self.problems = []

    def say(self, problem):
        if problem not in self.problems:
            self.problems.append(problem)

    def check(self, language):
        # What had to be put right on opening is told by the library, and is a problem.
        for warning in self.pdf.get_warnings():
            self.say(f"the file is damaged: {warning}")
        self.catalog(language)
        tree = self.root.get("/StructTreeRoot")
        if tree is None:
            self.say("no StructTreeRoot")
        else:
            self.roles = {str(k): str(v) for k, v in (tree.get("/RoleMap") or {}).items()}
            self.levels = []
            self.element(tree, None)
            self.headings()
        self.parents = numbers(tree.get("/ParentTree")) if tree is not None else {}
        for number, page in enumerate(self.pdf.pages, 1):
            self.page(number, page)
        self.fonts()
        return self.problems

    def catalog(self, language):
        root = self.root
        if not bool(root.get("/MarkInfo", {}).get("/Marked", False)):
            self.say("MarkInfo does not say Marked")
        if str(root.get("/Lang", "")) != language:
            self.say(f"Lang is {str(root.get('/Lang', ''))!r}, expected {language!r}")
        if not bool(root.get("/ViewerPreferences", {}).get("/DisplayDocTitle", False)):
            self.say("ViewerPreferences does not say DisplayDocTitle")
        with self.pdf.open_metadata() as meta:
            if meta.get("pdfuaid:part") != "1":
                self.say("XMP does not say pdfuaid:part 1")
            if not meta.get("dc:title"):
                self.say("XMP has no dc:title")
        if not str(self.pdf.docinfo.get("/Title", "")):
            self.say("the document has no title")
        for item in self.pdf.objects:
            if isinstance(item, Dictionary):
                for key in GONE:
                    if key in item:
                        self.say(f"the file has {key}")

    def kind(self, element):
        kind = str(element.get("/S", "")).lstrip("/")
        for _ in range(8):
            if kind in STANDARD:
                return kind
            kind = self.roles.get("/" + kind, "").lstrip("/")
        self.say(f"no standard role for {element.get('/S')}")
        return ""

    def element(self, element, parent):
        kind = self.kind(element) if "/S" in element else "Root"
        children = [it for it in listed(element.get("/K")) if isinstance(it, Dictionary) and "/S" in it]
        kinds = [self.kind(it) for it in children]
        if kind in ("Figure", "Formula") and not (element.get("/Alt") or element.get("/ActualText")):
            self.say(f"a {kind} has no Alt")
        if re.fullmatch("H[1-6]", kind):
            self.levels.append(int(kind[1]))
        allowed = {
            "Table": {"TR", "THead", "TBody", "TFoot", "Caption"},
            "THead": {"TR"}, "TBody": {"TR"}, "TFoot": {"TR"},
            "TR": {"TH", "TD"},
            "L": {"LI", "Caption", "L"},
            "LI": {"Lbl", "LBody"},
        }.get(kind)
        for child in kinds:
            if allowed is not None and child not in allowed:
                self.say(f"a {child} stands in a {kind}")
        if kind == "Table":
            self.table(element)
        for name, homes in (("TR", {"Table", "THead", "TBody", "TFoot"}), ("TH", {"TR"}), ("TD", {"TR"}), ("LI", {"L"})):
            if kind == name and parent not in homes:
                self.say(f"a {kind} stands in a {parent}")
        for child in children:
            self.element(child, kind)

    def table(self, table):
        rows, stack = [], [table]
        while stack:
            for child in listed(stack.pop().get("/K")):
                if isinstance(child, Dictionary) and "/S" in child:
                    if self.kind(child) == "TR":
                        rows.append(child)
                    elif self.kind(child) in ("THead", "TBody", "TFoot"):
                        stack.append(child)
        heads, widths = 0, set()
        for row in rows:
            width = 0
            for cell in listed(row.get("/K")):
                attributes = {str(k): v for part in listed(cell.get("/A")) for k, v in part.items()}
                width += int(attributes.get("/ColSpan", 1))
                if self.kind(cell) == "TH":
                    heads += 1
                    if "/Scope" not in attributes:
                        self.say("a TH has no Scope")
            widths.add(width)
        if not rows or heads == 0:
            self.say("a Table has no TH")
        if len(widths) > 1:
            self.say(f"the rows of a Table are {sorted(widths)} cells wide")

    def headings(self):
        before = 0
        for level in self.levels:
            if level > before + 1:
                self.say(f"a heading H{level} follows an H{before}")
            before = level
        if not self.levels or self.levels[0] != 1:
            self.say("the first heading is no H1")

    def page(self, number, page):
        if page.get("/Tabs") != Name.S:
            self.say(f"page {number}: Tabs is not S")
        if "/StructParents" not in page:
            self.say(f"page {number}: no StructParents")
            return
        known = listed(self.parents.get(int(page.StructParents)))
        inside, tagged = [], set()
        for operands, operator in pikepdf.parse_content_stream(page):
            operator = str(operator)
            if operator in ("BDC", "BMC"):
                properties = operands[1] if len(operands) > 1 else None
                if isinstance(properties, Name):
                    properties = page.Resources.Properties[properties]
                mcid = properties.get("/MCID") if isinstance(properties, Dictionary) else None
                inside.append("artifact" if operands[0] == Name.Artifact else mcid)
                if mcid is not None:
                    tagged.add(int(mcid))
            elif operator == "EMC":
                inside.pop()
            elif operator in SHOWS and all(it is None for it in inside):
                self.say(f"page {number}: something is shown that is neither tagged nor an artifact")
        for mcid in tagged:
            if mcid >= len(known) or known[mcid] is None:
                self.say(f"page {number}: content {mcid} belongs to no element")
        for annotation in page.get("/Annots", []):
            if "/StructParent" not in annotation:
                self.say(f"page {number}: an annotation is in no element")

    def fonts(self):
        found = 0
        for item in self.pdf.objects:
            if not isinstance(item, Dictionary) or item.get("/Type") != Name.Font:
                continue
            if "/ToUnicode" not in item and item.get("/Subtype") not in (Name.CIDFontType0, Name.CIDFontType2):
                self.say(f"font {item.get('/BaseFont')} has no ToUnicode")
            descriptor = item.get("/FontDescriptor")
            if descriptor is not None:
                found += 1
                if not any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3")):
                    self.say(f"font {item.get('/BaseFont')} is not embedded")
        if found == 0:
            self.say("no font has a descriptor")


def listed(value):
    """What may be one or many, as many."""
    if value is None:
        return []
    return list(value) if isinstance(value, (Array, list)) else [value]


def numbers(tree):
    """A number tree as a dictionary."""
    found, stack = {}, [tree] if tree is not None else []
    while stack:
        node = stack.pop()
        stack.extend(node.get("/Kids", []))
        pairs = list(node.get("/Nums", []))
        found.update({int(key): value for key, value in zip(pairs[::2], pairs[1::2])})
    return found


def damage(kind, file, out):
    pdf = pikepdf.open(file)
    root = pdf.Root
    dictionaries = [item for item in pdf.objects if isinstance(item, Dictionary)]
    if kind in ("StructTreeRoot", "Lang", "MarkInfo", "ViewerPreferences"):
        del root["/" + kind]
    elif kind == "Title":
        with pdf.open_metadata() as meta:
            del meta["dc:title"]
        if "/Title" in pdf.docinfo:
            del pdf.docinfo["/Title"]
    elif kind == "pdfuaid":
        with pdf.open_metadata() as meta:
            del meta["pdfuaid:part"]
    elif kind in ("Alt", "ToUnicode", "Tabs", "StructParents", "FontFile3", "FontFile2"):
        for item in dictionaries:
            if "/" + kind in item:
                del item["/" + kind]
    elif kind == "TH":
        for item in dictionaries:
            if item.get("/S") == Name.TH:
                item.S = Name.TD
    elif kind == "TR":
        for item in dictionaries:
            if item.get("/S") == Name.TR:
                item.S = Name.Div
    elif kind == "H2":
        for item in dictionaries:
            if item.get("/S") == Name.H2:
                item.S = Name.H4
    elif kind == "untagged":
        page = pdf.pages[0]
        kept = [it for it in pikepdf.parse_content_stream(page) if str(it[1]) not in ("BDC", "BMC", "EMC")]
        page.Contents = pdf.make_stream(pikepdf.unparse_content_stream(kept))
    else:
        sys.exit(f"no damage is called {kind}")
    pdf.save(out)


if __name__ == "__main__":
    if sys.argv[1] == "damage":
        damage(*sys.argv[2:])
    else:
        print(json.dumps({file: Document(file).check(sys.argv[2]) for file in sys.argv[3:]}))
