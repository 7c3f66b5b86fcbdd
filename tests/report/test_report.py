"""The report, its drawings and the trim sheet: whole, escaped, to scale, readable anywhere."""

import base64
import hashlib
import io
import re
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

import cv2
import numpy as np
import pytest
from PIL import Image

from blockcheck.errors import PlanError
from blockcheck.planning import quilt as planning
from blockcheck.planning.plan import BlockRecord, Plan
from blockcheck.planning.trimming.trim_lines import trim
from blockcheck.project.records import PhotoFile
from blockcheck.report import cutting_words, drawing, rows_words, trim_words, words
from blockcheck.report.html import report_html, write_report
from blockcheck.report.trim_picture import flat_photo, trim_picture
from blockcheck.report.trim_sheet import write_trim_sheet
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

HOSTILE = "<script>alert('x')</script> & \"1\" \x00\x1b]]>"
PX_PER_MM = 8.0


def record(name, width, height, **more):
    w, h = width * INCH, height * INCH
    terms = (Term("mat scale", 0.06), Term("edge fit", 0.08))
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    found = BlockRecord(name, "measured", Estimate(w, terms), Estimate(h, terms), outline, 0.1)
    return replace(found, corners_mm=outline, corners_px=outline * PX_PER_MM + 80.5, **more)


SIX = tuple(
    record(f"SB-{i}", w, h)
    for i, (w, h) in enumerate(
        [(6.3, 9.2), (6.25, 9.25), (6.6, 9.3), (6.2, 9.15), (6.3, 9.3), (6.3, 9.2)], 1
    )
)
PLAN = Plan(
    planned_mm=(6.5 * INCH, 9.5 * INCH),
    seams_across=2,
    rows=2,
    blocks_per_row=3,
    sashing_cut_mm=1.5 * INCH,
    borders_mm=(3 * INCH,),
)


@cache
def work_out(plan, blocks):
    return planning.work_out(plan, blocks)


class Page(HTMLParser):
    """Collects the page's words, its tags, and whether they are closed in order."""

    VOID = ("meta", "br", "link", "img", "input")

    def __init__(self, page):
        super().__init__()
        self.open, self.tags, self.words, self.attributes = [], [], [], []
        self.feed(page)
        self.close()
        self.text = re.sub(r"\s+", " ", " ".join(self.words))

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def page_of(plan, blocks, **more):
    page = Page(report_html(work_out(plan, blocks), blocks, title="Sailboats", **more))
    assert page.open == []
    return page


def photo_of(path, block, *, falls=(200, 60, 60)):
    """A photo of one block: grey mat, a cloth with its outermost 5 mm in another colour."""
    size = (block.outline_mm.max(axis=0) * PX_PER_MM).round().astype(int) + 160
    rgb = np.full((size[1], size[0], 3), 90, np.uint8)
    rgb[80:-80, 80:-80] = falls
    rgb[120:-120, 120:-120] = (240, 240, 220)
    Image.fromarray(rgb).save(path)
    return PhotoFile(path, hashlib.sha256(path.read_bytes()).hexdigest(), None, "", False)


def test_the_verdict_comes_first_in_a_sentence():
    page = page_of(PLAN, SIX)
    assert page.text.index("All 6 blocks can be trimmed to 6 1/4 × 9 1/8 in.") < 200
    assert "SB-4 sets the limit: 1/8 in short of 9 1/4 in high" in page.text
    assert words.RULER_FIRST in page.text
    assert "Rotary cutters are sharp" in page.text
    assert "Irons" in page.text


def test_everything_is_in_one_file_that_runs_nothing():
    page = report_html(work_out(PLAN, SIX), SIX, title="x")
    assert "<script" not in page
    links = [v for _, name, v in Page(page).attributes if name in ("src", "href", "data", "srcset")]
    assert all(v.startswith("data:image/jpeg;base64,") for v in links)
    assert not re.findall(r"url\((?!#)|@import", page)


def test_every_block_has_its_picture_and_its_cuts_in_order():
    page = page_of(PLAN, SIX)
    for block in SIX:
        assert f"{block.name} with its trim lines" in page.text
    steps = [page.text.index(f"ff the {side} edge") for side in ("right", "top", "left", "bottom")]
    assert steps == sorted(steps)


