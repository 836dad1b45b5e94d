"""Genealogy: which lots went into a line, which pallets and rework bins came out, and what touched what. Pure."""

from floorterm.genealogy.model import Judged, Lot, Made, Past, Taken, Turned
from floorterm.genealogy.trace import Found, Link, backward, forward, links

__all__ = [
    "Found",
    "Judged",
    "Link",
    "Lot",
    "Made",
    "Past",
    "Taken",
    "Turned",
    "backward",
    "forward",
    "links",
]
