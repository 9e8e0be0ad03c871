"""The PDF: real text that can be found, vector music, the signs that fonts tend to lack, the same bytes every time."""

import io
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from analyzer.engrave.engrave import PageOptions, engraved_pages, engraving_copy
from analyzer.engrave.pdf import pdf_of
from tests.engrave.scores import busy, marks

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
pytest.importorskip("reportlab", reason="the PDF writer is not installed (pip install lowbrass[engrave])")
pypdf = pytest.importorskip("pypdf", reason="pypdf, which reads the PDF back, is not installed")

TITLE, SUBTITLE = "Étude in B♭ for Łukasz", "Trombone 2 · tenor trombone with F attachment"
A4_PT, LETTER_PT = (595.28, 841.89), (612.0, 792.0)            # ISO 216; 8.5 by 11 inches of 72 points


def pages(options: PageOptions, repeats: int = 4) -> tuple[str, ...]:
    document = busy(repeats)
    return engraved_pages(engraving_copy(document, "P1", marks(document), title=TITLE, subtitle=SUBTITLE), options)


def svg(inside: str, box: str = "0 0 210 297") -> str:
    spaces = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    return f'<svg {spaces} viewBox="{box}">{inside}</svg>'


def operators(pdf: bytes) -> str:
    page = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    return page.get_contents().get_data().decode("latin-1")


@pytest.mark.parametrize(("options", "size"), [
    (PageOptions(), A4_PT), (PageOptions(paper="letter"), LETTER_PT), (PageOptions(large_print=True), A4_PT),
])
def test_title_and_every_mark_are_text(options: PageOptions, size: tuple[float, float]) -> None:
    svgs = pages(options)
    reader = pypdf.PdfReader(io.BytesIO(pdf_of(svgs, options, title=TITLE)))
    assert len(reader.pages) == len(svgs)
    sheet = reader.pages[0].mediabox
    assert (float(sheet.width), float(sheet.height)) == pytest.approx(size, abs=0.05)
    text = " ".join(page.extract_text() for page in reader.pages)
    assert " ".join(TITLE.split()) in " ".join(text.split())
    assert SUBTITLE in " ".join(text.split())
    found = text.split()
    wanted = [mark.text for mark in marks(busy())]
    for label in ("T2", "2♯", "4♭", "×", "TS2", "1-2"):
        assert found.count(label) >= wanted.count(label) > 0, label
    assert len(svgs) == 1 or f"page {len(svgs)} of {len(svgs)}" in text
    assert reader.metadata.title == TITLE


def test_music_is_vector_and_fonts_are_embedded() -> None:
    pdf = pdf_of(pages(PageOptions()))
    page = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    assert list(page.images) == []
    assert len(re.findall(r"\bc\b", operators(pdf))) > 1000     # curves of heads and clefs
    for font in page["/Resources"]["/Font"].values():
        found = font.get_object()
        if found["/BaseFont"] == "/Helvetica":                  # the writer names it on every page and never uses it
            continue
        assert "/FontFile2" in found["/FontDescriptor"], found["/BaseFont"]
        assert "/ToUnicode" in found


def test_metronome_note_is_drawn_in_the_music_face() -> None:
    page = pypdf.PdfReader(io.BytesIO(pdf_of(pages(PageOptions())))).pages[0]
    assert any("Leipzig" in str(font.get_object()["/BaseFont"]) for font in page["/Resources"]["/Font"].values())
    assert "\ueca5" in page.extract_text() or "\ue1d5" in page.extract_text()


def test_same_bytes_again() -> None:
    svgs = pages(PageOptions())
    assert pdf_of(svgs, title="T") == pdf_of(svgs, title="T")


def test_characters_no_face_has_do_not_break_the_page() -> None:
    drawing = svg('<text x="10" y="20" font-size="8">Ж 漢字 한글 \U0001f3ba ♯</text>')
    text = pypdf.PdfReader(io.BytesIO(pdf_of([drawing]))).pages[0].extract_text()
    assert "Ж" in text
    assert "漢字" in text
    assert "♯" in text
    assert "?" in text                                          # the emoji


