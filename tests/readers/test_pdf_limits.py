"""Files that are locked, damaged or made to harm: a clear error, soon."""

from __future__ import annotations

import io
import random
import zlib

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from preflight.artwork import RemarkKind
from preflight.errors import LimitError, PreflightError, ReadError
from preflight.readers import read
from tests.readers.pdfs import drawn, form, limited, pdf

BOX = "0 0 9 9 re f"


def test_a_locked_file_is_an_error() -> None:
    data = pdf(BOX, encryption=pikepdf.Encryption(user="secret", owner="secret"))
    with pytest.raises(ReadError, match="locked with a password") as caught:
        read(data)
    assert caught.value.code == "pdf-locked"


def test_a_file_that_only_forbids_things_is_read() -> None:
    data = pdf(BOX, encryption=pikepdf.Encryption(user="", owner="secret"))
    assert len(read(data).items) == 1


@pytest.mark.parametrize("data", [b"%PDF-1.7\n...", b"%PDF-1.4\n" + b"\0" * 2000])
def test_a_damaged_file_is_an_error(data: bytes) -> None:
    with pytest.raises(ReadError, match=r"cannot be opened|no page") as caught:
        read(data)
    assert caught.value.advice


def _outcome(data: bytes) -> str:
    """Return the error's code, or all remarks."""
    try:
        return "; ".join(remark.subject for remark in read(data).remarks)
    except ReadError as error:
        return error.code


def test_a_file_cut_short_is_mended_or_an_error() -> None:
    whole = pdf(f"{BOX} " * 50)
    for part in range(20, len(whole), 97):
        outcome = _outcome(whole[:part])
        assert outcome.startswith("pdf-") or "damaged" in outcome


def test_no_pages_is_an_error() -> None:
    out = io.BytesIO()
    pikepdf.new().save(out)
    with pytest.raises(ReadError, match="no page"):
        read(out.getvalue())


def test_a_header_may_follow_other_bytes() -> None:
    assert len(read(b"junk before\n" + pdf(BOX)).items) == 1


def test_content_that_unpacks_too_far() -> None:
    data = pdf(b"q Q " * 3_000_000, compress_streams=True)
    assert len(data) < 100_000
    with pytest.raises(LimitError, match="1,000,000 bytes"):
        limited(data, decompressed_bytes=1_000_000)


def test_object_streams_that_unpack_too_far_never_open() -> None:
    """qpdf unpacks them on opening; its limit, set where the reader is loaded, makes them unreadable."""
    document = pikepdf.new()
    document.add_blank_page()
    document.Root.Big = document.make_indirect(pikepdf.String(b"a" * 70_000_000))
    out = io.BytesIO()
    document.save(out, object_stream_mode=pikepdf.ObjectStreamMode.generate)
    assert len(out.getvalue()) < 500_000
    with pytest.raises(ReadError, match="cannot be opened"):
        read(out.getvalue())
    streams = pikepdf.settings.set_qpdf_limits(flate_max_memory=64_000_000)
    assert streams == {"flate_max_memory": 64_000_000}


def test_forms_that_multiply() -> None:
    """Thirty forms that each draw the next one twice would be drawn 2^30 times."""
    objects = {f"F{i}": form(f"/F{i + 1} Do /F{i + 1} Do") for i in range(30)}
    objects["F30"] = form(BOX)
    with pytest.raises(LimitError):
        limited(pdf("/F0 Do", objects=objects), use_instances=500)


def test_forms_that_draw_themselves() -> None:
    artwork = drawn(f"/A Do {BOX}", objects={"A": form(f"{BOX} /B Do"), "B": form(f"{BOX} /A Do")})
    assert len(artwork.items) == 3
    assert [remark.kind for remark in artwork.remarks] == [RemarkKind.CYCLE]


def test_forms_in_forms_too_deep() -> None:
    objects = {f"F{i}": form(f"/F{i + 1} Do") for i in range(400)}
    objects["F400"] = form(BOX)
    with pytest.raises(LimitError, match="deep inside one another"):
        read(pdf("/F0 Do", objects=objects))


@pytest.mark.parametrize(
    ("content", "limits", "message"),
    [
        ("q " * 300 + BOX, {}, "256 deep"),
        ("/X BMC " * 300 + BOX, {}, "256 deep"),
        (f"{BOX} " * 100, {"nodes": 50}, "50 elements"),
        (f"{BOX} " * 100, {"path_segments": 150}, "150 are read"),
        # Never painted, so that only counting while it is made can end it.
        ("0 0 m " + "9 9 l 0 0 l " * 100, {"path_segments": 150}, "151 segments"),
        ("0 " * 5000, {"pdf_tokens": 2000}, "2,000 words"),
        ("".join(f"0 0 {i + 1} 9 re W n " for i in range(40)) + BOX, {}, "Clips lie more than 32 deep"),
        ("[" + "1 " * 300 + "] 0 d " + BOX, {"dashes": 100}, "dashes"),
    ],
)
def test_limits_hold(content: str, limits: dict[str, int], message: str) -> None:
    with pytest.raises(LimitError, match=message):
        limited(pdf(content), **limits)


