"""Photos in: every format and turn decoded alike, damage told in one sentence."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import blockcheck
from blockcheck.cli import main
from blockcheck.errors import PhotoError, ReferenceHiddenError
from blockcheck.vision.photo import read_photo
from fixtures.scene import Camera, Card, Mat, Scene, project, render

ROOT = Path(__file__).resolve().parents[2]
TRUTH = json.loads((ROOT / "fixtures" / "photos" / "truth.json").read_text())
SAILBOAT = ROOT / "blockcheck" / "demo_photos" / "sailboat-1.jpg"
# EXIF 2.32, table 6: what was done to the upright picture before it was stored; the inverse
# of what a viewer does
STORED = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


@pytest.fixture(scope="module")
def picture():
    """Return a 2 MP picture of soft colour, which no format's compression harms much."""
    coarse = np.random.default_rng(5).integers(40, 220, (12, 16, 3), dtype=np.uint8)
    return Image.fromarray(cv2.resize(coarse, (1600, 1200), interpolation=cv2.INTER_CUBIC))


def exif(orientation=1, focal=None):
    found = Image.Exif()
    found[0x0112] = orientation
    found[0x010F], found[0x0110] = "Maker", "Phone One"
    if focal:
        found.get_ifd(0x8769)[0xA405] = focal
    return found


def save(image, path, **tags):
    stored, words = image.copy(), exif(**tags).tobytes()
    if path.suffix == ".heic":  # pillow-heif writes the turn as phones do, but only from here
        stored.info["exif"] = words
        stored.save(path, enc_params={"preset": "ultrafast"})
    else:
        stored.save(path, exif=words)


def off(path, picture):
    """Mean departure from the picture as it should be, in grey levels."""
    rgb = read_photo(path).rgb
    assert rgb.dtype == np.uint8
    want = np.asarray(picture.convert("RGB"), int)
    assert rgb.shape == want.shape
    return np.abs(rgb.astype(int) - want).mean()


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp", "heic"])
def test_every_format_gives_the_picture_and_its_exif(picture, suffix, tmp_path):
    path = tmp_path / f"p.{suffix}"
    save(picture, path, focal=26)
    assert off(path, picture) < 2
    photo = read_photo(path)
    assert photo.focal_35mm == 26
    assert photo.camera == "Maker Phone One"
    assert photo.size == (1600, 1200)


@pytest.mark.parametrize(
    ("suffix", "orientation"),
    [("jpg", k) for k in STORED]
    + [(suffix, k) for suffix in ("png", "tif", "webp") for k in (5, 6)]
    + [("heic", 3), ("heic", 6)],  # no phone writes it mirrored
)
def test_orientation_is_applied_once(picture, suffix, orientation, tmp_path):
    path = tmp_path / f"p.{suffix}"
    stored = picture if orientation == 1 else picture.transpose(STORED[orientation])
    save(stored, path, orientation=orientation)
    assert off(path, picture) < 2


@pytest.mark.parametrize(
    ("name", "mode"),
    [
        ("grey.jpg", "L"),
        ("cmyk.jpg", "CMYK"),
        ("cmyk.tif", "CMYK"),
        ("alpha.png", "RGBA"),
        ("grey-alpha.png", "LA"),
        ("lab.tif", "LAB"),
        ("ycbcr.jpg", "YCbCr"),
    ],
)
def test_other_colour_modes(picture, name, mode, tmp_path):
    image = picture.convert(mode)
    image.save(tmp_path / name)
    assert off(tmp_path / name, picture.convert("L") if mode in ("L", "LA") else picture) < 2


@pytest.mark.parametrize(
    ("name", "mode", "options"),
    [
        ("usual.jpg", "RGB", {}),
        ("grey.jpg", "L", {}),
        ("not-ycc.jpg", "RGB", {"keep_rgb": True}),  # ITU-T T.872, 6.5.3: transform 0
        ("progressive.jpg", "RGB", {"progressive": True}),
        ("lossless.png", "RGB", {}),
    ],
)
def test_grey_is_the_luma_of_the_colours(picture, name, mode, options, tmp_path):
    picture.convert(mode).save(tmp_path / name, **options)
    photo = read_photo(tmp_path / name)
    want = photo.rgb @ np.array([0.299, 0.587, 0.114])  # ITU-R BT.601, 2.5.1
    assert photo.gray.shape == want.shape
    assert np.abs(photo.gray - want).mean() < 1


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_sixteen_bits_keep_their_brightness_and_turn(picture, suffix, tmp_path):
    grey = np.asarray(picture.convert("L")).astype(np.uint16) * 257
    path = tmp_path / f"grey.{suffix}"
    Image.fromarray(np.rot90(grey)).save(path, exif=exif(6))
    assert off(path, picture.convert("L")) < 1
    colour = np.asarray(picture)[..., ::-1].astype(np.uint16) * 257
    cv2.imwrite(str(tmp_path / f"colour.{suffix}"), colour)
    assert off(tmp_path / f"colour.{suffix}", picture) < 1


