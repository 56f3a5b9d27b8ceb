"""Write the three message schemas of this folder from message.txt: ``python schemas/aecg/make.py``.

The table says what the message looks like in R1-2004 and where the normative editions of 2006 and 2009 differ; this
script only spells it as XML Schema.  A test compares its output with the files that are kept here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).parent
EDITIONS = {
    "r1-2004": "ANSI/HL7 V3 ECG, R1-2004 (message type PORT_MT020001)",
    "ne2006": "HL7 V3 Normative Edition 2006 (message type PORT_MT020001UV01)",
    "ne2009": "HL7 V3 Normative Edition 2009 (message type PORT_MT020001UV01)",
}
OCCURS = {
    "?": ' minOccurs="0"',
    "1": "",
    "*": ' minOccurs="0" maxOccurs="unbounded"',
    "+": ' maxOccurs="unbounded"',
}


@dataclass
class Element:
    """One row below a class: a data element, an entity in its role, or a relationship with its own data."""

    name: str
    cardinality: str
    target: str
    code: str = ""
    end: str = ""
    end_cardinality: str = "1"
    data: list[tuple[str, str, str]] = field(default_factory=list)


@dataclass
class Class:
    """One class of the message and its elements in the order of R1-2004."""

    name: str
    kind: str
    codes: tuple[str, ...]
    elements: list[Element] = field(default_factory=list)


def parse_element(words: list[str]) -> Element:
    """One element row of the table, split at blanks."""
    name, cardinality = words[0], words[1]
    if ">" not in words:
        return Element(name, cardinality, words[-1])
    at = words.index(">")
    inner = [part.split() for part in " ".join(words[3:at]).strip("() ").split(",") if part.strip()]
    data = [(part[0], part[1], part[2]) for part in inner]
    return Element(name, cardinality, words[at + 3], words[2], words[at + 1], words[at + 2], data)


def parse(text: str) -> tuple[dict[str, Class], dict[tuple[str, str], list[str]], dict[tuple[str, str], str]]:
    """The classes, the orders by (edition, class) and the new names by (edition, old name)."""
    classes: dict[str, Class] = {}
    orders: dict[tuple[str, str], list[str]] = {}
    names: dict[tuple[str, str], str] = {}
    current = Class("", "", ())
    for line in text.splitlines():
        words = line.split("#")[0].split()
        if not words:
            continue
        if words[0] == "class":
            current = classes.setdefault(words[1], Class(words[1], words[2], tuple(words[3:])))
        elif words[0] == "order":
            orders[words[1], words[2]] = words[3:]
        elif words[0] == "rename":
            names[words[1], words[2]] = words[3]
        else:
            current.elements.append(parse_element(words))
    return classes, orders, names


class Writer:
    """Spells the classes of one edition."""

    def __init__(self, edition: str, classes: dict[str, Class], orders: dict[tuple[str, str], list[str]],
                 names: dict[tuple[str, str], str]) -> None:  # fmt: skip
        self.edition, self.classes, self.orders, self.names = edition, classes, orders, names
        self.relationships: list[tuple[str, Element]] = []

    def name(self, name: str) -> str:
        """The element name in this edition."""
        return self.names.get((self.edition, name), name)

    def ordered(self, cls: Class) -> list[Element]:
        """The elements of a class in the order of this edition."""
        order = self.orders.get((self.edition, cls.name))
        return sorted(cls.elements, key=lambda e: order.index(e.name)) if order else cls.elements

    def attributes(self, kind: str, codes: tuple[str, ...], null_flavor: bool) -> list[str]:
        """Structural attributes, nullFlavor, and what the edition adds."""
        use = ' use="required"' if self.edition == "ne2009" else ""
        names = {"act": ("classCode", "moodCode"), "entity": ("classCode", "determinerCode"), "role": ("classCode",),
                 "relationship": ("typeCode",), "choice": ()}[kind]  # fmt: skip
        lines = ['    <xs:attribute name="nullFlavor" type="NullFlavor"/>'] if null_flavor else []
        lines += [f'    <xs:attribute name="{n}" type="Code.{c}"{use}/>' for n, c in zip(names, codes, strict=True)]
        if self.edition == "r1-2004":
            lines.append('    <xs:attribute name="type" type="xs:NMTOKEN"/>')
        if kind == "relationship":
            lines.append('    <xs:attribute name="contextControlCode" type="ContextControl"/>')
            lines.append('    <xs:attribute name="contextConductionInd" type="bl"/>')
        return lines

    def element(self, cls: Class, element: Element) -> list[str]:
        """One element of a class."""
        occurs = OCCURS[element.cardinality]
        if element.end:
            kind = f"{cls.name}.{element.name}"
            self.relationships.append((kind, element))
            return [f'      <xs:element name="{self.name(element.name)}" type="{kind}" nillable="true"{occurs}/>']
        nillable = ' nillable="true"' if element.target in self.classes else ""
        if element.target == "AuthorType" and self.edition != "r1-2004":
            inner = [line for e in self.classes["AuthorType"].elements for line in self.element(cls, e)]
            return ["      <xs:choice>", *(f"  {line}" for line in inner), "      </xs:choice>"]
        return [f'      <xs:element name="{self.name(element.name)}" type="{element.target}"{nillable}{occurs}/>']

    def complex_type(self, name: str, lines: list[str], attributes: list[str], choice: bool = False) -> list[str]:
        """A complex type from its elements and attributes."""
        body = (
            ["      <xs:choice>", *(f"  {line.replace(OCCURS['?'], '')}" for line in lines), "      </xs:choice>"]
            if choice
            else lines
        )
        return [f'  <xs:complexType name="{name}">', "    <xs:sequence>", '      <xs:group ref="Infrastructure"/>',
                *body, "    </xs:sequence>", *attributes, "  </xs:complexType>"]  # fmt: skip

    def relationship(self, name: str, element: Element) -> list[str]:
        """The type of a relationship: its own data, then the class at its end."""
        lines = [f'      <xs:element name="{n}" type="{t}"{OCCURS[c]}/>' for n, c, t in element.data]
        occurs = OCCURS[element.end_cardinality]
        lines.append(
            f'      <xs:element name="{self.name(element.end)}" type="{element.target}" nillable="true"{occurs}/>'
        )
        return self.complex_type(name, lines, self.attributes("relationship", (element.code,), True))

    def schema(self) -> str:
        """The whole schema."""
        out = ['<?xml version="1.0" encoding="UTF-8"?>',
               "<!-- Written by make.py from message.txt; change those. README.md says what this rests on. -->",
               '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns="urn:hl7-org:v3"',
               '           targetNamespace="urn:hl7-org:v3" elementFormDefault="qualified" version="1.0">',
               "  <xs:annotation>",
               f"    <xs:documentation>Annotated ECG: {EDITIONS[self.edition]}.</xs:documentation>",
               "  </xs:annotation>", '  <xs:include schemaLocation="datatypes.xsd"/>',
               '  <xs:element name="AnnotatedECG" type="AnnotatedECG"/>']  # fmt: skip
        for cls in self.classes.values():
            if cls.kind == "choice" and self.edition != "r1-2004":
                continue
            lines = [line for e in self.ordered(cls) for line in self.element(cls, e)]
            attributes = self.attributes(cls.kind, cls.codes, cls.name != "AnnotatedECG")
            out += self.complex_type(cls.name, lines, attributes, cls.kind == "choice")
        for name, element in self.relationships:
            out += self.relationship(name, element)
        return "\n".join([*out, "</xs:schema>", ""])


def schemas() -> dict[str, str]:
    """File name to text of the three message schemas."""
    table = parse((HERE / "message.txt").read_text("utf-8"))
    return {f"aecg-{edition}.xsd": Writer(edition, *table).schema() for edition in EDITIONS}


if __name__ == "__main__":
    for name, text in schemas().items():
        (HERE / name).write_text(text, "utf-8")
