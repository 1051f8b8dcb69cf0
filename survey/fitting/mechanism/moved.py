"""A family's curve that has moved as rigid pieces, and how the sightings lie against it.

Beside the parameters of the standing curve it has the spread and, if asked, the settlement. A surveyed point
is carried back into the original by the motion of the piece it lies on, X0 = R(-turn) (X - shift), and is
sighted there; the derivative of its distance by anything the motion depends on is
-(d turn) n . (k x X0) - N . d shift, with n the normal at X0 and N = R(turn) n.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.curves.protocol import Floats
from survey.curves.shape import ArchShape
from survey.fitting.families.builds import Build, profile_of
from survey.fitting.families.profile import HalfProfile
from survey.fitting.families.standing import Local, Look, Standing
from survey.fitting.mechanism.pieces import HingePoints, Motion, move_pieces, turned
from survey.fitting.sightings import Sightings


@dataclass(frozen=True, slots=True)
class HingePlace:
    """Where a hinge is on the original: side of the axis, angle of the normal, how far outside the soffit.

    ``angle_rad`` is None for a hinge at the springing itself.
    """

    side: float
    angle_rad: float | None
    out_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """One build moved about three hinges, fitted to one set of sightings.

    Attributes
    ----------
    standing : Standing
    hinges : tuple of HingePlace
        Left, crown, right.
    piece : (n,) int
        Which of the four pieces, left to right, each sighting lies on.
    settles : bool
        Whether the settlement is free; else it is nothing.
    """

    standing: Standing
    hinges: tuple[HingePlace, HingePlace, HingePlace]
    piece: NDArray[np.int64]
    settles: bool

    @property
    def sightings(self) -> Sightings:
        """What was surveyed."""
        return self.standing.sightings

    @property
    def build(self) -> Build:
        """How the original was set out."""
        return self.standing.build

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters, mm and rad."""
        return (*self.standing.names, "spread_mm", *(("settlement_mm",) if self.settles else ()))

    @property
    def usual_tilt_rad(self) -> float:
        """How far out of level the original may have been set out."""
        return self.standing.usual_tilt_rad

    @property
    def n_standing(self) -> int:
        """How many parameters the original has; those of the motion follow."""
        return len(self.standing.names)

    @property
    def n_rows(self) -> int:
        """Number of further observations."""
        return self.standing.n_rows

    def numbers(self, parameters: Floats) -> Floats:
        """Shape numbers of the original."""
        return self.standing.numbers(parameters)

    def shape(self, parameters: Floats, *, origin_mm: Floats | None = None) -> ArchShape:
        """The original."""
        return self.standing.shape(parameters[: self.n_standing], origin_mm=origin_mm)

    def hinge_points(self, profile: HalfProfile, numbers: Floats) -> HingePoints:
        """The three hinges in the arch's own frame."""
        points, slopes = np.empty((3, 2)), np.empty((3, 2, len(numbers)))
        for k, hinge in enumerate(self.hinges):
            mirror = np.array([hinge.side, 1.0])
            if hinge.angle_rad is None:
                end = profile.end
                out = np.array([np.cos(end.angle_rad), np.sin(end.angle_rad)])
                points[k] = (np.array([numbers[0], 0.0]) + hinge.out_mm * out) * mirror
                turn = hinge.out_mm * np.array([-out[1], out[0]])
                slopes[k] = turn[:, None] * end.slopes * mirror[:, None]
                slopes[k, 0, 0] += hinge.side
                continue
            place = profile.at_angle(hinge.angle_rad)
            points[k] = (place.point_mm + hinge.out_mm * place.normal) * mirror
            slopes[k] = place.slopes * mirror[:, None]
        return HingePoints(points, slopes)

    def motion(self, parameters: Floats) -> Motion:
        """Motion of the pieces in the arch's own frame at parameters (k,)."""
        numbers = self.numbers(parameters)
        profile = profile_of(self.build, numbers)
        return self._motion(parameters, profile)

    def _motion(self, parameters: Floats, profile: HalfProfile) -> Motion:
        k = self.n_standing
        settlement = float(parameters[k + 1]) if self.settles else 0.0
        points = self.hinge_points(profile, self.numbers(parameters))
        return move_pieces(points, float(parameters[k]), settlement)

    def _brought_back(self, local: Local, motion: Motion, piece: NDArray[np.int64]) -> Local:
        """Points in the original's frame."""
        back = turned(local.xy - motion.shift_mm[piece], -motion.rotation_rad[piece])
        return Local(back, np.where(back[:, 0] < 0.0, -1.0, 1.0))

    def back(self, parameters: Floats) -> Local:
        """The sightings in the original's own frame, each carried back with its piece."""
        local = self.standing.local(parameters[: self.n_standing], self.sightings.xy_mm)
        return self._brought_back(local, self.motion(parameters), self.piece)

    def stations(self, parameters: Floats) -> Floats:
        """Stations (n,) of the sightings along the original, from the left springing."""
        profile = profile_of(self.build, self.numbers(parameters))
        xy, side = self.back(parameters)
        half = profile.stations(np.abs(xy[:, 0]), xy[:, 1])
        return np.where(side < 0, half, 2 * profile.half_length_mm - half)

    def look(self, parameters: Floats) -> Look:
        """Distances, further observations and all derivatives at parameters (k,)."""
        own = parameters[: self.n_standing]
        profile = profile_of(self.build, self.numbers(parameters))
        motion = self._motion(parameters, profile)
        local = self.standing.local(own, self.sightings.xy_mm)
        back = self._brought_back(local, motion, self.piece)
        seen = profile.sight(np.abs(back.xy[:, 0]), back.xy[:, 1])
        normal = np.stack([back.side * seen.normal_u, seen.normal_v], axis=1)
        slopes = self._slopes(own, local, back, normal, motion, self.piece)
        q = len(self.build.numbers)
        slopes[:, 2 : 2 + q] += seen.slopes
        rows, row_slopes = self._ends(own, profile, local, motion)
        known, wide = self._known(parameters)
        return Look(seen.distance, slopes, np.concatenate([rows, known]), np.concatenate([row_slopes, wide]))

    def _known(self, parameters: Floats) -> tuple[Floats, Floats]:
        """Known dimensions (m,) and slopes (m, k): they were taken on the arch as it stands now.

        The present span is the original's and the spread; of the present rise the original's says nothing.
        """
        k = self.n_standing
        known = self.sightings.known
        rows, slopes = self.standing.known_rows(parameters[:k])
        wide = np.zeros((len(rows), len(parameters)))
        wide[:, :k] = slopes
        if known.span is not None:
            rows[0] += parameters[k] / known.span.sigma_mm
            wide[0, k] = 1 / known.span.sigma_mm
        if known.rise is not None:
            at = 0 if known.span is None else 1
            rows[at], wide[at] = 0.0, 0.0
        return rows, wide

    def _slopes(
        self, own: Floats, local: Local, back: Local, normal: Floats, motion: Motion, piece: NDArray[np.int64]
    ) -> Floats:
        """Derivatives (n, k) of n . X0 by place, tilt and everything the motion depends on."""
        now = turned(normal, motion.rotation_rad[piece])
        k, q = self.n_standing, len(self.build.numbers)
        slopes = np.zeros((len(normal), len(self.names)))
        slopes[:, :k] = self.standing.place_slopes(own, local, now[:, 0], now[:, 1])
        moment = normal[:, 1] * back.xy[:, 0] - normal[:, 0] * back.xy[:, 1]
        by = -moment[:, None] * motion.rotation_slopes[piece]
        by -= np.einsum("ni,niq->nq", now, motion.shift_slopes[piece])
        slopes[:, 2 : 2 + q] += by[:, :q]
        slopes[:, k:] += by[:, q : q + len(self.names) - k]
        return slopes

    def _ends(self, own: Floats, profile: HalfProfile, local: Local, motion: Motion) -> tuple[Floats, Floats]:
        """How far end points lie from the moved ends, along the end tangents, over their sigma."""
        at = np.flatnonzero(self.sightings.end)
        piece = np.where(self.sightings.end[at] < 0, 0, 3)
        here = Local(local.xy[at], local.side[at])
        back = self._brought_back(here, motion, piece)
        ends = self.standing.end_sights(own, profile, back.xy)
        slopes = self._slopes(own, here, back, ends.tangent, motion, piece)
        q = len(self.build.numbers)
        slopes[:, 2 : 2 + q] += ends.slopes
        sigma = self.sightings.end_sigma_mm[at]
        return (ends.along + self.sightings.end_shift_mm[at]) / sigma, slopes / sigma[:, None]
