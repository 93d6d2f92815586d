"""Make the invented sample territory again: `python -m sample_routes.make`, from a checkout.

The line is laid out first (`maker/line.py`), the country is carved around it (`maker/country.py`),
then both are seen the way open data see them: a drawn centreline with small errors
(`maker/drawing.py`) and cells of elevation with theirs. The same seed gives the same files.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

from profiler.units import FloatArray
from sample_routes.maker.country import NORTH, SECOND, WEST, country
from sample_routes.maker.cutoff import cutoff_drawing, cutoff_territory
from sample_routes.maker.drawing import drawing
from sample_routes.maker.words import gradients, territory, truth

SEED = 3856
STEP = 0.125
"""Heights are rounded to this, an exact binary fraction, so that they pack well. [m]"""
NO_DATA = -9999.0
HERE = Path(__file__).parent


def write_ground(path: Path, elevation: FloatArray) -> None:
    """Elevation [m] as a GeoTIFF in longitude and latitude, cells of one second of arc."""
    rounded = np.round(elevation / STEP) * STEP
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=elevation.shape[0],
        width=elevation.shape[1],
        count=1,
        dtype="float32",
        crs="EPSG:4326",
        transform=from_origin(WEST, NORTH, SECOND, SECOND),
        nodata=NO_DATA,
        tiled=True,
        blockxsize=256,
        blockysize=256,
        compress="deflate",
        predictor=3,
        zlevel=9,
    ) as file:
        file.write(np.where(np.isnan(rounded), NO_DATA, rounded).astype("float32"), 1)
        file.update_tags(TIFFTAG_IMAGEDESCRIPTION="Invented ground around an invented railway")
        file.set_band_unit(1, "m")


def main(folder: Path = HERE) -> None:
    """Write every file of the territory into a folder."""
    (folder / "farrow.toml").write_text(territory(), encoding="utf-8")
    (folder / "farrow-truth.txt").write_text(truth(), encoding="utf-8")
    (folder / "farrow-gradients.csv").write_text(gradients(), encoding="utf-8")
    (folder / "farrow-centreline.geojson").write_text(drawing(SEED), encoding="utf-8")
    (folder / "farrow-cutoff.toml").write_text(cutoff_territory(), encoding="utf-8")
    (folder / "farrow-cutoff-centreline.geojson").write_text(cutoff_drawing(SEED), encoding="utf-8")
    write_ground(folder / "farrow-ground.tif", country(SEED).seen)


if __name__ == "__main__":
    main()
