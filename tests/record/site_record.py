"""An elliptical arch of known truth standing anywhere on a site grid, written as a record folder."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from record.record_folder import write_folder

from survey.curves import curve_of, elliptical

N_COURSES = 15


@dataclass(frozen=True)
class Stand:
    """Where the middle of the springing line stands (mm), and how the face is turned in plan."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    z_mm: float = 0.0
    turn_rad: float = 0.0

    def site(self, xyw_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Site coordinates (n, 3) of face coordinates (n, 3): x right, y up, w towards the viewer."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        x, y, w = xyw_mm.T
        return np.column_stack([self.x_mm + x * cos + w * sin, self.y_mm + x * sin - w * cos, self.z_mm + y])


def arch_points() -> tuple[list[str], NDArray[np.float64]]:
    """Rows (feature, ring, course, edge) and true face places (n, 3) of springings and all edges."""
    curve = curve_of(elliptical(1400.0, 560.0))
    edges = np.linspace(0.0, curve.length_mm, 2 * N_COURSES + 2)[1:-1]
    rows = ["springing,1,,left", "springing,1,,right"]
    rows += [f"intrados,1,{i // 2 + 1},{'left' if i % 2 == 0 else 'right'}" for i in range(len(edges))]
    place = np.vstack([[[-700.0, 0.0], [700.0, 0.0]], curve.point(edges)])
    return rows, np.column_stack([place, np.zeros(len(place))])


def write_site_record(
    folder: Path,
    site_mm: NDArray[np.float64],
    rows: list[str],
    *,
    unit: str = "mm",
    in_mm: float = 1.0,
    extra: str = "",
) -> Path:
    """Write points given in mm of the site as a record in any unit, with every digit they have."""
    lines = ["point,x,y,z,feature,ring,course,edge"]
    for number, (place, row) in enumerate(zip(site_mm / in_mm, rows, strict=True)):
        lines.append(
            f"P{number}," + ",".join(np.format_float_positional(value) for value in place) + f",{row}"
        )
    arch = (
        f'[arch]\nname = "Site"\n[measure]\nunit = "{unit}"\npoint_sigma = {2.0 / in_mm!r}\n'
        f"[[rings]]\nring = 1\ncourses = {N_COURSES}\ndepth = {115 / in_mm!r}\n"
        f"brick_width = {118 / in_mm!r}\n"
    )
    return write_folder(folder, {"arch.toml": arch + extra, "points.csv": "\n".join(lines) + "\n"})