@pytest.mark.parametrize("hostile", [HOSTILE, "a" * 300, "Блок 船 🚢", "]]>", "{{ 7*7 }}"])
def test_names_are_written_as_they_are_and_run_nothing(hostile, tmp_path):
    blocks = (
        replace(SIX[0], name=hostile, note=hostile, points_mm={hostile: (50.0, 1.0)}),
        *SIX[1:],
    )
    quilt = work_out(PLAN, blocks)
    write_report(tmp_path / "r.html", quilt, blocks, title=hostile)
    page = Page((tmp_path / "r.html").read_text(encoding="utf-8"))
    assert page.open == []
    assert "script" not in page.tags
    shown = drawing.clean(hostile)
    assert re.sub(r"\s+", " ", shown) in page.text.replace("\N{NO-BREAK SPACE}", " ")
    write_trim_sheet(tmp_path / "t.pdf", quilt, title=hostile)
    assert (tmp_path / "t.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("plan", "blocks", "sentence"),
    [
        (PLAN, (), "There are no measured blocks yet."),
        (Plan(), SIX, "The plan gives no planned size"),
        (Plan(), SIX, "tell the plan the planned size"),
        (PLAN, SIX[:1], "Rows are compared once two blocks or more are measured."),
        (
            Plan(),
            SIX,
            "The plan does not say how many rows, or how many blocks per row; 2 rows are drawn.",
        ),
        (Plan(), SIX, "The plan has no alternate blocks, sashing or borders"),
        (Plan(fixed_width_mm=999.0), SIX, "No size on the ruler lines fits all the blocks."),
        (Plan(borders_mm=(1.0,)), SIX, "The border is no wider than its two seam allowances."),
    ],
)
def test_what_is_missing_is_said_and_no_section_is_empty(plan, blocks, sentence):
    html = report_html(work_out(plan, blocks), blocks, title="x")
    assert sentence in Page(html).text
    for section in re.split(r"<h2", html)[1:]:
        body = re.sub(r"<[^>]+>", "", section.split("</h", 1)[1].split(">", 1)[1])
        assert body.strip() or "<svg" in section or section.startswith(">x<")


def test_a_block_of_uncertain_size_is_said_to_be():
    vague = replace(SIX[0], width_mm=Estimate(SIX[0].width_mm.value, (Term("edge fit", 1.0),)))
    text = page_of(PLAN, (vague, *SIX[1:])).text
    assert "The size of SB-1 is not certain enough to cut by: measure with the ruler" in text
    assert "not certain, measure with the ruler" in text


def test_bare_numbers_are_called_blocks():
    numbered = tuple(replace(b, name=str(i)) for i, b in enumerate(SIX, 1))
    quilt = work_out(PLAN, numbered)
    assert any(s.startswith("Block 4 sets the limit") for s in words.reasons(quilt))
    assert words.names(["1", "2"]) == "block 1 and block 2"
    assert all(
        "block" in rows_words.seam_match(quilt, quilt.rows, j) for j in quilt.rows.check.matches
    )


def test_very_many_names_are_cut_short():
    assert words.names([f"b{i}" for i in range(400)]).endswith("b11 and 388 more")


def test_centimetres_all_through():
    """No inch is left in the words of who works in centimetres."""
    plan = replace(PLAN, unit="cm", step_mm=5.0)
    text = page_of(plan, SIX).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "All 6 blocks can be trimmed to 15.5 × 23.0 cm." in text
    assert not re.findall(r"\d (?:\d+/\d+ )?in\b(?! the| row| by)", text)


def svg_of(text):
    return ET.fromstring(text)


def named(svg, tag):
    return [e for e in svg.iter() if e.tag.split("}")[-1] == tag]


def test_rows_are_drawn_to_scale():
    quilt = work_out(replace(PLAN, sashing_cut_mm=None), SIX)
    rects = [e for e in named(svg_of(drawing.rows_to_scale(quilt)), "rect") if e.get("stroke")]
    widths = [float(e.get("width")) for e in rects]
    expected = [b.width_mm.value - 2 * PLAN.seam_mm for b in SIX]
    assert widths == pytest.approx(expected, abs=0.02)


def test_each_joint_that_misses_has_its_number():
    quilt = work_out(PLAN, SIX)
    missing = [j for j in quilt.rows.check.matches if j.meets != "yes"]
    svg = svg_of(drawing.rows_to_scale(quilt))
    assert missing
    assert len(named(svg, "circle")) == len(missing)
    texts = [e.text for e in named(svg, "text")]
    assert [str(i + 1) in texts for i in range(len(missing))]


