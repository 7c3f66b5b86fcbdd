"""The commands verify, repeat and lens, on scenes with known truth."""

import json
import re
import shlex
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import blockcheck
from blockcheck.cli import main
from blockcheck.errors import LengthError, ReadingsError
from blockcheck.measuring.checks import known_size, repeat_photos, verify_photo
from blockcheck.profiles import load_profiles
from blockcheck.project import Project
from fixtures.scene import Block, Camera, Card, Mat, Scene, Sheet, save

DOC = Path(__file__).resolve().parents[2] / "docs" / "checking.md"
LENS = Camera(1600, 1200, 1240.0, k1=0.03, k2=-0.01, cx=803.5, cy=596.5)
BARE = Mat(lines_mm=None, diagonal=False)


def rectangle(width, height, turn_deg, centre):
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    half = np.array([width, height]) / 2 * [[-1, -1], [1, -1], [1, 1], [-1, 1]]
    return tuple(map(tuple, half @ np.array([[c, s], [-s, c]]) + centre))


def bank_card(turn_deg=4, **card):
    """An ID-1 card (ISO/IEC 7810), 0.76 mm thick, beside the printed card."""
    corners = rectangle(85.60, 53.98, turn_deg, (45, -5))
    thing = Block(corners, height_mm=0.76, cloth="solid", colours=((226, 226, 232),))
    camera = Camera(distance_mm=330, tilt_deg=6)
    return Scene(camera, BARE, (Card(centre_mm=(-85, 20), turn_deg=3, **card),), (thing,), seed=1)


def sailboat(i):
    block = Block(rectangle(100, 140, 4, (10, 0)))
    camera = Camera(
        distance_mm=330 + 10 * i, tilt_deg=3 + i, azimuth_deg=70 * i, turn_deg=(0, 90, 178)[i]
    )
    return Scene(camera, cards=(Card(centre_mm=(-110, 20), turn_deg=3),), blocks=(block,), seed=i)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Photos under the names that docs/checking.md uses."""
    place = tmp_path_factory.mktemp("checking")
    save(bank_card(), place / "bank-card.jpg")
    save(bank_card(turn_deg=94, scale=0.985), place / "shrunk.jpg")
    for i in range(3):
        save(sailboat(i), place / f"boat-{i + 1}.jpg")
    (place / "sheet").mkdir()
    leans = ((4, 0), (18, 20), (18, 110), (18, 200), (18, 290))
    for i, (tilt, azimuth) in enumerate(leans):
        camera = replace(LENS, tilt_deg=tilt, azimuth_deg=azimuth, turn_deg=90, distance_mm=320)
        save(Scene(camera, BARE, sheet=Sheet(), seed=i), place / "sheet" / f"{i + 1}.jpg")
    (place / "readings.csv").write_text(
        "part,person,try,value\n"
        "1,Ann,1,6.50\n1,Ann,2,6.52\n1,Bea,1,6.55\n1,Bea,2,6.53\n"
        "2,Ann,1,6.31\n2,Ann,2,6.30\n2,Bea,1,6.33\n2,Bea,2,6.35\n"
    )
    return place


@pytest.fixture
def run(folder, monkeypatch):
    def call(*arguments):
        return CliRunner().invoke(main, list(arguments))

    monkeypatch.chdir(folder)
    return call


@pytest.fixture(scope="module")
def profiled(folder):
    """The lens command's answer, and where it keeps the profile."""
    kept = folder / "lenses.json"
    result = CliRunner().invoke(
        main, ["lens", str(folder / "sheet"), "--sheet-side", "9in", "--profiles", str(kept)]
    )
    assert result.exit_code == 0, result.output
    return result.output, kept


def test_a_bank_card_agrees(run, folder):
    result = run("verify", "bank-card.jpg", "--known", "85.60x53.98mm", "--card-side", "4in")
    assert result.exit_code == 0, result.output
    assert result.output.count(": agrees (E_n") == 2
    assert "They agree" in result.output


def test_a_card_printed_too_small_is_found_out_however_the_photo_was_turned(folder):
    """The print is 1.5 % too small and said to be right: all comes out 1.5 % too large."""
    found = verify_photo(folder / "shrunk.jpg", "85.60x53.98mm", card_side="4in")
    assert not found.agrees
    assert [round(k.value, 2) for k in found.known] == [53.98, 85.60]
    for measured, known in zip(found.measured, found.known, strict=True):
        assert measured.value / known.value == pytest.approx(1 / 0.985, abs=0.004)
    assert all(e > 1 for e in found.e_n)
    honest = verify_photo(folder / "shrunk.jpg", "85.60x53.98mm", card_side=0.985 * 101.6)
    assert honest.agrees


