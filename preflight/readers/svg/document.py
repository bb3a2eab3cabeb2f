"""XML bytes to a checked element tree: nothing is fetched, nothing is expanded without bound."""

from __future__ import annotations

import re
import urllib.parse
from dataclasses import dataclass, field

from lxml import etree

from preflight.artwork import Remark, RemarkKind
from preflight.errors import LimitError, ReadError
from preflight.readers.limits import Budget
from preflight.readers.svg.values import shortened

SVG_NS = "http://www.w3.org/2000/svg"
XLINK_NS = "http://www.w3.org/1999/xlink"
_XHTML_LINK = "{http://www.w3.org/1999/xhtml}link"
_XLINK_HREF = f"{{{XLINK_NS}}}href"


@dataclass(slots=True)
class Document:
    """A parsed file."""

    root: etree._Element
    ids: dict[str, etree._Element]
    names: dict[str, str]
    """Tag to local name for tags of the SVG namespace."""
    remarks: list[Remark] = field(default_factory=list)
    generator: str | None = None
    context_paints: bool = False
    """Whether context-fill or context-stroke stands anywhere in the file."""

    def target(self, link: str) -> etree._Element | None:
        """Return the element a link to this document (``#name``) means; None for any other link."""
        if not link.startswith("#"):
            return None
        found = self.ids.get(link[1:])
        return self.ids.get(urllib.parse.unquote(link[1:])) if found is None else found

    def local(self, element: etree._Element) -> str:
        """Return the element's local name in the SVG namespace; empty for any other node."""
        tag = element.tag
        return self.names.get(tag, "") if isinstance(tag, str) else ""


def line_of(element: etree._Element) -> int | None:
    """Return the element's source line, counted from 1."""
    line = element.sourceline
    return line if isinstance(line, int) else None


def href(element: etree._Element) -> str | None:
    """Return the element's link: ``href`` comes before ``xlink:href`` (SVG 2, 16.1.3)."""
    value = element.get("href")
    if value is None:
        value = element.get(_XLINK_HREF)
        if value is None:
            value = element.get("xlink:href")
    return None if value is None else value.strip()


def load(data: bytes, budget: Budget) -> Document:
    """Parse ``data``. Raises `ReadError` (what, which line, what to do) and `LimitError`."""
    remarks: list[Remark] = []
    root = _parse(data, remarks)
    prefix, remark = _prefix(root)
    if remark:
        remarks.append(Remark(RemarkKind.NOTE, remark))
    entities = b"<!ENTITY" in data or b"<\0!\0E\0N\0T" in data or b"\0<\0!\0E\0N\0T" in data
    names: dict[str, str] = {}
    ids: dict[str, etree._Element] = {}
    count = 0
    for element in root.iter(etree.Element):
        count += 1
        tag_text = element.tag
        if tag_text not in names and isinstance(tag_text, str):
            local = tag_text[len(prefix) :] if tag_text.startswith(prefix) else ""
            if entities and "}" not in tag_text:
                # The parser puts elements that stand in an entity's text outside every namespace.
                local = tag_text
            names[tag_text] = "" if "}" in local else local
        identifier = element.get("id")
        if identifier:
            ids.setdefault(identifier, element)
    budget.check("nodes", count)
    document = Document(root, ids, {k: v for k, v in names.items() if v}, remarks)
    document.generator = _generator(root, data)
    document.context_paints = b"context-" in data or b"c\0o\0n\0t\0e\0x\0t\0-" in data
    linked = any(
        isinstance(node, etree._ProcessingInstruction) and node.target == "xml-stylesheet"
        for node in root.itersiblings(preceding=True)
    )
    if linked or _XHTML_LINK in names:
        remarks.append(Remark(RemarkKind.EXTERNAL_REFERENCE, "style sheet outside the file, not fetched"))
    return document


