"""Buildings near each other, grouped for a day, and where they go on a small map. No queries."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from diagnostics.samples import FloatArray
from fleet.pages.ranking.briefs import SiteBrief

EARTH_KM = 6371.0
"""Mean radius: on a city's scale the ellipsoid would change a distance by half a per cent."""

WIDTH, HEIGHT, EDGE = 320.0, 200.0, 34.0
_BARS_KM = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_LEAST_SPAN_KM = 0.2


@dataclass(frozen=True)
class Limits:
    """How much fits into a day: stops, and kilometres from one to the next."""

    stops: int = 5
    reach_km: float = 30.0


@dataclass(frozen=True)
class Stop:
    """One building of a round; ``leg_km`` from the one before, None where not known."""

    number: int
    site: SiteBrief
    leg_km: float | None


@dataclass(frozen=True)
class Round:
    """Buildings for one day, in the order of a visit."""

    stops: tuple[Stop, ...]

    @property
    def first(self) -> SiteBrief:
        """The building the round begins with: the highest score that is left."""
        return self.stops[0].site

    @property
    def km(self) -> float | None:
        """All legs together, as the crow flies; None where the places are not known."""
        legs = [stop.leg_km for stop in self.stops[1:]]
        known = [leg for leg in legs if leg is not None]
        return sum(known) if known and len(known) == len(legs) else None


def distance_km(lat_deg: FloatArray, lon_deg: FloatArray, at: tuple[float, float]) -> FloatArray:
    """Great-circle distances [km] from ``at`` (latitude, longitude) by the haversine formula."""
    lat, lon = np.radians(lat_deg), np.radians(lon_deg)
    here = np.radians(np.asarray(at))
    squared = (
        np.sin((lat - here[0]) / 2) ** 2
        + np.cos(lat) * np.cos(here[0]) * np.sin((lon - here[1]) / 2) ** 2
    )
    return np.asarray(2 * EARTH_KM * np.arcsin(np.sqrt(np.clip(squared, 0.0, 1.0))))


def rounds(sites: Sequence[SiteBrief], limits: Limits) -> list[Round]:
    """Rounds of buildings, the most urgent first; every building is in one.

    A round starts at the highest score left and goes on to the nearest building within reach of
    the last one. Buildings without coordinates go together by area.
    """
    place = np.array([_coordinates(site) for site in sites], np.float64).reshape(-1, 2)
    left = np.ones(len(sites), bool)
    found = []
    for i in range(len(sites)):
        if left[i]:
            members = _members(sites, place, left, i, limits)
            found.append(_round(sites, place, members))
    return found


def _coordinates(site: SiteBrief) -> tuple[float, float]:
    lat, lon = site.site.latitude_deg, site.site.longitude_deg
    return (math.nan, math.nan) if lat is None or lon is None else (lat, lon)


def _members(
    sites: Sequence[SiteBrief], place: FloatArray, left: np.ndarray, first: int, limits: Limits
) -> list[int]:
    """The buildings of the round that starts at ``first``; takes them from ``left``."""
    members = [first]
    left[first] = False
    if np.isnan(place[first, 0]):
        area = sites[first].site.area
        unplaced = map(int, np.flatnonzero(left & np.isnan(place[:, 0])))
        same = (j for j in unplaced if sites[j].site.area == area)
        members += islice(same, limits.stops - 1)
    while len(members) < limits.stops and not np.isnan(place[first, 0]):
        last = place[members[-1]]
        km = distance_km(place[:, 0], place[:, 1], (last[0], last[1]))
        km = np.where(left & ~np.isnan(km), km, np.inf)
        nearest = int(np.argmin(km))
        if km[nearest] > limits.reach_km:
            break
        members.append(nearest)
        left[nearest] = False
    left[members] = False
    return members


def _round(sites: Sequence[SiteBrief], place: FloatArray, members: list[int]) -> Round:
    stops = []
    for number, member in enumerate(members, start=1):
        leg = None
        if number > 1 and not np.isnan(place[member, 0]):
            before = place[members[number - 2]]
            here = place[member]
            leg = float(distance_km(here[:1], here[1:], (before[0], before[1]))[0])
        stops.append(Stop(number, sites[member], leg))
    return Round(tuple(stops))


@dataclass(frozen=True)
class Dot:
    """A stop on the map; ``end`` says that its name stands to the left of it."""

    x: float
    y: float
    number: int
    name: str
    end: bool


@dataclass(frozen=True)
class Map:
    """A round drawn: stops, the way between them, and a bar of known length; north is up."""

    dots: tuple[Dot, ...]
    way: str
    bar_km: str
    bar_width: float


def drawn(of: Round) -> Map | None:
    """The map of a round; None where its places are not known."""
    place = np.array([_coordinates(stop.site) for stop in of.stops])
    if np.isnan(place).any() or len(of.stops) < 2:
        return None
    lat, lon = place[:, 0], place[:, 1]
    # A degree of longitude is shorter away from the equator; over a day's round that is enough.
    lon = (lon - lon[0] + 180.0) % 360.0 - 180.0
    km_a_degree = math.radians(1.0) * EARTH_KM
    east = lon * math.cos(math.radians(float(lat.mean()))) * km_a_degree
    north = (lat - lat[0]) * km_a_degree
    span = max(float(np.ptp(east)), _LEAST_SPAN_KM), max(float(np.ptp(north)), _LEAST_SPAN_KM)
    scale = min((WIDTH - 2 * EDGE) / span[0], (HEIGHT - 2 * EDGE) / span[1])
    x = WIDTH / 2 + scale * (east - (east.max() + east.min()) / 2)
    y = HEIGHT / 2 - scale * (north - (north.max() + north.min()) / 2)
    fitting = [km for km in _BARS_KM if km * scale <= WIDTH / 3]
    bar = fitting[-1] if fitting else _BARS_KM[0]
    dots = tuple(
        Dot(float(a), float(b), stop.number, stop.site.site.name, bool(a > WIDTH / 2))
        for a, b, stop in zip(x, y, of.stops, strict=True)
    )
    points = [f"{dot.x:.1f} {dot.y:.1f}" for dot in dots]
    return Map(dots, f"M{'L'.join(points)}", f"{bar:g} km", bar * scale)
