"""What was read: the one list of references, by key."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A paper, a report, a standard or a trade chart; `year` is None where none is printed."""

    author: str
    year: int | None
    title: str


REFERENCES: Final[Mapping[str, Reference]] = MappingProxyType(
    {
        "IAPWS2009": Reference(
            author="International Association for the Properties of Water and Steam",
            year=2009,
            title="R10-06(2009), Revised Release on the Equation of State 2006 for H2O Ice Ih",
        ),
        "IAPWS2018": Reference(
            author="International Association for the Properties of Water and Steam",
            year=2018,
            title="R6-95(2018), Revised Release on the IAPWS Formulation 1995",
        ),
        "IAPWS2011": Reference(
            author="International Association for the Properties of Water and Steam",
            year=2011,
            title="R14-08(2011), Revised Release on the Pressure along the Melting and "
            "Sublimation Curves of Ordinary Water Substance",
        ),
        "Yen1981": Reference(
            author="Y.-C. Yen, US Army Cold Regions Research and Engineering Laboratory",
            year=1981,
            title="Report 81-10, Review of Thermal Properties of Snow, Ice and Sea Ice",
        ),
        "NIOSH1994": Reference(
            author="T. R. Waters, V. Putz-Anderson, A. Garg, US National Institute for "
            "Occupational Safety and Health",
            year=1994,
            title="Publication 94-110, Applications Manual for the Revised NIOSH Lifting Equation",
        ),
        "Atmosphere1976": Reference(
            author="NOAA, NASA, US Air Force", year=1976, title="U.S. Standard Atmosphere, 1976"
        ),
        "Alduchov1996": Reference(
            author="O. A. Alduchov, R. E. Eskridge",
            year=1996,
            title="Improved Magnus Form Approximation of Saturation Vapor Pressure",
        ),
        "Churchill1975": Reference(
            author="S. W. Churchill, H. H. S. Chu",
            year=1975,
            title="Correlating Equations for Laminar and Turbulent Free Convection from a "
            "Vertical Plate",
        ),
        "CODATA2018": Reference(
            author="E. Tiesinga, P. J. Mohr, D. B. Newell, B. N. Taylor",
            year=2018,
            title="CODATA Recommended Values of the Fundamental Physical Constants",
        ),
        "Petrovic2003": Reference(
            author="J. J. Petrovic",
            year=2003,
            title="Mechanical properties of ice and snow (abstract)",
        ),
        "SpiralChart": Reference(
            author="A seller of router bits, public chart",
            year=None,
            title="Speeds and Feeds - Spiral Router Bits",
        ),
    }
)
