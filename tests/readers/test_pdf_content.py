"""What the PDF reader tells besides geometry: colours, layers, text, effects, pictures."""

from __future__ import annotations

import ctypes
import io
from collections.abc import Sequence

import pikepdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary, Name, String
from pypdfium2 import raw

from preflight.analysis import Analysis
from preflight.artwork import Artwork, Hidden, LiveText, PaintKind, Picture, Remark, RemarkKind, Shape
from preflight.job import Job
from preflight.readers import read
from preflight.readers.limits import Budget, Limits
from preflight.readers.pdf.colours import lab_to_rgb
from preflight.readers.pdf.functions import function
from tests.readers.pdfs import MM, drawn, form, pdf


def shapes(artwork: Artwork) -> list[Shape]:
    return [item for item in artwork.items if isinstance(item, Shape)]


def texts(artwork: Artwork) -> list[LiveText]:
    return [item for item in artwork.items if isinstance(item, LiveText)]


def fills(artwork: Artwork) -> list[str | None]:
    return [shape.fill.color if shape.fill else None for shape in shapes(artwork)]


def said(artwork: Artwork, kind: RemarkKind) -> list[str]:
    return [remark.subject for remark in artwork.remarks if remark.kind is kind]


def pdfium_fills(data: bytes) -> list[tuple[int, ...]]:
    """Return the fill colours that PDFium has for a page's objects."""
    page = pypdfium2.PdfDocument(data)[0]
    found = []
    for index in range(raw.FPDFPage_CountObjects(page)):
        channels = [ctypes.c_uint() for _ in range(4)]
        assert raw.FPDFPageObj_GetFillColor(raw.FPDFPage_GetObject(page, index), *channels)
        found.append(tuple(channel.value for channel in channels[:3]))
    return found


def exponential(*end: float, power: float = 1.0, start: Sequence[float] = (1, 1, 1)) -> Dictionary:
    return Dictionary(
        FunctionType=2, Domain=Array([0, 1]), C0=Array(list(start)), C1=Array(list(end)), N=power
    )


BOX = "0 0 9 9 re f"
STITCHED = Dictionary(
    FunctionType=3,
    Domain=Array([0, 1]),
    Functions=Array([exponential(1, 0, 0), exponential(0, 0, 1, start=(1, 0, 0))]),
    Bounds=Array([0.4]),
    Encode=Array([0, 1, 0, 1]),
)


def test_device_colours() -> None:
    """CMYK: red = 1 - min(1, cyan + black) and so on (ISO 32000-1, 10.3.5)."""
    artwork = drawn(f".2 g {BOX} 1 .4 0 rg {BOX} .1 .2 .3 .4 k {BOX} 0 0 0 1 k {BOX} 1 1 1 1 k {BOX}")
    assert fills(artwork) == ["#333333", "#ff6600", "#80664d", "#000000", "#000000"]
    notes = [note for note in said(artwork, RemarkKind.NOTE) if "CMYK" in note]
    assert len(notes) == 1


@pytest.mark.parametrize(
    ("space", "components"),
    [
        (Array([Name.Separation, Name("/Leaf"), Name.DeviceRGB, exponential(0, 0.5, 0.2)]), "1"),
        (Array([Name.Separation, Name("/Leaf"), Name.DeviceRGB, exponential(0, 0.5, 0.2)]), ".25"),
        (Array([Name.Separation, Name("/Leaf"), Name.DeviceRGB, exponential(0, 0.5, 0.2, power=2.5)]), ".5"),
        (Array([Name.Separation, Name("/Leaf"), Name.DeviceRGB, STITCHED]), ".3"),
        (Array([Name.Separation, Name("/Leaf"), Name.DeviceRGB, STITCHED]), ".7"),
        (Array([Name.Indexed, Name.DeviceRGB, 2, String(b"\x10\x20\x30\xff\x00\x80\x01\x02\x03")]), "1"),
        (Array([Name.CalGray, Dictionary(WhitePoint=Array([0.95, 1, 1.09]))]), ".5"),
    ],
)
def test_colour_spaces_as_pdfium_has_them(space: Array, components: str) -> None:
    data = pdf(f"/S cs {components} scn {BOX}", {"ColorSpace": Dictionary(S=space)})
    (found,) = fills(read(data))
    assert found is not None
    mine = tuple(int(found[i : i + 2], 16) for i in (1, 3, 5))
    (theirs,) = pdfium_fills(data)
    assert max(abs(a - b) for a, b in zip(mine, theirs, strict=True)) <= 1