def test_values_without_an_operator() -> None:
    with pytest.raises(ReadError, match="values in a row"):
        read(pdf("0 " * 250_000))


def test_old_packing_that_might_unpack_too_far() -> None:
    """LZW codes of 12 bits can each stand for 4,096 bytes."""
    document = pikepdf.open(io.BytesIO(pdf(BOX)))
    document.pages[0].Contents.write(bytes(60_000), filter=Name.LZWDecode)
    out = io.BytesIO()
    document.save(out, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    with pytest.raises(ReadError, match="LZW"):
        read(out.getvalue())


def packed(raw: bytes) -> bytes:
    """Return a PDF whose page's content is said to be zlib data."""
    document = pikepdf.open(io.BytesIO(pdf(BOX)))
    document.pages[0].Contents.write(raw, filter=Name.FlateDecode)
    out = io.BytesIO()
    document.save(out, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    return out.getvalue()


def test_content_that_cannot_be_unpacked() -> None:
    with pytest.raises(ReadError, match="unpacked") as caught:
        read(packed(b"this is not zlib data"))
    assert caught.value.code == "pdf-damaged"


def test_content_that_ends_too_early_is_told() -> None:
    whole = zlib.compress(f"{BOX} ".encode() * 500)
    artwork = read(packed(whole[:-6]))
    assert RemarkKind.MISSING_REFERENCE in {remark.kind for remark in artwork.remarks}
    with pytest.raises(LimitError, match="1,000 bytes"):
        limited(packed(whole), decompressed_bytes=1000)


def test_pages_of_no_or_mad_size() -> None:
    with pytest.raises(ReadError, match="no usable size"):
        read(pdf(BOX, size=(0, 100)))
    with pytest.raises(ReadError, match="no sign is"):
        read(pdf(BOX, size=(1e8, 100), page={"UserUnit": 10}))


def test_layers_and_trees_that_contain_themselves() -> None:
    document = pikepdf.open(io.BytesIO(pdf(f"/OC /A BDC {BOX} EMC")))
    loop = document.make_indirect(pikepdf.Array([Name.Not]))
    loop.append(loop)
    document.pages[0].Resources.Properties = Dictionary(A=Dictionary(Type=Name.OCMD, VE=loop))
    out = io.BytesIO()
    document.save(out)
    assert len(read(out.getvalue()).items) == 1


_PIECES = [b"/", b"<<", b">>", b"[", b"]", b"(", b"0", b"-1", b"9" * 14, b"null", b" R", b"stream", b"3 0 R"]


def _mutated(data: bytes, choose: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(choose.randint(1, 6)):
        at, piece, kind = choose.randrange(len(out)), choose.choice(_PIECES), choose.randrange(3)
        if kind == 0:
            out[at] = choose.randrange(256)
        elif kind == 1:
            out[at : at + len(piece)] = piece
        else:
            out[at:at] = piece
    return bytes(out)


@pytest.mark.parametrize("seed", range(8))
def test_damage_of_any_kind_is_an_error_of_ours_or_read(seed: int) -> None:
    choose = random.Random(seed)
    font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([1, 1, 1]), C1=Array([0, 1, 0]), N=1)
    whole = pdf(
        "BT /H 24 Tf 20 40 Td (Fresh) Tj [(a) -400 (b)] TJ ET q 20 20 30 30 re W n /F Do Q /A gs "
        "/S cs .3 scn 0 0 9 9 re B [3 4] 1 d 1 1 m 9 9 l S BI /W 2 /H 2 /BPC 8 /CS /G ID abcd EI",
        {
            "Font": Dictionary(H=font),
            "ColorSpace": Dictionary(S=Array([Name.Separation, Name.L, Name.DeviceRGB, tint])),
            "ExtGState": Dictionary(A=Dictionary(ca=0.5, SMask=Dictionary())),
        },
        objects={"F": form(f"{BOX} /F Do")},
        page={"Annots": Array([Dictionary(AP=Dictionary())])},
        compress_streams=False,
    )
    outcomes = set()
    for _ in range(60):
        try:
            outcomes.add(type(read(_mutated(whole, choose))).__name__)
        except PreflightError as error:
            outcomes.add(error.code)
    assert "Artwork" in outcomes


def test_same_bytes_same_artwork() -> None:
    data = pdf(f"q 20 20 30 30 re W n {BOX} Q 1 0 0 rg {BOX}")
    one, other = read(data), read(data)
    assert one.remarks == other.remarks
    assert one.source == other.source
    assert [item.origin for item in one.items] == [item.origin for item in other.items]