def test_a_disagreement_ends_in_words_and_an_exit_status_of_its_own(run):
    result = run("verify", "shrunk.jpg", "--known", "85.60x53.98mm", "--card-side", "4in")
    assert result.exit_code == 6
    assert "DOES NOT AGREE" in result.output
    assert "--card-side" in result.output


def test_a_check_is_kept_in_the_project(run, folder):
    assert run("new", "quilt", "--card-side", "4in").exit_code == 0
    result = run("verify", "bank-card.jpg", "--known", "85.60x53.98mm", "--project", "quilt")
    assert result.exit_code == 0, result.output
    assert "nominal size" not in result.output  # the project knows the card's side
    with Project.open(folder / "quilt") as quilt:
        (check,) = quilt.checks()
    assert check.verdict == "agrees"
    assert check.known_mm == (85.60, 53.98)


def test_nothing_to_measure_is_told_and_not_kept(run, folder):
    result = run("verify", "sheet/1.jpg", "--known", "85.60x53.98mm")
    assert result.exit_code == 1
    assert "NOT MEASURED" in result.output


def test_known_sizes_carry_their_limits():
    """Uniform within the limits: u = a/√3 (JCGM 100, 4.3.7)."""
    w, h = known_size("53.98x85.60mm")
    assert (w.u, h.u) == pytest.approx((0.06 / np.sqrt(3), 0.13 / np.sqrt(3)))
    w, h = known_size("4x4in", tolerance="0.3mm")
    assert (w.value, w.u) == pytest.approx((101.6, 0.3 / np.sqrt(3)))
    with pytest.raises(LengthError, match="Name the unit"):
        known_size("85.60x53.98")


def test_repeats_of_a_turned_block_agree(run, folder):
    found = repeat_photos([sorted(folder.glob("boat-*.jpg"))], card_side="4in")
    for group, true in ((found.widths[0], 100.0), (found.heights[0], 140.0)):
        assert len(group) == 3
        assert all(abs(e.value - true) < e.u95 for e in group)
    # chance alone is a part of what a photo's ± allows for
    assert found.width.repeatability.u < found.widths[0][0].u
    result = run("repeat", "boat-1.jpg", "boat-2.jpg", "boat-3.jpg", "--card-side", "4in")
    assert result.exit_code == 0, result.output
    assert "3 photos of one block" in result.output
    assert "(degrees of freedom: 2)" in result.output


def test_one_photo_is_no_repeat(folder):
    with pytest.raises(ReadingsError, match="measured twice"):
        repeat_photos([[folder / "boat-1.jpg"]], card_side="4in")
    with pytest.raises(ReadingsError, match=r"boat-1\.jpg is the same photo as boat-1\.jpg"):
        repeat_photos([[folder / "boat-1.jpg"] * 2], card_side="4in")


def test_the_true_lens_lies_inside_the_profile_made_from_photos(profiled):
    said, kept = profiled
    assert "5 photos" in said
    (profile,) = load_profiles(kept)
    assert profile.key == ("Example Phone One", 1600, 1200, 27.0)
    true = [np.log(1240 / 1600 / profile.f), 0.03 - profile.k1, -0.01 - profile.k2]
    off = np.array([*true, 4 / 1600 - profile.cx, -3 / 1600 - profile.cy])
    # chi-squared of 5: above 15.1 in one of a hundred
    assert off @ np.linalg.solve(profile.covariance, off) < 15.1
    # each photo may be stretched a little, which leaves more of the focal length open
    assert profile.covariance[0, 0] < 0.01**2


def test_a_profile_makes_a_card_alone_surer(profiled, folder, tmp_path):
    block_far = Scene(replace(LENS, distance_mm=330), BARE, (Card(centre_mm=(-90, 0)),), seed=9)
    save(block_far, tmp_path / "card.jpg")
    plain = blockcheck.find_plane(tmp_path / "card.jpg", card_side="4in")
    known = blockcheck.find_plane(tmp_path / "card.jpg", card_side="4in", profiles=profiled[1])
    ends = plain.px_from_mm(plain.mm_from_px(np.array([[700.0, 200], [1500, 1000]])))
    assert known.length(*ends).u95 < 0.75 * plain.length(*ends).u95
    assert "lens_does_not_fit" not in {p.code for p in known.problems}


