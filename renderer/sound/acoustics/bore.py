"""Transfer matrices: a bore, its holes and which of them are closed to what air does in it.

Pressure and flow at the upper end of a piece of bore follow from those at its lower end by two
equations, a 2 by 2 matrix at each frequency; a hole is a branch between two pieces. From the open
foot up to the reed that gives the input impedance and what flows out of every opening on the way.
Method: G. R. Plitnik, W. J. Strong, Numerical method for calculating input impedances of the oboe,
J. Acoust. Soc. Am. 65 (1979) 816-825. Holes: D. H. Keefe, Woodwind air column models, J. Acoust.
Soc. Am. 88 (1990) 35-51, his formulas from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Hertz = NDArray[np.float64]
Complex = NDArray[np.complex128]

SPEED_OF_SOUND = 346.1
AIR_DENSITY = 1.184
"""Metres a second and kilograms a cubic metre, at 25 degrees Celsius (from memory)."""

_WALL_LOSS = 3.0e-5
_WALL_DELAY = 1.65e-3
"""Attenuation 3.0e-5 sqrt(f) / radius a metre, and wave speed less by a share of 1.65e-3 / (radius
sqrt(f)): N. H. Fletcher, T. D. Rossing, The Physics of Musical Instruments, section 8.2 (from
memory)."""

_END_CORRECTION = 0.61
"""Of an end without a flange, in radii: H. Levine, J. Schwinger (1948) (from memory)."""


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole in the side of a bore.

    Parameters
    ----------
    place, radius, height:
        Metres: from the reed's end of the bore, of the hole, through the wall.
    finger:
        The number of the finger that closes it, from the top; None if nothing does.
    """

    place: float
    radius: float
    height: float
    finger: int | None


@dataclass(frozen=True, slots=True)
class Bore:
    """A bore with straight walls, cylindrical or conical, or with several pieces of that kind.

    Parameters
    ----------
    length:
        Metres.
    radius_at_reed, widening:
        The radius where the reed sits, in metres, and by how many metres it grows a metre.
    reed_volume:
        Cubic metres that the reed adds: its own and what its softness makes of it.
    holes:
        From the top down.
    bends:
        Where the walls bend, from the reed's end to the foot: metres from the top, and the radius
        there. If there are any, they say all about the radius.
    """

    length: float
    radius_at_reed: float
    widening: float
    reed_volume: float
    holes: tuple[Hole, ...]
    bends: tuple[tuple[float, float], ...] = ()

    def radius(self, place: float) -> float:
        """Return the radius so far from the reed's end, in metres."""
        if self.bends:
            places, radii = zip(*self.bends, strict=True)
            return float(np.interp(place, places, radii))
        return self.radius_at_reed + self.widening * place


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """What air does in a bore at some frequencies, all arrays (frequencies,) or (openings, ...).

    Parameters
    ----------
    impedance:
        Pressure at the reed for each unit of flow through it.
    flows:
        Flow out of each opening for each unit of flow through the reed.
    places:
        Where the openings are, metres from the reed.
    """

    impedance: Complex
    flows: Complex
    places: NDArray[np.float64]

    def radiated(self, hz: Hertz) -> NDArray[np.float64]:
        """Return the power radiated for each unit of flow through the reed, in arbitrary units.

        The openings are sources without extent in free air; averaged over all directions two of
        them add up by the cardinal sine of their distance in wavelengths.
        """
        apart = np.abs(self.places[:, np.newaxis] - self.places)
        together = np.sinc(2 * apart[..., np.newaxis] * hz / SPEED_OF_SOUND)
        power = np.einsum("if,ijf,jf->f", self.flows, together, np.conj(self.flows)).real
        return np.asarray(hz**2 * power, np.float64)