def test_the_size_plot_has_every_block_and_a_ring_for_the_small():
    quilt = work_out(PLAN, SIX)
    wide = replace(quilt, choice=replace(quilt.choice, size_mm=(6.28 * INCH, quilt.size_mm[1])))
    circles = named(svg_of(drawing.measured_sizes(wide, SIX, "width")), "circle")
    assert [c.get("fill") == "white" for c in circles] == [
        b.width_mm.value < 6.28 * INCH for b in SIX
    ]


def test_trim_lines_lie_where_they_were_worked_out():
    quilt = work_out(PLAN, SIX)
    for block, one in zip(SIX, quilt.trims, strict=True):
        svg = svg_of(trim_picture(PLAN, block, one))
        drawn = [
            np.array([p.split(",") for p in e.get("points").split()], float)
            for e in named(svg, "polygon")
        ]
        assert any(
            np.abs(d - one.placement.corners_mm).max() < 0.01 for d in drawn if d.shape == (4, 2)
        )


def test_missing_cloth_is_hatched_apart_and_called_missing():
    quilt = work_out(Plan(), SIX)
    too_large = trim(SIX[0].cloth(PLAN), 6.6 * INCH, 9.1 * INCH)
    svg = trim_picture(PLAN, SIX[0], too_large)
    assert "missing" in [e.text for e in named(svg_of(svg), "text")]
    html = report_html(
        replace(quilt, choice=replace(quilt.choice, trims=(too_large,))), SIX, title="x"
    )
    assert "what is cross-hatched is missing" in html
    assert "SB-1: does not reach the size" in Page(html).text


def test_the_photo_is_laid_flat_under_the_trim_lines(tmp_path):
    """The photo is turned and seen aslant; flat, its cloth fills the outline and nothing more."""
    block = SIX[0]
    plain = photo_of(tmp_path / "flat.png", block)
    rgb = np.asarray(Image.open(plain.path))
    h, w = rgb.shape[:2]
    aslant = np.array([[200, 150], [w + 120, 90], [w + 260, h + 300], [90, h + 180]], np.float32)
    H = cv2.getPerspectiveTransform(np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32), aslant)
    seen = cv2.warpPerspective(rgb, H, (w + 400, h + 400), borderValue=(90, 90, 90))
    Image.fromarray(seen).save(tmp_path / "aslant.png")
    corners = cv2.perspectiveTransform(block.corners_px[None].astype(np.float64), H)[0]
    sha = hashlib.sha256((tmp_path / "aslant.png").read_bytes()).hexdigest()
    photo = PhotoFile(tmp_path / "aslant.png", sha, None, "", False)
    flat = flat_photo(photo, replace(block, corners_px=corners))
    picture = np.asarray(Image.open(io.BytesIO(flat.jpeg)), int)
    k = picture.shape[1] / flat.width_mm
    for mm, color in (((-2, 50), 90), ((2, 50), (200, 60, 60)), ((80, 100), (240, 240, 220)),
                      ((block.width_mm.value - 2, 9 * INCH), (200, 60, 60))):  # fmt: skip
        x, y = ((np.array(mm) - (flat.x_mm, flat.y_mm)) * k).round().astype(int)
        assert np.abs(picture[y, x] - color).max() < 40


def test_the_photo_is_embedded_and_its_lack_is_said(tmp_path):
    photo = photo_of(tmp_path / "b.png", SIX[0])
    photos = {"SB-1": photo, "SB-2": None}
    page = page_of(PLAN, SIX, photos=photos)
    images = [v for tag, name, v in page.attributes if tag == "image" and name == "href"]
    assert len(images) == 1
    Image.open(io.BytesIO(base64.b64decode(images[0].split(",")[1]))).load()
    assert "Drawn from the measured outline because there is no photo: SB-2, SB-3" in page.text


def test_a_photo_that_is_gone_broken_or_another_is_not_drawn_on(tmp_path):
    photo = photo_of(tmp_path / "b.png", SIX[0])
    assert flat_photo(photo, SIX[0]) is not None
    assert flat_photo(photo, replace(SIX[0], corners_px=None)) is None
    assert flat_photo(replace(photo, sha256="0" * 64), SIX[0]) is None
    photo.path.write_bytes(b"no photo")
    assert flat_photo(photo, SIX[0]) is None
    photo.path.unlink()
    assert flat_photo(photo, SIX[0]) is None