@pytest.mark.parametrize(
    ("program", "inputs", "meant"),
    [
        ("{ dup 0.5 mul exch 1 exch sub }", [0.4], [0.2, 0.6]),
        ("{ 2 copy add 3 1 roll sub }", [0.5, 0.25], [0.75, 0.25]),
        ("{ 0.5 gt { 1 0 } { 0 1 } ifelse }", [0.6], [1, 0]),
        ("{ dup 0.5 lt { pop 0 } if 1 index pop dup }", [0.7, 0.6], [0.6, 0.6]),
        ("{ 360 mul sin abs dup sqrt }", [0.25], [1, 1]),
        ("{ 10 mul cvi 3 idiv 2 mod exch pop 1 }", [0.9, 0.7], [0, 1]),
    ],
)
def test_calculator_functions(program: str, inputs: list[float], meant: list[float]) -> None:
    """Worked by hand from the operators' definitions (ISO 32000-1, 7.10.5 and table 42)."""
    document = pikepdf.new()
    limits = Array([0, 1] * len(inputs))
    stream = document.make_stream(program.encode(), FunctionType=4, Domain=limits, Range=Array([0, 1, 0, 1]))
    made = function(stream, Budget(Limits()))
    assert made is not None
    assert made(inputs) == pytest.approx(meant)


def test_sampled_functions_interpolate() -> None:
    """ISO 32000-1, 7.10.2: 2 by 2 samples of 8 bits; the middle is the mean of all four."""
    document = pikepdf.new()
    stream = document.make_stream(
        bytes((0, 100, 200, 255)),
        FunctionType=0,
        Domain=Array([0, 1, 0, 1]),
        Range=Array([0, 1]),
        Size=Array([2, 2]),
        BitsPerSample=8,
    )
    made = function(stream, Budget(Limits()))
    assert made is not None
    assert made([1, 0]) == pytest.approx([100 / 255])
    assert made([0, 1]) == pytest.approx([200 / 255])
    assert made([0.5, 0.5]) == pytest.approx([555 / 4 / 255])


@pytest.mark.parametrize(
    "program", ["{ pop", "{ roll }", "{ 1 0 div }", "{ frobnicate }", "{ " * 40 + "}" * 40]
)
def test_broken_tint_transforms_show_nothing_and_break_nothing(program: str) -> None:
    document = pikepdf.new()
    stream = document.make_stream(
        program.encode(), FunctionType=4, Domain=Array([0, 1]), Range=Array([0, 1, 0, 1, 0, 1])
    )
    made = function(stream, Budget(Limits()))
    assert made is None or made([0.5]) == []


def test_lab() -> None:
    """White, black, and sRGB red, which is L* 53.24, a* 80.09, b* 67.20 (published sRGB tables; memory)."""
    assert lab_to_rgb((100, 0, 0)) == pytest.approx((1, 1, 1), abs=2e-3)
    assert lab_to_rgb((0, 0, 0)) == pytest.approx((0, 0, 0), abs=1e-6)
    assert lab_to_rgb((53.24, 80.09, 67.20)) == pytest.approx((1, 0, 0), abs=0.02)


def test_spot_colours_are_told_by_name() -> None:
    space = Array([Name.Separation, Name("/Gold leaf"), Name.DeviceRGB, exponential(0.8, 0.6, 0.2)])
    artwork = drawn(f"/S cs 1 scn {BOX}", {"ColorSpace": Dictionary(S=space)})
    assert "spot colours and how they show: “Gold leaf” (#cc9933)" in said(artwork, RemarkKind.NOTE)


