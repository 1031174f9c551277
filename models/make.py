"""Make the demo sculptures: `python models/make.py [NAME...] [--into FOLDER]`.

Without a name all are made. Everything is seeded, so the same files come out each time.
"""

import argparse
from pathlib import Path

import crane
import owl
import panel
from surface import save

PIECES = {"crane": crane.make, "owl": owl.make, "panel": panel.make}


def main() -> None:
    """Make the pieces named on the command line."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(PIECES)}")
    reader.add_argument("--into", type=Path, default=Path(__file__).parent, metavar="FOLDER")
    asked = reader.parse_args()
    unknown = sorted(set(asked.names) - set(PIECES))
    if unknown:
        reader.error(f"no piece is called {unknown[0]!r}; there are {', '.join(PIECES)}")
    for name in asked.names or PIECES:
        save(PIECES[name](), asked.into / f"{name}.stl")


if __name__ == "__main__":
    main()
