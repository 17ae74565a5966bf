"""The border to GDAL: one environment, and its errors mapped once to ours."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import fiona
import fiona.errors
import pyogrio
import pyogrio.errors
import pyproj.exceptions
import rasterio
import rasterio.errors
import shapely.errors

from reachrank.errors import InputError

OPTIONS: dict[str, str | int] = {
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    # report the vertical part of a compound CRS of older GeoTIFF files too
    "GTIFF_REPORT_COMPD_CS": "YES",
    "GDAL_PAM_ENABLED": "YES",
    # ask for the few files that may lie beside one instead of listing its folder: a county's DEM is
    # a folder of thousands of tiles, often on a network drive, and every tile is opened twice
    "GDAL_DISABLE_READDIR_ON_OPEN": "TRUE",
    "GDAL_NUM_THREADS": "1",
    # bytes; blocks are read once and kept by us, so that a large cache only costs memory
    "GDAL_CACHEMAX": 128_000_000,
}
# Nothing should get so far as to ask; if it does, there is no way out: no name is allowed, and a
# proxy where nobody listens stands before every other request.
NO_NETWORK = {
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",
    "GDAL_HTTPS_PROXY": "127.0.0.1:9",
}


@contextmanager
def quiet() -> Iterator[None]:
    """Silence the warnings of the libraries that read; what matters is a finding of ours.

    Not for code that runs in several threads: the list of filters belongs to the process.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", category=rasterio.errors.NotGeoreferencedWarning)
        warnings.filterwarnings("ignore", module="pyogrio")
        warnings.filterwarnings("ignore", message=".*[Mm]easured.*geometry type")
        # rasterio multiplies transforms with the operator that affine is about to give up
        warnings.filterwarnings("ignore", category=PendingDeprecationWarning)
        yield


@contextmanager
def reading(where: str, *, allow_remote: bool = False) -> Iterator[None]:
    """Run reading code: GDAL set up, the errors of libraries turned into `InputError`."""
    options = OPTIONS if allow_remote else {**OPTIONS, **NO_NETWORK}
    try:
        with rasterio.Env(**options):
            yield
    except InputError:
        raise
    except UnicodeDecodeError as error:
        raise InputError(
            "It holds text in no known letters; is it damaged?", where=where
        ) from error
    except (
        rasterio.errors.RasterioError,
        rasterio.errors.RasterioIOError,
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        pyogrio.errors.GeometryError,
        pyproj.exceptions.ProjError,
        shapely.errors.ShapelyError,
    ) as error:
        raise InputError(f"It cannot be read: {_sentence(error)}", where=where) from error


def _sentence(error: BaseException) -> str:
    cause = error.__cause__ or error.__context__
    text = str(error)
    if cause is not None and "See previous exception" in text:
        text = str(cause)
    text = re.sub(r"\s+", " ", text).strip().rstrip(".")
    return f"{text}."


@contextmanager
def reading_vectors(where: str, *, allow_remote: bool = False) -> Iterator[None]:
    """As `reading`, for the two libraries of vector files, each of which has a GDAL of its own.

    Not for code that runs in several threads: pyogrio has one set of options for the process.
    """
    options = {} if allow_remote else NO_NETWORK
    before = {name: pyogrio.get_gdal_config_option(name) for name in options}
    pyogrio.set_gdal_config_options(options)
    try:
        with reading(where, allow_remote=allow_remote), fiona.Env(**options):
            yield
    except fiona.errors.FionaError as error:
        raise InputError(f"It cannot be read: {_sentence(error)}", where=where) from error
    finally:
        pyogrio.set_gdal_config_options(before)