def test_names_that_are_not_utf8_are_latin() -> None:
    """ISO 32000-1, 7.3.5 recommends UTF-8; é is E9 in Latin-1 (ISO 8859-1)."""
    space = Array([Name.Separation, Name("/Caf___"), Name.DeviceRGB, exponential(0.8, 0.6, 0.2)])
    data = pdf(f"/S cs 1 scn {BOX}", {"ColorSpace": Dictionary(S=space)})
    artwork = read(data.replace(b"/Caf___", b"/Caf#e9"))
    assert any("“Café” (#cc9933)" in note for note in said(artwork, RemarkKind.NOTE))


def test_the_colorant_none_marks_nothing() -> None:
    """ISO 32000-1, 8.6.6.4."""
    space = Array([Name.Separation, Name("/None"), Name.DeviceRGB, exponential(1, 0, 0)])
    artwork = drawn(f"/S cs 1 scn {BOX}", {"ColorSpace": Dictionary(S=space)})
    assert fills(artwork) == [None]


def test_patterns_and_shadings_are_kinds_of_paint() -> None:
    shading = Dictionary(
        ShadingType=2, ColorSpace=Name.DeviceRGB, Coords=Array([0, 0, 200, 0]), Function=exponential(1, 0, 0)
    )
    resources = {
        "Pattern": Dictionary(
            G=Dictionary(PatternType=2, Shading=shading), T=Dictionary(PatternType=1, PaintType=1)
        ),
        "Shading": Dictionary(S=shading),
    }
    artwork = drawn(
        f"/Pattern cs /G scn {BOX} /T scn {BOX} q 20 20 30 30 re W n /S sh Q 0 g {BOX}", resources
    )
    kinds = [shape.fill.kind if shape.fill else None for shape in shapes(artwork)]
    assert kinds == [PaintKind.GRADIENT, PaintKind.PATTERN, PaintKind.GRADIENT, PaintKind.SOLID]
    assert len(shapes(artwork)[2].clips) == 1
    assert list(artwork.appearance()) == ["#000000"]


def test_transparency_masks_and_blending() -> None:
    states = Dictionary(
        Half=Dictionary(ca=0.5, CA=0.25),
        None_=Dictionary(ca=0),
        Mult=Dictionary(BM=Name.Multiply),
        Plain=Dictionary(BM=Name.Normal, SMask=Name("/None")),
        Mask=Dictionary(SMask=Dictionary(S=Name.Luminosity)),
    )
    objects = {"G": form(f"/Plain gs {BOX}", Group=Dictionary(S=Name.Transparency))}
    artwork = drawn(
        f"q /Half gs 0 0 9 9 re B Q q /None_ gs {BOX} Q q /Mult gs {BOX} Q q /Mask gs /Half gs /G Do Q {BOX}",
        {"ExtGState": states},
        objects=objects,
    )
    half, gone, mixed, masked, plain = shapes(artwork)
    assert half.fill is not None
    assert half.stroke is not None
    assert (half.fill.opacity, half.stroke.paint.opacity, half.opacity) == (0.5, 0.25, 1)
    assert gone.hidden is Hidden.ZERO_OPACITY
    assert masked.fill is not None
    assert (masked.opacity, masked.fill.opacity) == (0.5, 1)
    by_kind = {r.kind: r.origin for r in artwork.remarks if r.origin is not None}
    assert by_kind == {RemarkKind.BLEND: mixed.origin, RemarkKind.MASK: masked.origin}
    assert plain.opacity == 1


# Layers