def test_a_photo_that_does_not_fit_the_profile_says_so(profiled, tmp_path):
    other = Scene(replace(LENS, k1=-0.03, distance_mm=320, turn_deg=90), BARE, sheet=Sheet())
    save(other, tmp_path / "other.jpg")
    plane = blockcheck.find_plane(tmp_path / "other.jpg", sheet_side="9in", profiles=profiled[1])
    assert "lens_does_not_fit" in {p.code for p in plane.problems}
    without = blockcheck.find_plane(tmp_path / "other.jpg", sheet_side="9in")
    assert plane.camera.k1 == pytest.approx(without.camera.k1, abs=1e-3)


def test_profiles_in_their_usual_place_are_used(run, profiled, tmp_path, monkeypatch):
    """Without --profiles the command line looks where `lens` keeps them."""
    monkeypatch.setattr("blockcheck.cli.options.lens_file", lambda: tmp_path / "none.json")
    plain = run("measure", "boat-1.jpg", "--card-side", "4in", "--json")
    monkeypatch.setattr("blockcheck.cli.options.lens_file", lambda: tmp_path / "lenses.json")
    entry = json.loads(profiled[1].read_text())
    entry["lenses"][0] |= {"focal_35mm": 26.0, "f": 0.75, "k1": 0.0, "k2": 0.0, "cx": 0, "cy": 0}
    (tmp_path / "lenses.json").write_text(json.dumps(entry))
    known = run("measure", "boat-1.jpg", "--card-side", "4in", "--json")
    u95 = [json.loads(r.output)[0]["blocks"][0]["width_mm"]["u95"] for r in (plain, known)]
    assert u95[1] < u95[0]


@pytest.mark.parametrize(
    ("arguments", "says", "status"),
    [
        (("measure", "boat-1.jpg", "--profiles", "none.json"), "lens file", 4),
        (("lens", "boat-1.jpg"), "5 or more photos", 4),
        (("repeat", "none.csv"), "none.csv cannot be read", 4),
        (("repeat", "sheet/1.jpg", "sheet/2.jpg"), "Too few photos", 1),
        (("verify", "boat-1.jpg", "--known", "85x"), "not a size", 2),
    ],
)
def test_bad_input_ends_in_one_sentence(run, arguments, says, status):
    result = run(*arguments)
    assert result.exit_code == status
    assert says in result.output
    assert "Traceback" not in result.output


def test_the_commands_in_the_docs_run(run, profiled):
    commands = re.findall(r"^blockcheck (.+)$", DOC.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(commands) >= 4
    for command in commands:
        result = run(*shlex.split(command))
        assert result.exit_code == 0, (command, result.output)


def test_the_height_that_was_taken_is_said_and_a_bank_cards_is_for_its_size_only(run, folder):
    said = run("verify", "bank-card.jpg", "--known", "85.60x53.98mm", "--card-side", "4in").output
    assert "taken to lie 0.76 mm (0.030 in) above the mat, as a bank card's does." in said
    words = ("verify", "boat-1.jpg", "--known", "100x140mm", "--card-side", "4in")
    assert (
        "0.5 mm (0.020 in) above the mat, as cloth's does; if it is thicker" in run(*words).output
    )
    assert (
        "0.2 mm (0.008 in) above the mat, as you say"
        in run(*words, "--cloth-height", "0.2mm").output
    )
    run("new", "thick", "--card-side", "4in", "--cloth-height", "1mm")
    assert "1 mm (0.039 in) above the mat, as cloth's" in run(*words, "--project", "thick").output


def test_too_few_repeats_are_a_wrong_command_and_no_bad_file(run):
    alone = run("repeat", "boat-1.jpg", "--card-side", "4in")
    assert (alone.exit_code, "Take three or more photos" in alone.output) == (2, True)
    twice = run("repeat", "boat-1.jpg", "boat-1.jpg", "--card-side", "4in")
    assert (twice.exit_code, "take a new photo each time" in twice.output) == (2, True)
    unseen = run("repeat", "boat-1.jpg", "sheet/1.jpg", "--card-side", "4in")
    assert (unseen.exit_code, "Too few photos could be measured" in unseen.output) == (1, True)