def test_what_is_transparent_is_white(picture, tmp_path):
    clear = picture.convert("RGBA")
    clear.putalpha(0)
    clear.save(tmp_path / "clear.png", compress_level=1)
    assert read_photo(tmp_path / "clear.png").rgb.min() == 255


@pytest.fixture(scope="module")
def upright():
    return blockcheck.measure_photo(SAILBOAT, card_side="4in").blocks[0]


@pytest.mark.parametrize("turns", [1, 2])
def test_a_turned_photo_measures_the_same_but_turned(turns, upright, tmp_path):
    """The same pixels, so the lengths agree far within their uncertainty; sides change names."""
    with Image.open(SAILBOAT) as image:
        turned = image.rotate(90 * turns, expand=True)
        tags = image.getexif()
    turned.save(tmp_path / "turned.jpg", exif=tags, quality=95)
    block = blockcheck.measure_photo(tmp_path / "turned.jpg", card_side="4in").blocks[0]
    before = np.roll([e.value for e in upright.sides_mm], -turns)
    for ours, theirs in zip(before, block.sides_mm, strict=True):
        assert abs(ours - theirs.value) < 0.5 * theirs.u95


def test_the_stored_turn_does_not_change_the_measurement(upright, tmp_path):
    """EXIF says how the pixels are to be turned; the person sees the same photo."""
    with Image.open(SAILBOAT) as image:
        tags = image.getexif()
        tags[0x0112] = 6
        image.transpose(STORED[6]).save(tmp_path / "p.png", exif=tags, compress_level=0)
    block = blockcheck.measure_photo(tmp_path / "p.png", card_side="4in").blocks[0]
    np.testing.assert_allclose(block.corners_px, upright.corners_px, atol=0.01)
    assert block.width_mm.value == pytest.approx(upright.width_mm.value, abs=0.01)


def test_focal_length_from_exif_or_by_hand(tmp_path):
    with Image.open(SAILBOAT) as image:
        said = read_photo(SAILBOAT).focal_35mm
        image.save(tmp_path / "silent.png", compress_level=1)
        image.save(tmp_path / "says.png", compress_level=1, exif=image.getexif())
    assert read_photo(tmp_path / "silent.png").focal_35mm is None
    told = blockcheck.find_plane(tmp_path / "silent.png", card_side="4in", focal=said)
    known = blockcheck.find_plane(tmp_path / "says.png", card_side="4in")
    assert told.camera.f == pytest.approx(known.camera.f, rel=1e-9)


# --- what a spoiled file says ------------------------------------------------------------------


def test_words_in_exif_hold_nothing_that_acts(picture, tmp_path):
    tags = exif()
    tags[0x010F], tags[0x0110] = "Ma\x1b[2Jker", "One\r\n\x9b31m"
    picture.save(tmp_path / "p.jpg", exif=tags)
    assert read_photo(tmp_path / "p.jpg").camera.isprintable()


def test_failures_of_the_libraries_become_one_sentence(monkeypatch):
    def fails(*_):
        raise cv2.error("(-215:Assertion failed)")

    monkeypatch.setattr("blockcheck.measuring.measure.plane_of", fails)
    result = blockcheck.measure_photo(SAILBOAT)
    assert [p.code for p in result.problems] == ["unreadable_photo"]
    assert result.problems[0].message.startswith("sailboat-1.jpg cannot be worked on")


def test_damage_anywhere_never_gives_a_traceback(picture, tmp_path):
    """Bytes overwritten and files cut at seeded places: decoded, or a PhotoError."""
    rng = np.random.default_rng(11)
    for suffix in ("jpg", "png", "tif", "webp", "heic"):
        path = tmp_path / f"p.{suffix}"
        save(picture, path, orientation=6, focal=26)
        whole = path.read_bytes()
        refused = []
        for k in range(12):
            damaged = bytearray(whole)
            for _ in range(4):
                damaged[rng.integers(4, min(len(whole), 600))] = rng.integers(256)
            path.write_bytes(damaged[: rng.integers(600, len(whole))] if k % 3 == 0 else damaged)
            try:
                read_photo(path)
            except PhotoError as e:
                refused.append(e.message)
        assert refused
        assert all(path.name in message for message in refused)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder with two good photos, one bad, and a file that is no photo's business."""
    place = tmp_path_factory.mktemp("blocks")
    for name in ("sailboat-1.jpg", "sailboat-3.jpg"):
        (place / name).write_bytes((SAILBOAT.parent / name).read_bytes())
    (place / "cut.jpg").write_bytes(SAILBOAT.read_bytes()[:40_000])
    (place / "notes.txt").write_text("six boats")
    return place


