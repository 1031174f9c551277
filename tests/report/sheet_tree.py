"""The job sheet taken apart again: its tree, its words, the numbers in its drawings."""

import re
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from icecam.plan import Result
from icecam.report.sheet import job_sheet


def tree_of(result: Result) -> ET.Element:
    """Return the sheet as a tree; it holds no element without an end, so XML can read it."""
    return ET.fromstring(f"<div>{job_sheet(result)}</div>")


def by_class(root: ET.Element, name: str) -> list[ET.Element]:
    """Return all elements that bear a class."""
    return [each for each in root.iter() if name in each.get("class", "").split()]


def words_of(element: ET.Element) -> str:
    """Return all words below an element, between single blanks."""
    return " ".join(" ".join(element.itertext()).split())


def number_of(element: ET.Element, name: str) -> float:
    """Return an attribute as a number."""
    return float(element.attrib[name])


def points_of(path: ET.Element) -> NDArray[np.float64]:
    """Return the corners (n, 2) of a path of M, L, H, V and Z, all absolute."""
    x = y = 0.0
    points = []
    for letter, told in re.findall(r"([MLHV])([^MLHVZ]*)", path.attrib["d"]):
        figures = [float(each) for each in told.split()]
        if letter == "H":
            x = figures[0]
        elif letter == "V":
            y = figures[0]
        else:
            x, y = figures
        points.append((x, y))
    return np.array(points)