def rendered(pdf: bytes, folder: Path) -> object:
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm here: the drawn page cannot be looked at")
    image = pytest.importorskip("PIL.Image")
    source = folder / "page.pdf"
    source.write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "72", "-png", "-singlefile", str(source), str(folder / "page")], check=True)
    return image.open(folder / "page.png").convert("L")


def test_shapes_land_where_the_picture_has_them(tmp_path: Path) -> None:
    """Every kind of shape in a place of its own; grey values read from the page as another program draws it."""
    drawing = svg(
        '<rect x="10" y="10" width="20" height="20"/>'
        '<g transform="translate(50 10) scale(2)"><rect width="10" height="10" fill="none" stroke="black"/></g>'
        '<defs><g id="s"><path d="M0 0h20v20h-20z"/></g></defs><use xlink:href="#s" x="100" y="10"/>'
        '<polygon points="150,10 170,10 170,30 150,30"/><ellipse cx="20" cy="60" rx="10" ry="10"/>'
        '<line x1="50" y1="60" x2="70" y2="60" stroke="black" stroke-width="6"/>'
        '<g color="black" fill="currentColor"><rect x="100" y="50" width="20" height="20" fill-opacity="0"/></g>'
        '<svg width="210" height="297" viewBox="0 0 2100 2970"><rect x="1500" y="500" width="200" height="200"/></svg>'
        '<rect x="10" y="100" width="20" height="20" visibility="hidden"/>')
    picture = rendered(pdf_of([drawing]), tmp_path)
    scale = 72 / 25.4

    def grey(x: float, y: float) -> int:
        return picture.getpixel((round(x * scale), round(y * scale)))

    for x, y in ((20, 20), (110, 20), (160, 20), (20, 60), (60, 60), (160, 60)):
        assert grey(x, y) < 40, (x, y)
    for x, y in ((60, 20), (40, 20), (110, 60), (20, 110), (12, 52)):
        assert grey(x, y) > 220, (x, y)
    assert grey(50, 20) < 200                                   # the outline of the second


def test_text_anchors(tmp_path: Path) -> None:
    bar = "".join(f'<text x="105" y="{y}" font-size="10" text-anchor="{anchor}">■■■■</text>'.replace("■", "H")
                  for y, anchor in ((50, "start"), (100, "middle"), (150, "end")))
    picture = rendered(pdf_of([svg(bar)]), tmp_path)
    middle = 105 * 72 / 25.4

    def spread_at(y: float) -> tuple[float, float]:
        box = picture.crop((0, round((y - 8) * 72 / 25.4), picture.width, round((y + 1) * 72 / 25.4)))
        dark = [x for x in range(box.width) for row in range(box.height) if box.getpixel((x, row)) < 128]
        return min(dark) - middle, max(dark) - middle

    start, centred, end = spread_at(50), spread_at(100), spread_at(150)
    assert start[0] == pytest.approx(0, abs=3)
    assert centred[0] == pytest.approx(-centred[1], abs=3)
    assert end[1] == pytest.approx(0, abs=3)


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match="no page"):
        pdf_of([])
    with pytest.raises(ValueError, match="no SVG"):
        pdf_of(["<html/>"])
    with pytest.raises(ValueError, match="no XML"):
        pdf_of(["<svg"])


def test_bytes_do_not_depend_on_what_was_written_before() -> None:
    from analyzer.engrave.paint import font_of

    first, other = svg('<text x="9" y="20">Étude fig</text>'), svg('<text x="9" y="20">abc</text>')
    alone = pdf_of([first])
    pdf_of([other])                                  # has other characters of the same face
    assert pdf_of([first]) == alone
    font_of("regular")                               # as sheets of tables have the whole face
    assert pdf_of([first]) == alone
    assert "Étude fig" in pypdf.PdfReader(io.BytesIO(pdf_of([first]))).pages[0].extract_text()