def test_the_others_are_still_measured_and_jobs_change_nothing(folder):
    words = ["measure", str(folder), "--card-side", "4in", "--json"]
    one = CliRunner().invoke(main, [*words, "--jobs", "1", "--quiet"])
    two = CliRunner().invoke(main, [*words, "--jobs", "2"])
    assert one.exit_code == two.exit_code == 1
    assert one.stdout == two.stdout
    assert one.stderr.startswith("NOT MEASURED: cut.jpg is damaged")
    assert two.stderr == "Measuring 3 photos, 2 at a time.\n" + one.stderr
    found = json.loads(one.stdout)  # nothing but JSON
    assert [Path(f["photo"]).name for f in found] == ["cut.jpg", "sailboat-1.jpg", "sailboat-3.jpg"]
    assert [f["ok"] for f in found] == [False, True, True]
    (problem,) = found[0]["problems"]
    assert problem["level"] == "error"
    assert problem["message"].startswith("cut.jpg is damaged")


def test_the_table_of_a_bad_photo_is_one_sentence(folder):
    run = CliRunner().invoke(main, ["measure", str(folder / "cut.jpg"), str(folder / "none.jpg")])
    assert run.exit_code == 1
    assert "Traceback" not in run.output
    assert run.stdout == ""
    assert "NOT MEASURED: cut.jpg is damaged or cut short." in run.stderr
    assert "NOT MEASURED: none.jpg cannot be opened (No such file or directory)." in run.stderr


def test_a_folder_without_photos_is_told(tmp_path):
    (tmp_path / "notes.txt").write_text("nothing here")
    run = CliRunner().invoke(main, ["measure", str(tmp_path)])
    assert run.exit_code == 2
    assert "no photo" in run.stderr
    run = CliRunner().invoke(main, ["measure", str(tmp_path), str(SAILBOAT), "--card-side", "4in"])
    assert run.exit_code == 1
    assert "no photo" in run.stderr
    assert "width" in run.stdout


SIZES = [
    pytest.param(2, (1640, 1230), id="2 MP"),
    pytest.param(1, (1640, 1230), id="2 MP, stripes along the edge"),
    pytest.param(1, (5760, 4320), id="25 MP"),
    pytest.param(1, (8160, 6120), id="50 MP"),
]


@pytest.mark.parametrize(("number", "size"), SIZES)
def test_small_and_large_photos_are_measured(number, size, tmp_path):
    """The same photo at other sizes, which are blurred then: lengths within U95."""
    name = f"sailboat-{number}"
    with Image.open(SAILBOAT.with_stem(name)) as image:
        tags = image.getexif()
        scaled = image.resize(size, Image.Resampling.BICUBIC)
    scaled.save(tmp_path / "p.jpg", exif=tags, quality=88)
    result = blockcheck.measure_photo(tmp_path / "p.jpg", card_side="4in")
    assert result.ok, result.problems
    truth = TRUTH[f"demo/{name}"]["blocks"][0]
    block = result.blocks[0]
    for found, true in ((block.width_mm, "width_mm"), (block.height_mm, "height_mm")):
        assert abs(found.value - truth[true]) < found.u95


def test_a_card_mostly_covered_is_said_to_be(tmp_path):
    """Two columns of markers are left of five: a card is there, but too little of it."""
    card = Card("A", (40, 0))
    camera = Camera(1800, 1350, 26 * 2250 / 43.27, distance_mm=330)
    rgb = render(Scene(camera, Mat(lines_mm=None), (card,)))
    (left, _), (right, _) = project(camera, [(-20, 0), (52, 0)])
    rgb[:, round(left) : round(right)] = rgb[5, 5]
    Image.fromarray(rgb).save(tmp_path / "p.png", compress_level=1)
    with pytest.raises(ReferenceHiddenError, match="Too little"):
        blockcheck.find_plane(tmp_path / "p.png", card_side="4in")