def test_a_report_that_is_there_is_replaced_whole_or_left(tmp_path, monkeypatch):
    quilt, target = work_out(PLAN, SIX), tmp_path / "r.html"
    write_report(target, quilt, SIX, title="first")
    before = target.read_text()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(OSError, match="No space"):
        write_report(target, quilt, SIX, title="second")
    assert target.read_text() == before
    assert [p.name for p in tmp_path.iterdir()] == ["r.html"]


def pdf_text(path):
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext (poppler-utils) is not installed")
    return subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout


@pytest.mark.parametrize(("paper", "points"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_the_trim_sheet_has_every_block_on_its_paper(tmp_path, paper, points):
    blocks = tuple(replace(SIX[i % 6], name=f"SB-{i}") for i in range(14))
    plan = Plan(rows=2, blocks_per_row=8)
    write_trim_sheet(tmp_path / "t.pdf", work_out(plan, blocks), title="Boats", paper=paper)
    text = pdf_text(tmp_path / "t.pdf")
    pages = text.split("\f")
    assert [page.count("Trim to 6 1/4 × 9 1/8 in") for page in pages[:3]] == [1, 1, 1]
    assert all(words.RULER_FIRST in page for page in pages[:-1])
    assert all(re.search(rf"\bSB-{i}\b", text) for i in range(14))
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", (tmp_path / "t.pdf").read_bytes())
    assert {tuple(round(float(v)) for v in box) for box in boxes} == {points}


def test_the_trim_sheet_numbers_blocks_whose_letters_it_lacks(tmp_path):
    blocks = (replace(SIX[0], name="船"), *SIX[1:])
    write_trim_sheet(tmp_path / "t.pdf", work_out(PLAN, blocks), title="Boats")
    text = pdf_text(tmp_path / "t.pdf")
    assert "block 1" in text
    assert "SB-2" in text


def test_a_block_to_be_left_alone_has_no_amounts_on_the_trim_sheet(tmp_path):
    """1/32 in that may stay on was written as 1/16 in to cut."""
    size = (6.25 * INCH, 9.25 * INCH)
    quilt = work_out(Plan(planned_mm=size), (record("S", 6.3, 9.3), record("T", 6.27, 9.27)))
    assert all(t.nothing_to_trim for t in quilt.trims)
    write_trim_sheet(tmp_path / "t.pdf", quilt, title="Boats")
    first = pdf_text(tmp_path / "t.pdf").split("\f")[0]
    assert first.count("No trimming needed.") == 2
    assert "1/16 in" not in first


def test_two_blocks_never_go_by_one_name_on_the_trim_sheet(tmp_path):
    blocks = (replace(SIX[0], name="船"), replace(SIX[1], name="1"), *SIX[2:])
    write_trim_sheet(tmp_path / "t.pdf", work_out(PLAN, blocks), title="Boats")
    text = pdf_text(tmp_path / "t.pdf")
    assert "No. 1 in the report" in text
    assert len(re.findall(r"\bBlock 1\b", text)) == 1


def test_a_trim_sheet_without_a_size_is_refused(tmp_path):
    with pytest.raises(PlanError, match="no measured blocks"):
        write_trim_sheet(tmp_path / "t.pdf", work_out(PLAN, ()), title="x")
    assert not (tmp_path / "t.pdf").exists()


def test_of_many_blocks_an_overview_comes_first_and_the_rest_is_folded():
    """What is folded is not printed: 400 blocks took 264 pages, and take 27."""
    many = tuple(replace(SIX[i % 6], name=f"S{i}") for i in range(words.MANY + 1))
    page = page_of(replace(PLAN, rows=6, blocks_per_row=7), many)
    assert page.tags.count("details") >= 2
    overview = page.text.index("What to trim off each side")
    assert overview < page.text.index("Each block, drawn with its trim lines")
    few = page_of(PLAN, SIX)
    assert "details" not in few.tags
    assert "What to trim off each side" not in few.text


def test_a_block_s_amounts_in_a_few_signs():
    quilt = work_out(PLAN, SIX)
    third = quilt.trims[2]  # 6.6 x 9.3 in to 6 1/4 x 9 1/8
    assert trim_words.amounts(quilt.plan, third) == ("3/16", "1/16", "3/16", "1/16")


def test_cuts_by_a_size_that_is_only_planned_are_not_to_be_made():
    plan = Plan(planned_mm=(6 * INCH, 9 * INCH), rows=2, blocks_per_row=3)
    said = cutting_words.headline(work_out(plan, ()))
    assert said.endswith("do not cut yet.")
    assert "do not cut" not in cutting_words.headline(work_out(plan, SIX))
