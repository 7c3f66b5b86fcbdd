"""Feed made-up lengths, tables, exports and project files for a while; anything but words is a find.

    python docs/benchmarks/fuzz.py [SECONDS] [length|table|export|project]

Coverage-guided by atheris (libFuzzer); without a target the time is shared by all four. A find is
printed with its bytes, and the program ends with a status that is not 0.
"""

import contextlib
import math
import subprocess
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["blockcheck.project", "blockcheck.units"]):
    from blockcheck.errors import BlockcheckError
    from blockcheck.project import Project, exchange, schema
    from blockcheck.units import parse_length

from kills import made_up

FOLDER = Path(tempfile.mkdtemp())
schema.SYNCHRONOUS = "OFF"


def length(data: bytes) -> None:
    """A length is a finite number of millimetres or a `LengthError`."""
    text = data.decode("utf-8", "replace")
    with contextlib.suppress(BlockcheckError):
        mm = parse_length(text, "in")
        assert math.isfinite(mm)


def table(data: bytes) -> None:
    """A table gives sizes of a block, or says why not."""
    path = FOLDER / "t.csv"
    path.write_bytes(data)
    with contextlib.suppress(BlockcheckError):
        for name, width, height in exchange.read_csv(path, "in"):
            assert name
            assert all(10 <= e.value <= 2500 for e in (width, height))


def export(data: bytes) -> None:
    """An export makes a project that can be read, or none."""
    source, path = FOLDER / "e.json", FOLDER / "e.blockcheck"
    source.write_bytes(data)
    path.unlink(missing_ok=True)
    try:
        with Project.create_from_json(path, source) as quilt:
            read(quilt)
    except BlockcheckError:
        assert not path.exists()


def project(data: bytes) -> None:
    """A file is opened and read, or it is said why not; then what is sound of it."""
    path = FOLDER / "p.blockcheck"
    path.write_bytes(data)
    with contextlib.suppress(BlockcheckError):
        with Project.open(path) as quilt:
            read(quilt)
        return
    with contextlib.suppress(BlockcheckError):
        reader, _ = Project.rescued(path)
        with reader:
            read(reader)


def read(quilt) -> None:
    """All that can be asked."""
    for name in [b.name for b in quilt.blocks()] + list(quilt.removed()):
        quilt.history(name)
    quilt.plan, quilt.photos(), quilt.checks(), quilt.ticks()
    quilt.export_json(FOLDER / "out.json")


TARGETS = {"length": length, "table": table, "export": export, "project": project}


def seeds(name: str) -> Path:
    """Sound examples to begin with."""
    folder = FOLDER / name
    folder.mkdir(exist_ok=True)
    if name == "length":
        for i, text in enumerate(["6 1/2in", "16.5cm", "165 mm", '6-1/2"', "1/8"]):
            (folder / str(i)).write_text(text)
    elif name == "table":
        (folder / "0").write_text("name,width,height,unit\nMast,6 1/8,9,in\n'=x,16.5cm,229mm,\n")
        (folder / "1").write_text("\ufeffName;Width;Height\r\nA;6;9\r\n")
    else:
        with Project.create(FOLDER / "seed") as quilt:
            quilt.add_result(made_up("a.jpg", FOLDER), notes="x")
            quilt.set_points("1", {"tip": (1.0, 2.0)})
            quilt.export_json(folder / "0")
        if name == "project":
            (folder / "0").write_bytes(quilt.path.read_bytes())
    return folder


if __name__ == "__main__":
    seconds = sys.argv[1] if len(sys.argv) > 1 else "600"
    if len(sys.argv) < 3:
        share = str(max(1, int(seconds) // len(TARGETS)))
        ends = [subprocess.run([sys.executable, __file__, share, t]).returncode for t in TARGETS]
        sys.exit(any(ends))
    name = sys.argv[2]
    atheris.Setup([sys.argv[0], f"-max_total_time={seconds}", "-max_len=200000", "-verbosity=0",
                   "-print_final_stats=1", "-timeout=20", f"-artifact_prefix={FOLDER}/",
                   str(seeds(name))], TARGETS[name])  # fmt: skip
    atheris.Fuzz()
