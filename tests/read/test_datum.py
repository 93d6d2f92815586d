"""Vertical datums by name, and that no operation which changes nothing passes for a conversion."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from pyproj.transformer import TransformerGroup

from profiler.errors import InputError
from profiler.read.datum import datum_shift, known_datum, same_datum, vertical_crs

ALPS = np.array([8.0, 8.3]), np.array([46.9, 47.2])


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("EGM96", 5773),
        ("egm2008 geoid", 3855),
        ("EGM08", 3855),
        ("NAVD 88", 5703),
        ("NAVD88 height (ftUS)", 5703),
        ("NGVD29", 7968),
        ("NN54", 5776),
        ("IGN69", 5720),
        ("NGF-IGN69 height", 5720),
        ("LN02", 5728),
        ("LHN95", 5729),
        ("DHHN2016", 7837),
        ("EVRF2007", 5621),
        ("EPSG:5703", 5703),
        ("EPSG:5498", 5703),
    ],
)
def test_names_of_the_trade(name: str, code: int):
    """Outside: the EPSG list as pyproj carries it (5498 is NAD83 with NAVD88 heights)."""
    assert vertical_crs(name).to_epsg() == code


@pytest.mark.parametrize("name", ["Trough gauge", "EPSG:4326", "EPSG:1", "EPSG:x", "", "Baltic 1977 depth"])
def test_names_that_are_no_height_of_the_list(name: str):
    """Law: what the list does not have, or counts downwards, is no height system."""
    assert vertical_crs(name) is None


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [
        ("NAVD88", "NAVD88 height (ft)", True),
        ("NAVD88", "EPSG:6360", True),
        ("Trough gauge", "trough-gauge", True),
        ("NAVD88", "NGVD29", False),
        ("EGM96", "EGM2008", False),
        ("Trough gauge", "EGM2008", False),
    ],
)
def test_one_datum_under_two_names(a: str, b: str, same: bool):
    """Law: unit and spelling do not make another datum; names outside the list are compared as text."""
    assert same_datum(a, b) is same


def test_said_or_not():
    """Law: only "unknown" and nothing are not said."""
    assert [known_datum(name) for name in ("unknown", " Unknown", "", "EGM96", "Trough gauge")] == [False] * 3 + [
        True
    ] * 2


def test_a_missing_geoid_grid_is_no_conversion():
    """Outside: pyproj itself hands heights from EGM96 to EGM2008 back unchanged where their grids are missing;
    here that is refused, and the sentence names the grids."""
    group = TransformerGroup("EPSG:4326+5773", "EPSG:4326+3855", always_xy=True)
    if group.best_available:
        pytest.skip("the grids of EGM96 and EGM2008 are installed here")
    assert (
        pyproj.Transformer.from_crs("EPSG:4326+5773", "EPSG:4326+3855", always_xy=True).transform(8, 47, 100)[2] == 100
    )
    with pytest.raises(InputError) as caught:
        datum_shift("known_elevations[1]", "EGM96", "EGM2008", *ALPS, "state offset_m")
    assert str(caught.value).startswith("known_elevations[1]: heights above EGM96 cannot be brought to EGM2008 (grids")
    assert "us_nga_egm96_15.tif" in caught.value.problem
    assert caught.value.remedy.startswith("state offset_m, or install what is missing (pyproj sync --file us_nga")


def test_a_ballpark_called_best_available_is_none_either():
    """Outside: for NGF-IGN69 to EVRF2007 pyproj knows nothing but a ballpark, and calls it the best available."""
    group = TransformerGroup("EPSG:4326+5720", "EPSG:4326+5621", always_xy=True)
    assert group.best_available
    assert "ballpark" in group.transformers[0].description
    with pytest.raises(InputError, match="the EPSG list knows no way between them here; state offset_m"):
        datum_shift("x", "NGF-IGN69", "EVRF2007", np.array([2.0]), np.array([45.0]), "state offset_m")


def test_a_real_conversion():
    """Outside: pyproj's own LN02 to EVRF2007, which needs no grid; back again it comes to nought."""
    shift = datum_shift("x", "LN02", "EVRF2007", *ALPS, "")
    way = pyproj.Transformer.from_crs("EPSG:4326+5728", "EPSG:4326+5621", always_xy=True)
    np.testing.assert_allclose(shift.metres, np.array(way.transform(*ALPS, np.zeros(2))[2]), atol=1e-9)
    assert (np.abs(shift.metres) > 0.1).all()
    assert shift.operation.startswith("LN02 height to EVRF2007 height")
    assert shift.accuracy is not None
    back = datum_shift("x", "EVRF2007", "LN02", *ALPS, "")
    np.testing.assert_allclose(back.metres, -shift.metres, atol=1e-3)


def test_no_conversion_beyond_its_area():
    """Law: LN02 is Swiss; that PROJ would extrapolate it over the line's other half does not count."""
    with pytest.raises(InputError, match="does not reach all of the line"):
        datum_shift("x", "LN02", "EVRF2007", np.array([8.0, 14.0]), np.array([47.0, 51.0]), "convert it")


def test_a_name_nobody_knows():
    """Law: it is named."""
    with pytest.raises(InputError, match="the EPSG list has no vertical datum “Trough gauge”"):
        datum_shift("x", "Trough gauge", "EGM2008", *ALPS, "state offset_m")


def test_never_over_the_network(monkeypatch: pytest.MonkeyPatch):
    """Law: whatever the environment allows, the network is off while a way is looked for, and as before after."""
    states: list[bool] = []
    real = TransformerGroup.__init__

    def watched(self: TransformerGroup, *args: object, **options: object) -> None:
        states.append(pyproj.network.is_network_enabled())
        real(self, *args, **options)

    monkeypatch.setattr(TransformerGroup, "__init__", watched)
    pyproj.network.set_network_enabled(True)
    try:
        datum_shift("x", "LN02", "EVRF2007", *ALPS, "")
        assert pyproj.network.is_network_enabled()
    finally:
        pyproj.network.set_network_enabled(False)
    assert states == [False]
