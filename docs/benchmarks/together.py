"""What three photos of one block together gain: drawn sets with exact truth.

usage: together.py SETS [FOLDER]

For each kind of set: root mean square error and mean U95 of width and height, in inches, of the
photos by themselves and together, and the share of lengths inside their U95.
"""

import math
import sys
import tempfile
from pathlib import Path

import numpy as np

from blockcheck.measuring.together import measure_together
from fixtures.scene import Block, Camera, Card, Mat, Scene, save, truth

SIZE, CLOTHS = (2400, 1800), ("sailboat", "ninepatch", "dots", "halves")
KINDS = {  # are mat lines in view, how far the phone leans, who is turned, cloth's height
    "card and mat lines, phone turned around the block": (True, (6, 6, 6), "phone", 0.5),
    "card and mat lines, block turned": (True, (6, 6, 6), "block", 0.5),
    "card alone, phone turned around the block": (False, (6, 6, 6), "phone", 0.5),
    "card alone, block turned": (False, (6, 6, 6), "block", 0.5),
    "card alone, leaning to two sides": (False, (4, 22, 22), "phone", 0.5),
    "card and mat lines, leaning, cloth 1.1 mm high": (True, (4, 22, 22), "phone", 1.1),
}


def laid(points: np.ndarray, turn_deg: float, at: np.ndarray) -> tuple:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return tuple(map(tuple, (points @ np.array([[c, s], [-s, c]]) + at).tolist()))


def scenes(kind: str, seed: int) -> list[Scene]:
    """Draw lens, print, block and poses from what the uncertainties take for granted."""
    lines, leans, who, height = KINDS[kind]
    rng = np.random.default_rng(seed)
    w, h = np.array([152.4, 228.6]) + rng.uniform(-4, 4, 2)
    block = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2 + rng.uniform(-1, 1, (4, 2))
    diagonal = math.hypot(*SIZE)
    f = 26 * diagonal / 43.27 * (1 + rng.normal(0, 0.02))
    k1 = rng.normal(0, 0.02) / (diagonal / 2 / f) ** 2
    centre = (np.array(SIZE) - 1) / 2 + rng.normal(0, 5, 2)
    bow, scale = tuple(rng.uniform(-0.4, 0.4, 4)), 1 + rng.normal(0, 0.001)
    found = []
    for i, lean in enumerate(leans):
        turned = (0, 180, 92)[i] if who == "block" else 0
        camera = Camera(
            *SIZE,
            f,
            k1,
            0,
            *centre,
            tilt_deg=lean + rng.uniform(-2, 2),
            azimuth_deg=(30, 110, 280)[i] + rng.uniform(-20, 20),
            turn_deg=((0, 90, 190)[i] if who == "phone" else 0) + rng.uniform(-8, 8),
            distance_mm=rng.uniform(440, 480) + (40 if turned == 92 else 0),
        )
        at = np.array([-80.0, -10] if turned == 92 else [-55.0, 0])
        if who == "block":
            at, turned = at + rng.uniform(-8, 8, 2), turned + rng.uniform(-4, 4)
        cloth = Block(
            laid(block, turned + 3, at),
            bow,
            height_mm=height,
            cloth=CLOTHS[seed % 4],
            wave_mm=0.1,
            threads=3,
        )
        mat = Mat(lines_mm=25.4 if lines else None)
        card = Card("A", (110, 20), 5, scale=scale)
        found.append(Scene(camera, mat, (card,), (cloth,), seed=100 * seed + i))
    return found


def line(name: str, rows: list[tuple[float, float]]) -> str:
    off, u95 = np.array(rows).T / 25.4
    inside = np.mean(np.abs(off) <= u95)
    return f"  {name:10s} RMS {np.sqrt(np.mean(off**2)):.4f} in, U95 {u95.mean():.4f} in, inside {inside:.0%}"


def main(sets: int, folder: Path) -> None:
    for kind in KINDS:
        alone, together = [], []
        for seed in range(sets):
            drawn = scenes(kind, seed)
            true = truth(drawn[0])["blocks"][0]
            paths = [folder / f"{seed}-{i}.jpg" for i in range(len(drawn))]
            for path, scene in zip(paths, drawn, strict=True):
                save(scene, path)
            result = measure_together(paths, card_side="4in")
            for p in (p for p in result.problems if p.code not in ("one_reference", "tilted")):
                print(f"  {kind}, set {seed}: {p.code}: {p.message}")
            for said, rows in [(t, alone) for t in result.together] + [
                (b, together) for b in result.blocks
            ]:
                for name in ("width_mm", "height_mm"):
                    if (e := getattr(said, name)) is not None:
                        rows.append((e.value - true[name], e.u95))
        print(f"{kind}: {len(together) // 2} of {sets} sets")
        print(line("one photo", alone))
        print(line("together", together), flush=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        main(int(sys.argv[1]), Path(sys.argv[2] if len(sys.argv) > 2 else made))