def layered(content: str, *, off: Sequence[int] = (), base: str | None = None) -> Artwork:
    """Read ``content`` with the layers /A, /B and /C, and /M for "A and not B"."""
    document = pikepdf.open(io.BytesIO(pdf(content)))
    groups = [document.make_indirect(Dictionary(Type=Name.OCG, Name=String(f"Layer {w}"))) for w in "ABC"]
    groups[1].GTS_Metadata = Dictionary(GTS_ProcStepsGroup=Name.Structural, GTS_ProcStepsType=Name.Cutting)
    default = Dictionary(OFF=Array([groups[i] for i in off]))
    if base:
        default.BaseState = Name("/" + base)
    document.Root.OCProperties = Dictionary(OCGs=Array(groups), D=default)
    both = Array([Name.And, groups[0], Array([Name.Not, groups[1]])])
    document.pages[0].Resources.Properties = Dictionary(
        A=groups[0],
        B=groups[1],
        C=groups[2],
        M=Dictionary(Type=Name.OCMD, VE=both),
        AllOn=Dictionary(Type=Name.OCMD, OCGs=Array(groups[:2]), P=Name.AllOn),
        AnyOff=Dictionary(Type=Name.OCMD, OCGs=Array(groups[:2]), P=Name.AnyOff),
        One=Dictionary(Type=Name.OCMD, OCGs=groups[0]),
    )
    out = io.BytesIO()
    document.save(out, static_id=True)
    return read(out.getvalue())


ON_LAYERS = f"/OC /A BDC {BOX} /OC /B BDC {BOX} EMC EMC /Span BMC {BOX} EMC"


def test_layers_have_names_and_are_off_by_default_configuration() -> None:
    artwork = layered(ON_LAYERS, off=[1])
    assert [shape.origin.layer for shape in shapes(artwork)] == ["Layer A", "Layer B", None]
    assert [shape.hidden for shape in shapes(artwork)] == [None, Hidden.NOT_DISPLAYED, None]
    assert artwork.layers == ("Layer A", "Layer B", "Layer C")
    assert artwork.empty_layers == ("Layer C",)
    assert any(
        "Layer B” is declared as the processing step Structural/Cutting" in r.subject for r in artwork.remarks
    )


def test_cut_layers_are_knife_lines_by_declaration() -> None:
    """ISO 19593-1's groups and types, as the Arlington PDF model (PDF Association) lists them."""
    artwork = layered(f"/OC /B BDC {BOX} EMC")
    assert artwork.layer_roles == (("Layer B", "knife"),)
    assert [meaning.role for meaning in Analysis(artwork, Job()).meanings] == ["knife"]
    stated = Job.model_validate({"layers": {"Layer B": {"role": "film"}}})
    assert [meaning.role for meaning in Analysis(artwork, stated).meanings] == ["film"]


def test_all_layers_may_start_off() -> None:
    assert [s.hidden is None for s in shapes(layered(ON_LAYERS, base="OFF"))] == [False, False, True]


@pytest.mark.parametrize(
    ("membership", "off", "seen"),
    [("M", [], False), ("M", [1], True), ("M", [0, 1], False), ("AllOn", [], True), ("AllOn", [0], False),
     ("AnyOff", [], False), ("AnyOff", [1], True), ("One", [0], False)],
)  # fmt: skip
def test_memberships(membership: str, off: list[int], seen: bool) -> None:
    """ISO 32000-1, table 99: the policies and the visibility expression."""
    artwork = layered(f"/OC /{membership} BDC {BOX} EMC", off=off)
    assert (shapes(artwork)[0].hidden is None) is seen


# Text

HELVETICA = Dictionary(
    Type=Name.Font, Subtype=Name.Type1, BaseFont=Name("/Helvetica"), Encoding=Name.WinAnsiEncoding
)
WIDTHS = Array([500] * 224)
FONTS = {"Font": Dictionary(H=HELVETICA)}


def test_text_is_told_with_its_place_font_and_size() -> None:
    content = "BT /H 24 Tf 1 0 0 rg 20 40 Td (Fresh caf\\351) Tj 0 -26 TD (daily) Tj T* (more) Tj ET"
    data = pdf(content, FONTS)
    artwork = read(data)
    first, second, third = texts(artwork)
    assert [t.text for t in (first, second, third)] == ["Fresh café", "daily", "more"]
    assert first.families == ("Helvetica",)
    assert first.size == pytest.approx(24 * MM)
    assert first.position == pytest.approx((20 * MM, (100 - 40) * MM))
    assert third.position == pytest.approx((20 * MM, (100 - 40 + 52) * MM))
    assert first.fill is not None
    assert first.fill.color == "#ff0000"
    page = pypdfium2.PdfDocument(data)[0]
    assert page.get_textpage().get_text_range(0, 10) == first.text


