"""What the commands are called, in the order of the work: all that ``--help`` needs to know."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One command.

    Attributes
    ----------
    name : str
    module : str
        The module of `blockcheck.cli` that holds it under the same name.
    summary : str
        What it does, in a line.
    page : str
        The page that says more.
    examples : tuple of str
        Two command lines, without the program's name.
    """

    name: str
    module: str
    summary: str
    page: str
    examples: tuple[str, str]


SECTIONS: tuple[tuple[str, tuple[Entry, ...]], ...] = (
    (
        "Get ready",
        (
            Entry(
                "card",
                "printing",
                "Print the reference card, or the larger sheet.",
                "README.md",
                ("card --paper a4", "card --sheet --output sheet.pdf"),
            ),
            Entry(
                "demo",
                "demonstration",
                "Copy six example photos into a folder and measure them.",
                "README.md",
                ("demo", "demo boats --jobs 1"),
            ),
        ),
    ),
    (
        "Measure photos",
        (
            Entry(
                "measure",
                "measuring",
                "Measure the blocks in photos.",
                "README.md",
                (
                    "measure photo.jpg --card-side 3.98in --planned 6x9",
                    "measure photos --card-side 4in --json",
                ),
            ),
            Entry(
                "verify",
                "checking",
                "Check a photo against something whose size you know.",
                "docs/checking.md",
                (
                    "verify bank-card.jpg --known 85.60x53.98mm --card-side 4in",
                    "verify tile.jpg --known 4x4in --cloth-height 8mm",
                ),
            ),
            Entry(
                "repeat",
                "checking",
                "Check how well photos of the same block agree.",
                "docs/checking.md",
                ("repeat boat-1.jpg boat-2.jpg boat-3.jpg --card-side 4in", "repeat readings.csv"),
            ),
            Entry(
                "lens",
                "checking",
                "Make a profile of your phone's lens.",
                "docs/checking.md",
                ("lens sheet --sheet-side 9in", "lens sheet --profiles lenses.json"),
            ),
        ),
    ),
    (
        "Keep a quilt's blocks",
        (
            Entry(
                "new",
                "planning",
                "Start the project file of a quilt, with its plan.",
                "docs/project.md",
                (
                    "new sailboats --planned 6x9 --card-side 4in",
                    "new sailboats --planned 15x23 --unit cm --sashing 4 --border 8",
                ),
            ),
            Entry(
                "plan",
                "planning",
                "Show a quilt's plan, or change it.",
                "docs/project.md",
                ("plan sailboats", "plan sailboats --rows 4 --blocks-per-row 5 --sashing none"),
            ),
            Entry(
                "kind",
                "quilting",
                "Add another kind of block to the plan, or change one.",
                "docs/quilt.md",
                (
                    "kind sailboats lighthouse --planned 6x9",
                    'kind sailboats gull --halves --motif "a gull"',
                ),
            ),
            Entry(
                "add",
                "adding",
                "Measure photos and keep their blocks.",
                "docs/project.md",
                ("add sailboats photos", "add sailboats photo.jpg --name Gull"),
            ),
            Entry(
                "import",
                "exchanging",
                "Import ruler sizes (.csv) or a whole project (.json).",
                "docs/project.md",
                ("import sailboats ruler.csv", "import sailboats-copy sailboats.json"),
            ),
            Entry(
                "list",
                "keeping",
                "List the blocks with their sizes.",
                "docs/project.md",
                ("list sailboats", "list sailboats --json"),
            ),
            Entry(
                "show",
                "keeping",
                "Show all that is known of one block.",
                "docs/project.md",
                ("show sailboats 3", "show sailboats Gull"),
            ),
            Entry(
                "change",
                "keeping",
                "Change a block's name, state or note.",
                "docs/project.md",
                (
                    'change sailboats 3 --state "set aside"',
                    'change sailboats 3 --name Gull --note "resew the mast"',
                ),
            ),
            Entry(
                "mark",
                "marking",
                "Mark a block's points and centre line.",
                "docs/marking.md",
                (
                    "mark sailboats Gull --point mast 3in,3/8in",
                    "mark sailboats Gull --suggest --picture gull.jpg",
                ),
            ),
            Entry(
                "remove",
                "keeping",
                "Take a block out of the project.",
                "docs/project.md",
                ("remove sailboats 3", "remove sailboats Gull"),
            ),
            Entry(
                "restore",
                "keeping",
                "Bring a removed block back.",
                "docs/project.md",
                ("restore sailboats 3", "restore sailboats Gull"),
            ),
            Entry(
                "export",
                "exchanging",
                "Export the sizes (.csv) or the whole project (.json).",
                "docs/project.md",
                ("export sailboats sizes.csv", "export sailboats sailboats.json"),
            ),
            Entry(
                "check",
                "soundness",
                "Check that a project and its photos are undamaged.",
                "docs/project.md",
                ("check sailboats", "check sailboats --mend"),
            ),
        ),
    ),
    (
        "Trim, sew and cut",
        (
            Entry(
                "size",
                "deciding",
                "Find the size that every block can be trimmed to.",
                "docs/report.md",
                ("size sailboats", "size sailboats --json"),
            ),
            Entry(
                "trim",
                "deciding",
                "Tell where to trim each block.",
                "docs/report.md",
                ("trim sailboats", "trim sailboats 1 Gull"),
            ),
            Entry(
                "rows",
                "deciding",
                "Tell which seams will match from row to row.",
                "docs/report.md",
                ("rows sailboats", "rows sailboats --json"),
            ),
            Entry(
                "compare",
                "quilting",
                "Compare mirrored halves before they are joined.",
                "docs/quilt.md",
                ("compare sailboats", 'compare sailboats "4 left" "4 right"'),
            ),
            Entry(
                "cut",
                "deciding",
                "List everything else to cut, with the working.",
                "docs/report.md",
                ("cut sailboats", "cut sailboats --json"),
            ),
            Entry(
                "report",
                "reporting",
                "Write it all as one page to read or print.",
                "docs/report.md",
                ("report sailboats", "report sailboats --paper a4 --output ~/sailboats.html"),
            ),
            Entry(
                "page",
                "page",
                "Do the whole job on a page in the browser or on the phone.",
                "docs/page.md",
                ("page", "page sailboats --phone"),
            ),
            Entry(
                "trim-sheet",
                "reporting",
                "Write a sheet for the cutting table (PDF).",
                "docs/report.md",
                ("trim-sheet sailboats", "trim-sheet sailboats --paper a4 --output trim.pdf"),
            ),
            Entry(
                "labels",
                "reporting",
                "Write labels to pin on the blocks (PDF).",
                "docs/report.md",
                ("labels sailboats", "labels sailboats --output labels.pdf --paper a4"),
            ),
        ),
    ),
)
ENTRIES = {entry.name: entry for _, entries in SECTIONS for entry in entries}
