"""A family's curve standing in the wall, and how the sightings lie against it.

Parameters are the axis and the springing level, the shape numbers of the build, and the tilt if it is free.
A point x goes into the arch's own frame by ``X = R(-tilt) (x - origin)`` and is mirrored onto the right half;
so the distance's derivatives by axis and level are minus the normal's components, by the tilt the normal's
moment about the origin, by the shape numbers the half profile's slopes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape, Family
from survey.errors import FitError
from survey.fitting.families.builds import Build, first_numbers, profile_of, shape_of
from survey.fitting.families.profile import HalfProfile
from survey.fitting.sightings import Sightings
from survey.record.model import Known


class Look(NamedTuple):
    """Signed distances (n,) and further observations (m,) over their sigma, with slopes (n, k) and (m, k)."""

    distance: Floats
    slopes: Floats
    rows: Floats
    row_slopes: Floats


class Local(NamedTuple):
    """Points (n, 2) in the arch's own frame, and which side of the axis (n,) they are on, -1 or 1."""

    xy: Floats
    side: Floats


class EndSights(NamedTuple):
    """End points along the tangents of their springings: distances (e,), tangents (e, 2), slopes (e, q)."""

    along: Floats
    tangent: Floats
    slopes: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """One build fitted to one set of sightings.

    Attributes
    ----------
    sightings : Sightings
    build : Build
    tilt : bool
        Whether the tilt is free.
    usual_tilt_rad : float
        How far out of level springing lines are set out, as a standard deviation; infinite where nothing is
        known of that.
    """

    sightings: Sightings
    build: Build
    tilt: bool = False
    usual_tilt_rad: float = np.inf

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters, mm and rad."""
        return ("axis_x_mm", "springing_y_mm", *self.build.numbers, *(("tilt_rad",) if self.tilt else ()))

    @property
    def family(self) -> Family:
        """The build's family.

        Raises
        ------
        FitError
            It is a curve of no family.
        """
        if self.build.family is None:
            raise FitError(f"a {self.build.name} curve has no family")
        return self.build.family

    @property
    def n_rows(self) -> int:
        """Number of further observations: ends along the curve and known dimensions."""
        return int(np.count_nonzero(self.sightings.end)) + len(self._known())

    def numbers(self, parameters: Floats) -> Floats:
        """Shape numbers among the parameters."""
        return parameters[2 : 2 + len(self.build.numbers)]

    def shape(self, parameters: Floats, *, origin_mm: Floats | None = None) -> ArchShape:
        """The arch shape at parameters (k,), seen from an origin (2,) of the sightings' frame."""
        origin = np.zeros(2) if origin_mm is None else origin_mm
        tilt = float(parameters[-1]) if self.tilt else 0.0
        return shape_of(
            self.build,
            self.numbers(parameters),
            axis_x_mm=float(parameters[0] - origin[0]),
            springing_y_mm=float(parameters[1] - origin[1]),
            tilt_rad=tilt,
        )

    def start(self, half_span_mm: float, rise_mm: float, middle_mm: Floats) -> Floats:
        """Parameters (k,) of the handbook's shape of this family at a rough size and place."""
        numbers = first_numbers(self.build, half_span_mm, rise_mm)
        return np.concatenate([middle_mm, numbers, [0.0] if self.tilt else []])

    def local(self, parameters: Floats, xy: Floats) -> Local:
        """Points (n, 2) of the sightings' frame in the arch's own."""
        moved = xy - parameters[:2]
        if self.tilt:
            c, s = np.cos(parameters[-1]), np.sin(parameters[-1])
            moved = np.stack([c * moved[:, 0] + s * moved[:, 1], c * moved[:, 1] - s * moved[:, 0]], axis=1)
        return Local(moved, np.where(moved[:, 0] < 0.0, -1.0, 1.0))

    def stations(self, parameters: Floats) -> Floats:
        """Stations (n,) of the sightings along the curve, from the left springing."""
        profile = profile_of(self.build, self.numbers(parameters))
        xy, side = self.local(parameters, self.sightings.xy_mm)
        half = profile.stations(np.abs(xy[:, 0]), xy[:, 1])
        return np.where(side < 0, half, 2 * profile.half_length_mm - half)

    def look(self, parameters: Floats) -> Look:
        """Distances, further observations and all derivatives at parameters (k,)."""
        profile = profile_of(self.build, self.numbers(parameters))
        local = self.local(parameters, self.sightings.xy_mm)
        seen = profile.sight(np.abs(local.xy[:, 0]), local.xy[:, 1])
        slopes = self.place_slopes(parameters, local, local.side * seen.normal_u, seen.normal_v)
        slopes[:, 2 : 2 + len(self.build.numbers)] = seen.slopes
        ends, end_slopes = self._ends(parameters, profile, local)
        known, known_slopes = self.known_rows(parameters)
        return Look(
            seen.distance, slopes, np.concatenate([ends, known]), np.concatenate([end_slopes, known_slopes])
        )

    def place_slopes(self, parameters: Floats, local: Local, nx: Floats, ny: Floats) -> Floats:
        """Derivatives (n, k) of n . X by place and tilt; the shape numbers' columns are left zero."""
        slopes = np.zeros((len(nx), len(parameters)))
        if self.tilt:
            c, s = np.cos(parameters[-1]), np.sin(parameters[-1])
            slopes[:, 0] = s * ny - c * nx
            slopes[:, 1] = -s * nx - c * ny
            slopes[:, -1] = nx * local.xy[:, 1] - ny * local.xy[:, 0]
        else:
            slopes[:, 0] = -nx
            slopes[:, 1] = -ny
        return slopes

    def _ends(self, parameters: Floats, profile: HalfProfile, local: Local) -> tuple[Floats, Floats]:
        """How far end points lie from the curve's ends along the end tangents, over their sigma."""
        at = np.flatnonzero(self.sightings.end)
        here = Local(local.xy[at], local.side[at])
        ends = self.end_sights(parameters, profile, here.xy)
        slopes = self.place_slopes(parameters, here, ends.tangent[:, 0], ends.tangent[:, 1])
        slopes[:, 2 : 2 + len(self.build.numbers)] = ends.slopes
        sigma = self.sightings.end_sigma_mm[at]
        return (ends.along + self.sightings.end_shift_mm[at]) / sigma, slopes / sigma[:, None]

    def end_sights(self, parameters: Floats, profile: HalfProfile, xy: Floats) -> EndSights:
        """End points (e, 2) of the arch's own frame against its ends."""
        # An end belongs to its own springing even if the point strayed over the axis.
        side = self.sightings.end[self.sightings.end != 0].astype(float)
        angle, turn = profile.end
        c, s = np.cos(angle), np.sin(angle)
        out, up = side * xy[:, 0] - self.numbers(parameters)[0], xy[:, 1]
        slopes = -(s * up + c * out)[:, None] * turn
        slopes[:, 0] += s
        return EndSights(c * up - s * out, np.stack([-s * side, np.full(len(side), c)], axis=1), slopes)

    def known_rows(self, parameters: Floats) -> tuple[Floats, Floats]:
        """Known dimensions as observations: residuals (m,) over their sigma and slopes (m, k)."""
        known = self._known()
        rows = np.array([(parameters @ w - k.value_mm) / k.sigma_mm for k, w in known])
        return rows, np.array([w / k.sigma_mm for k, w in known]).reshape(-1, len(parameters))

    def _known(self) -> list[tuple[Known, Floats]]:
        """Known dimensions with the row of parameters each measures."""
        known = self.sightings.known
        unit = np.eye(len(self.names))
        rise = unit[2] if len(self.build.numbers) == 1 else unit[3]
        centre = self.sightings.centre_mm
        pairs: list[tuple[Known | None, Floats]] = [(known.span, 2 * unit[2]), (known.rise, rise)]
        pairs += [
            (None if k is None else Known(k.value_mm - centre[i], k.sigma_mm), unit[i])
            for i, k in enumerate((known.axis_x, known.springing_y))
        ]
        return [(k, row) for k, row in pairs if k is not None]
