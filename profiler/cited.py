"""A number that knows where it comes from: in SI, with the figure and the unit its source prints."""

from __future__ import annotations

from typing import Any

from profiler.units import UNITS

TAGS = {
    "S": "published",
    "M": "published, the figure from memory",
    "mem": "from memory",
    "prac": "common practice, no source",
    "choice": "our choice, no source",
    "calc": "computed",
    "given": "as given",
}
"""How far a figure can be trusted; S and M begin the name of a source."""

SOURCES = {
    "M1": "AREMA Manual for Railway Engineering, ch. 16; W. W. Hay, Railroad Engineering, 2nd ed. 1982; "
    "W. J. Davis, General Electric Review, October 1926",
    "M2": "W. W. Hay, Railroad Engineering, 2nd ed. 1982, starting resistance",
    "M4": "air brake makers' and Air Brake Association instruction pamphlets; AAR S-461, S-469",
    "M5": "AAR Manual of Standards, S-401 Brake Design Requirements",
    "M8": "UIC 544-1, 4th ed. 2004",
    "S1": "A. Trani, Virginia Tech CEE 3604, Rail resistance addendum",
    "S2": "1970 Car and Locomotive Cyclopedia, p. 842, as quoted in a forum",
    "S3": "US Army Transportation School, TR0603 Rail Operations Planning, ed. 3, par. 2.5 to 2.11",
    "S8": "Wikipedia, Curve resistance (railroad)",
    "S11": "model railroad note on motive power (308·hp/V)",
    "S12": "A. A. Krug, Railroad Facts and Figures, Tractive effort vs horsepower",
    "S13": "hobby data sheet on a 4,400 hp AC unit",
    "S14": "note of 2017 on the AC rebuild of a 4,400 hp DC unit",
    "S15": "forum note on a typical six-axle 3,000 hp DC unit",
    "S27": "operating-rule study card, minimum reduction of the brake pipe",
    "S28": "Alaska Railroad, Air Brakes and Train Handling Rules, 1 June 1996",
    "S30": "NTSB, San Bernardino derailment of 1989, RAR-90/02",
    "S35": "operating-rule study card, propagation of a penalty application, 540 ft/s",
    "S39": "track contractor's newsletter, June 2020, three-position retaining valve",
    "S41": "EU wagon TSI, Decision 2006/861/EC, later Regulation 321/2013: thermal capacity, reference case",
    "S44": "TSB Canada R11Q0056: 57 hand brakes asked of 10,070 short tons on 1.3 %, its table as quoted in a forum",
    "S45": "short guide to UIC 544-1",
    "S46": "operating-rule study cards, high-capacity extended-range dynamic brake",
    "S47": "operating-rule study cards, limit of 24 dynamic axles",
    "S57": "car-repair forum note of 2018 on free slack",
    "S58": "Interface Journal, The how and why of L/V-based thresholds, 25 January 2026",
    "S60": "forum note of 2005 on long and short cars",
    "S80": "study cards of a train handling rule book",
    "S84": "maker's data sheet of an AAR M-901E friction draft gear",
}
"""Where figures come from. S: the figure was seen in an excerpt. M: the usual citation, not seen."""


class Cited(float):
    """A float in SI units that carries its source.

    Parameters
    ----------
    stated : float
        The figure as the source prints it.
    unit : str
        Its unit, a key of `profiler.units.UNITS`; "" for a plain number.
    source : str
        A key of `SOURCES`, or of `TAGS` where there is none.

    Examples
    --------
    >>> Cited(286_000, "lb", "S32x")
    Traceback (most recent call last):
    ...
    KeyError: 'S32x'
    >>> round(Cited(143, "short_tons", "given"))
    129727
    """

    __slots__ = ("source", "stated", "unit")
    stated: float
    unit: str
    source: str

    def __new__(cls, stated: float, unit: str, source: str) -> Cited:
        if source not in TAGS and source not in SOURCES:
            raise KeyError(source)
        made = super().__new__(cls, stated * UNITS[unit])
        for name, value in (("stated", float(stated)), ("unit", unit), ("source", source)):
            object.__setattr__(made, name, value)
        return made

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError(f"{name} of a cited number is fixed")

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.stated, self.unit, self.source)

    @property
    def tag(self) -> str:
        """How far the figure can be trusted, a key of `TAGS`."""
        return self.source if self.source in TAGS else self.source[0]

    @property
    def words(self) -> str:
        """The source for people: "common practice, no source", "published: …"."""
        where = SOURCES.get(self.source)
        return f"{TAGS[self.tag]}: {where}" if where else TAGS[self.tag]


def given(stated: float, unit: str = "") -> Cited:
    """A figure somebody states for this train."""
    return Cited(stated, unit, "given")