def test_pieces_of_a_line_are_put_together_where_the_widths_say_so() -> None:
    font = Dictionary(Type=Name.Font, Subtype=Name.TrueType, BaseFont=Name("/ABCDEF+Made-Bold"), FirstChar=32,
                      LastChar=255, Widths=WIDTHS, Encoding=Name.WinAnsiEncoding)  # fmt: skip
    content = "BT /M 10 Tf 10 50 Td (Mar) Tj [(ro) 50 (w) -400 (by)] TJ 50 0 Td (Lane) Tj 0 20 Td (up) Tj ET"
    artwork = drawn(content, {"Font": Dictionary(M=font)})
    assert [text.text for text in texts(artwork)] == ["Marrow by Lane", "up"]
    assert texts(artwork)[0].families == ("Made-Bold",)
    assert texts(artwork)[0].weight == 700


def test_to_unicode_and_what_no_one_can_tell() -> None:
    cmap = b"1 begincodespacerange <0000><ffff> endcodespacerange 2 beginbfchar <0003> <0041> <0004> <00660069> " \
        b"endbfchar 2 beginbfrange <0010> <0012> <0061> <0020> <0021> [<0078> <0079>] endbfrange"  # fmt: skip
    out = io.BytesIO()
    made = pikepdf.open(io.BytesIO(pdf("BT /C 12 Tf 10 10 Td <0003000400100012002100FF> Tj ET")))
    inner = Dictionary(Type=Name.Font, Subtype=Name.CIDFontType2, BaseFont=Name("/Made"), DW=500)
    made.pages[0].Resources.Font = Dictionary(
        C=Dictionary(
            Type=Name.Font,
            Subtype=Name.Type0,
            BaseFont=Name("/Made"),
            Encoding=Name("/Identity-H"),
            DescendantFonts=Array([inner]),
            ToUnicode=made.make_stream(cmap),
        )
    )
    made.save(out, static_id=True)
    artwork = read(out.getvalue())
    (text,) = texts(artwork)
    assert text.text == "Afiacy\ufffd"
    assert said(artwork, RemarkKind.NOTE) == ["text whose characters the file does not tell"]
    assert text.box is not None
    assert text.box[2] - text.box[0] == pytest.approx(6 * 0.5 * 12 * MM)


def test_differences_name_the_letters() -> None:
    font = Dictionary(dict(HELVETICA.items()))
    font.Encoding = Dictionary(Differences=Array([65, Name.eacute, Name("/uni20AC"), 90, Name.fi]))
    artwork = drawn("BT /H 9 Tf (ABZc) Tj ET", {"Font": Dictionary(H=font)})
    # fi: U+FB01, as the Adobe Glyph List has it.
    assert texts(artwork)[0].text == "é€\ufb01c"


def test_invisible_and_clipping_text() -> None:
    artwork = drawn("BT /H 9 Tf 3 Tr (seen by search) Tj 7 Tr (cut) Tj ET", FONTS)
    assert {text.hidden for text in texts(artwork)} == {Hidden.NOT_VISIBLE}
    assert said(artwork, RemarkKind.UNSUPPORTED) == ["text that clips what follows: “cut”"]


# The rest


def test_pictures_are_told_and_not_kept() -> None:
    image = ({"Type": Name.XObject, "Subtype": Name.Image, "Width": 40, "Height": 30, "Filter": Name.DCTDecode,
              "ColorSpace": Name.DeviceRGB, "BitsPerComponent": 8}, b"\xff\xd8" + bytes(98))  # fmt: skip
    inline = "q 20 0 0 20 100 50 cm BI /W 2 /H 2 /BPC 8 /CS /G ID abcd EI Q"
    artwork = drawn(f"q 40 0 0 30 10 20 cm /I Do Q {inline}", objects={"I": image})
    one, two = artwork.items
    assert isinstance(one, Picture)
    assert isinstance(two, Picture)
    assert (one.media_type, one.reference, one.size_bytes) == ("image/jpeg", "40 × 30 pixels", 100)
    assert one.box == pytest.approx((10 * MM, 50 * MM, 50 * MM, 80 * MM))
    assert two.reference == "2 × 2 pixels"


