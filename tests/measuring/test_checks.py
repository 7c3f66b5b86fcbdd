"""Checks against known sizes: what their limits leave open, and which photos can be used."""

import math
import re
from pathlib import Path

import pytest

from blockcheck.errors import LengthError, ProfileError, TooFewPhotosError
from blockcheck.measuring.checks import known_size, profile_of_photos, repeat_photos, verify_photo
from blockcheck.measuring.together import measure_together

PHOTOS = Path(__file__).resolve().parents[2] / "fixtures" / "photos"
TWO = PHOTOS / "two-small.jpg"


def limits(*words, **more):
    """Half widths of the limits: u = a/√3 (JCGM 100, 4.3.7)."""
    return pytest.approx([e.u * math.sqrt(3) for e in known_size(*words, **more)])


def test_a_size_read_from_a_ruler_is_known_to_half_of_a_32nd():
    assert limits("6x9in") == [0.4, 0.4]
    assert limits("85.60x54.10mm") == [0.4, 0.4]  # no bank card
    assert limits("85.60x53.98mm", tolerance=0.3) == [0.3, 0.3]


def test_a_bank_card_may_lie_either_way():
    assert limits("85.60x53.98mm") == [0.13, 0.06]
    assert limits("53.98x85.60mm") == [0.06, 0.13]


def test_known_sizes_lie_between_two_centimetres_and_a_metre():
    for size in ("20x1000mm", "1000x20mm"):
        assert [e.budget[0].name for e in known_size(size)] == ["known size"] * 2
    for size in ("19.9x100mm", "100x1000.5mm"):
        with pytest.raises(LengthError, match=r"known size .* 20 × 20 mm .* Name the unit"):
            known_size(size)


def test_a_photo_of_two_blocks_says_that_one_is_asked_for():
    """The sentence names the photo and the count; the blocks themselves are left out."""
    checked = verify_photo(TWO, "60x80mm").result
    together = measure_together([TWO, TWO.with_name("no-block.jpg")], card_side="4in")
    assert not checked.ok
    assert checked.blocks == together.blocks == ()
    assert checked.problems[-1].message == "two-small.jpg shows 2 blocks."
    assert re.fullmatch(r"[A-Z][a-z].*[a-z]\.", checked.problems[-1].hint)
    assert len(checked.problems) > 1  # what else is said of the photo stays
    left_out = [p for p in together.problems if p.code == "photo_left_out"]
    assert "Left out: two-small.jpg shows 2 blocks." in [p.message for p in left_out]
    assert checked.problems[-1].hint in [p.hint for p in left_out]
    assert together.problems[-1].message == "Of 2 photos none can be used."
    assert [t.used for t in together.together] == [False, False]


def test_photos_that_show_nothing_twice_say_why():
    both = [TWO.with_name("no-block.jpg"), TWO.with_name("no-reference.jpg")]
    with pytest.raises(TooFewPhotosError, match="Too few photos") as refused:
        repeat_photos([both])
    assert re.fullmatch(r"[A-Z][a-z].*[a-z]\.", refused.value.hint)
    (note,) = refused.value.__notes__  # of the second photo
    assert "no-reference.jpg" in note
    with pytest.raises(LengthError, match="card side"):
        repeat_photos([both], card_side="1in")


def test_photos_that_make_no_profile_each_say_why():
    photos = [TWO.with_name("no-reference.jpg"), TWO.with_name("gone.jpg")]
    with pytest.raises(ProfileError) as refused:
        profile_of_photos(photos)
    first, second = refused.value.__notes__
    assert "no-reference.jpg" in first
    assert "gone.jpg" in second