def response(bore: Bore, closed: frozenset[int], hz: Hertz) -> Response:
    """Work out what air does in a bore when the fingers in `closed` close their holes.

    Parameters
    ----------
    bore, closed:
        The bore, and the numbers of the fingers that are down.
    hz:
        Frequencies above 0.
    """
    k = 2 * np.pi * hz / SPEED_OF_SOUND
    foot = bore.radius(bore.length)
    end = 0.25 * (k * foot) ** 2 + 1j * _END_CORRECTION * k * foot
    pressure: Complex = np.asarray(_wave_impedance(foot) * end, np.complex128)
    flow: Complex = np.ones_like(pressure)
    flows, places, below = [flow], [bore.length], bore.length
    for hole in reversed(bore.holes):
        pressure, flow = _up(bore, hole.place, below, hz, pressure, flow)
        below = hole.place
        is_open = hole.finger not in closed
        branch, along = _hole(hole, bore.radius(hole.place), hz, is_open=is_open)
        pressure = pressure + along / 2 * flow
        out = pressure / branch
        flow = flow + out
        pressure = pressure + along / 2 * flow
        if is_open:
            flows.append(out)
            places.append(hole.place)
    pressure, flow = _up(bore, 0.0, below, hz, pressure, flow)
    into_reed = 2j * np.pi * hz * bore.reed_volume / (AIR_DENSITY * SPEED_OF_SOUND**2)
    flow = flow + into_reed * pressure
    return Response(pressure / flow, np.array(flows) / flow, np.array(places))


def _wave_impedance(radius: float) -> float:
    return AIR_DENSITY * SPEED_OF_SOUND / (np.pi * radius**2)


def _up(
    bore: Bore, top: float, foot: float, hz: Hertz, pressure: Complex, flow: Complex
) -> tuple[Complex, Complex]:
    """Return pressure and flow at the top of a piece of bore, from those at its foot."""
    between = [place for place, _ in bore.bends if top < place < foot]
    for place in reversed(between):
        pressure, flow = _up_straight(bore, place, foot, hz, pressure, flow)
        foot = place
    return _up_straight(bore, top, foot, hz, pressure, flow)


def _up_straight(
    bore: Bore, top: float, foot: float, hz: Hertz, pressure: Complex, flow: Complex
) -> tuple[Complex, Complex]:
    length, one, two = foot - top, bore.radius(top), bore.radius(foot)
    widening = (two - one) / length if bore.bends and length else bore.widening
    mean = (one + two) / 2
    plain = 2 * np.pi * hz / SPEED_OF_SOUND
    delayed = plain / (1 - _WALL_DELAY / (mean * np.sqrt(hz)))
    k = delayed - 1j * _WALL_LOSS * np.sqrt(hz) / mean
    cosine, sine = np.cos(k * length), np.sin(k * length)
    impedance = _wave_impedance(np.sqrt(one * two))
    # Spherical waves in a cone; with no widening the apex is infinitely far, and these are plane.
    to_apex, from_apex = widening / one / k, widening / two / k
    upper = (two / one * cosine - to_apex * sine) * pressure + 1j * impedance * sine * flow
    across = (1 + to_apex * from_apex) * sine - (to_apex - from_apex) * cosine
    lower = 1j / impedance * across * pressure
    lower = lower + (one / two * cosine + from_apex * sine) * flow
    return np.asarray(upper, np.complex128), np.asarray(lower, np.complex128)


def _hole(hole: Hole, bore_radius: float, hz: Hertz, *, is_open: bool) -> tuple[Complex, Complex]:
    """Return the impedance of a hole's branch, and what it adds along the bore (Keefe 1990)."""
    b, t, ratio = hole.radius, hole.height, hole.radius / bore_radius
    k = 2 * np.pi * hz / SPEED_OF_SOUND
    tangent = np.tan(k * t)
    if is_open:
        reach = (tangent / k + b * (1.40 - 0.58 * ratio**2)) / (1 - 0.61 * k * b * tangent)
        lost = 0.25 * (k * b) ** 2 + _WALL_LOSS * np.sqrt(hz) / b * t
        branch = 1j * k * reach + lost
        bend = np.tanh(1.84 * t / b)
    else:
        branch = -1j / tangent
        bend = 1 / np.tanh(1.84 * t / b)
    shorter = 0.47 * b * ratio**4 / (bend + 0.62 * ratio**2 + 0.64 * ratio)
    impedance = _wave_impedance(b)
    along = impedance * (-1j * k * shorter)
    return np.asarray(impedance * branch, np.complex128), along