def test_outlines_without_paint_are_kept_and_clips_are_not_shapes() -> None:
    artwork = drawn(f"0 0 50 50 re n 0 0 80 80 re W n {BOX}")
    bare, filled = shapes(artwork)
    assert bare.fill is None
    assert bare.stroke is None
    assert [clip.viewport for clip in filled.clips] == [False]


def test_a_clip_to_the_whole_page_is_no_persons_clip() -> None:
    artwork = drawn(f"0 0 200 100 re W n 0 0 200 100 re W n {BOX}")
    assert [clip.viewport for clip in shapes(artwork)[0].clips] == [True]


def test_lines_of_no_width_are_told() -> None:
    artwork = drawn("0 w 10 10 m 90 90 l S")
    assert shapes(artwork)[0].stroke_width == pytest.approx(0.01)
    assert any("width 0" in note for note in said(artwork, RemarkKind.NOTE))


def test_one_page_is_judged_and_the_rest_is_told() -> None:
    artwork = drawn(BOX, pages=3)
    assert len(artwork.items) == 1
    assert said(artwork, RemarkKind.NOTE) == ["the file has 3 pages; the first one was judged"]


def test_user_unit_and_trim_box() -> None:
    """ISO 32000-1, table 30: a unit of user space is UserUnit times 1/72 in."""
    artwork = drawn(BOX, page={"UserUnit": 10, "TrimBox": Array([10, 10, 190, 90])})
    assert (artwork.width, artwork.height) == pytest.approx((2000 * MM, 1000 * MM))
    assert any("trimmed to 635.0 × 282.2 mm" in note for note in said(artwork, RemarkKind.NOTE))


def test_annotations_are_told() -> None:
    seen = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, AP=Dictionary())
    unseen = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, AP=Dictionary(), F=2)
    artwork = drawn(BOX, page={"Annots": Array([seen, unseen])})
    assert said(artwork, RemarkKind.UNSUPPORTED) == [
        "1 comments, form fields or stamps on the page are not read"
    ]


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        ("1 2 frob", RemarkKind.PATH_ERROR),
        ("10 10 l 5 5 m S", RemarkKind.BAD_VALUE),
        ("/Nowhere Do", RemarkKind.MISSING_REFERENCE),
        ("/Nowhere cs", RemarkKind.BAD_VALUE),
        ("(a) w", RemarkKind.BAD_VALUE),
        ("1e9 0 0 1 0 0 cm 0 0 9 9 re f", RemarkKind.BAD_VALUE),
        ("0 0 9 9 re f ] >> )", RemarkKind.PATH_ERROR),
        ("BT (no font) Tj ET", RemarkKind.BAD_VALUE),
    ],
)
def test_damaged_content_is_told_and_the_rest_is_read(content: str, kind: RemarkKind) -> None:
    artwork = drawn(f"q {content} Q 20 20 9 9 re f")
    assert kind in {remark.kind for remark in artwork.remarks}
    assert fills(artwork)[-1] == "#000000"


def test_places_can_be_found_again() -> None:
    objects = {"F": form(f"{BOX} {BOX}")}
    artwork = drawn(f"{BOX} /F Do /F Do", objects=objects)
    assert [shape.origin.path for shape in shapes(artwork)] == [
        "/page[1]/path[1]",
        "/page[1]/form[1]/path[1]",
        "/page[1]/form[1]/path[2]",
        "/page[1]/form[2]/path[1]",
        "/page[1]/form[2]/path[2]",
    ]
    assert isinstance(artwork.remarks, tuple)
    assert all(isinstance(remark, Remark) for remark in artwork.remarks)