def _prefix(root: etree._Element) -> tuple[str, str | None]:
    """Return what the tags of SVG elements begin with, and a remark where that is unusual."""
    namespace, _, local = str(root.tag).rpartition("}")
    if local not in ("svg", "svg:svg"):
        raise ReadError(
            "no-svg-root",
            f"The file is XML, but not an SVG drawing: it starts with <{shortened(local)}>, not <svg>.",
            "Save the artwork as SVG.",
        )
    if namespace == "{" + SVG_NS:
        return namespace + "}", None
    if not namespace:
        return local.removesuffix("svg"), "the SVG namespace is not declared"
    raise ReadError(
        "no-svg-root",
        f"The drawing declares a namespace that is not SVG's: “{shortened(namespace[1:])}”.",
        "Save the artwork as SVG.",
    )


def _parser(recover: bool) -> etree.XMLParser:
    return etree.XMLParser(
        resolve_entities="internal",  # type: ignore[arg-type]  # the stubs know only booleans
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        huge_tree=False,
        remove_comments=True,
        recover=recover,
    )


def _parse(data: bytes, remarks: list[Remark]) -> etree._Element:
    # White space before the declaration is a fault of many exports, and harmless.
    body = data.lstrip(b" \t\r\n") if data[:1] in b" \t\r\n" else data
    parser = _parser(recover=False)
    try:
        return etree.fromstring(body, parser)
    except etree.XMLSyntaxError as error:
        # The parser's own log: the error's may hold what other parsers of the process met.
        log = list(iter(parser.error_log))
        if log and all(entry.domain_name == "NAMESPACE" for entry in log):
            root = etree.fromstring(body, _parser(recover=True))
            if root is not None:
                remarks.append(Remark(RemarkKind.NOTE, f"a namespace is not declared: {log[0].message}"))
                return root
        raise _syntax_error(error) from error
    except (LookupError, ValueError) as error:
        raise ReadError(
            "xml-malformed",
            f"The file cannot be read as XML: {error}.",
            "Save the artwork again as SVG, with the encoding UTF-8.",
        ) from error


def _syntax_error(error: etree.XMLSyntaxError) -> ReadError:
    text = str(error.msg or "malformed")
    line = error.lineno or 1
    low = text.lower()
    if "depth" in low:
        return LimitError(
            "limit-nesting-depth",
            f"Groups lie too deep inside one another (line {line}; {text}).",
            "Ungroup the artwork and save it again.",
        )
    if "entity reference loop" in low or "amplification" in low or "entities" in low:
        return LimitError(
            "limit-entities",
            f"The file's text abbreviations (entities) expand without end or too far (line {line}).",
            "Save the artwork again from the program it was made with.",
        )
    if "entity" in low and "not defined" in low:
        return ReadError(
            "entity-undefined",
            f"Line {line} uses a text abbreviation (entity) that the file does not define: {text}.",
            "Save the artwork again from the program it was made with.",
        )
    if "huge" in low or "too long" in low or "limit" in low:
        return LimitError(
            "limit-value-length",
            f"One value in the file is longer than 10,000,000 bytes (line {line}), most likely an embedded "
            "picture.",
            "Remove embedded pictures and save the artwork again.",
        )
    if "premature end" in low or "end of file" in low or "eof" in low or "document is empty" in low:
        return ReadError(
            "xml-truncated",
            f"The file ends in the middle of the drawing (line {line}): it is cut short.",
            "Send the file again, or save it again.",
        )
    return ReadError(
        "xml-malformed",
        f"The file is not well-formed XML at line {line}: {text}.",
        "Save the artwork again as SVG.",
    )


_GENERATOR = re.compile(
    rb"<!--\s*(?:generator\s*:|created\s+(?:with|by|in)|generated\s+by)\s*([^<>]{1,200}?)\s*-->",
    re.IGNORECASE,
)


def _generator(root: etree._Element, data: bytes) -> str | None:
    """Return what the file's leading comment or root says about the program that wrote it."""
    found = _GENERATOR.search(data, 0, 4096)
    if found:
        return shortened(found.group(1).decode("utf-8", "replace"), 120)
    for key, value in root.attrib.items():
        namespace, _, local = str(key).rpartition("}")
        if namespace and local in ("generator", "version"):
            return shortened(str(value), 120)
    return None
