"""Draw the ranking of the sample county over its ground: docs/images/sample_county.png.

    python scripts/make_readme_picture.py RANKED.gpkg DEM [PICTURE.png]

The darker and wider a reach is drawn, the higher its priority: one hue in steps of lightness, which
stays readable in grey and with every kind of colour vision.
"""

import sys
from pathlib import Path

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import rasterio
from matplotlib import pyplot as plt
from matplotlib.colors import LightSource
from matplotlib.lines import Line2D
from rasterio.enums import Resampling
from rasterio.merge import merge

WIDEST_PX = 1600
SHADES = ("#b7a2cf", "#9a78c0", "#6b3f9c", "#33125c")  # light to dark violet
WIDTHS = (1.0, 1.8, 2.8, 4.2)


def shaded_ground(dem: Path) -> tuple[np.ndarray, tuple[float, float, float, float]]:
    """Return a hillshade of the DEM, thinned to about the picture's own cells, and its extent."""
    tiles = sorted(dem.glob("*.tif")) if dem.is_dir() else [dem]
    boxes = []
    for tile in tiles:
        with rasterio.open(tile) as raster:
            boxes.append(raster.bounds)
    west, south = min(b.left for b in boxes), min(b.bottom for b in boxes)
    east, north = max(b.right for b in boxes), max(b.top for b in boxes)
    whole, _ = merge(
        tiles, res=(east - west) / WIDEST_PX, masked=True, resampling=Resampling.average
    )
    ground = whole[0].astype(float).filled(np.nan)
    ground = np.where(np.isfinite(ground), ground, np.nanmedian(ground))
    cell = (east - west) / ground.shape[1]
    shade = LightSource(315, 45).hillshade(ground, vert_exag=3, dx=cell, dy=cell)
    return shade, (west, east, south, north)


def draw(ranked: Path, dem: Path, picture: Path) -> None:
    """Draw the reaches of a ranked file by the quarter of the ranking that they fall in."""
    reaches = gpd.read_file(ranked, layer="reaches")
    reaches = reaches[reaches["rank"].notna()].sort_values("rank", ascending=False)
    quarter = np.minimum(3, (4 * (1 - (reaches["rank"] - 1) / len(reaches))).astype(int))
    shade, extent = shaded_ground(dem)
    mpl.rcParams["font.family"] = "DejaVu Sans"
    figure, axes = plt.subplots(figsize=(9, 9 * shade.shape[0] / shade.shape[1] + 0.4))
    axes.imshow(shade, cmap="gray", extent=extent, vmin=-0.6, vmax=1.1, interpolation="bilinear")
    for step, (colour, width) in enumerate(zip(SHADES, WIDTHS, strict=True)):
        part = reaches[quarter == step]
        if len(part):
            part.plot(ax=axes, color="white", linewidth=width + 1.2)
            part.plot(ax=axes, color=colour, linewidth=width)
    for row in reaches[reaches["rank"] <= 5].itertuples():
        at = row.geometry.interpolate(0.5, normalized=True)
        axes.annotate(
            f"{int(row.rank)}",
            (at.x, at.y),
            xytext=(9, 9),
            textcoords="offset points",
            fontsize=11,
            fontweight="bold",
            bbox={"boxstyle": "circle,pad=0.25", "fc": "white", "ec": SHADES[-1], "lw": 1.5},
        )
    axes.set_xlim(extent[:2])
    axes.set_ylim(extent[2:])
    axes.set_axis_off()
    names = ("last quarter of the ranking", "third", "second", "first quarter")
    handles = [
        Line2D([], [], color=colour, linewidth=width, label=name)
        for colour, width, name in zip(SHADES, WIDTHS, names, strict=True)
    ]
    axes.legend(handles=handles[::-1], loc="lower right", framealpha=0.95, fontsize=9)
    picture.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(picture, dpi=110, bbox_inches="tight", pad_inches=0.05)
    plt.close(figure)


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    target = sys.argv[3] if len(sys.argv) == 4 else "docs/images/sample_county.png"
    draw(Path(sys.argv[1]), Path(sys.argv[2]), Path(target))
