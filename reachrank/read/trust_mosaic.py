"""Virtual rasters: only mosaics of plain local rasters are opened, all the way down."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree as Xml

from reachrank.errors import InputError
from reachrank.read.trust import HINT, check_path, head, is_address, is_xml

# A mosaic of plain rasters: these elements name files, windows and numbers, nothing that runs.
_PLAIN_VRT = frozenset(
    [
        "VRTDataset",
        "SRS",
        "GeoTransform",
        "Metadata",
        "MDI",
        "VRTRasterBand",
        "Description",
        "UnitType",
        "Offset",
        "Scale",
        "NoDataValue",
        "HideNoDataValue",
        "ColorInterp",
        "Histograms",
        "HistItem",
        "HistMin",
        "HistMax",
        "BucketCount",
        "IncludeOutOfRange",
        "Approximate",
        "HistCounts",
        "CategoryNames",
        "ColorTable",
        "Entry",
        "SimpleSource",
        "ComplexSource",
        "AveragedSource",
        "NoDataFromMaskSource",
        "SourceFilename",
        "SourceBand",
        "SourceProperties",
        "SrcRect",
        "DstRect",
        "NODATA",
        "ScaleOffset",
        "ScaleRatio",
        "LUT",
        "UseMaskBand",
        "Overview",
        "OverviewList",
        "MaskBand",
        "BlockXSize",
        "BlockYSize",
        "Resampling",
    ]
)
_HEAD_BYTES = 65_536
_IMAGE_STARTS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+", b"EHFA_HEADER_TAG")
_COMPANIONS = (".ovr", ".msk")
_PLAIN_ENDINGS = (".tif", ".tiff", ".img", ".asc", ".bil", ".flt", ".dem", ".hgt", ".bt", ".adf")
_POINTS_ELSEWHERE = re.compile(rb"<\s*(VRT|OGR|GDAL|MRF|WMS|WMT|WCS|PAM)|gdal_streamed_alg", re.I)


def check_mosaic(path: str, *, allow_remote: bool = False, _above: tuple[str, ...] = ()) -> None:
    """Raise `InputError` unless an XML raster is a plain mosaic of ordinary local rasters.

    Derived pixel functions, warps, raw bands, services and addresses are refused, in the file and
    in every file that it names.
    """
    if allow_remote:
        return
    real = str(Path(path).resolve())
    if real in _above or len(_above) > 8:
        raise InputError("This virtual mosaic names itself.", where=path)
    text = Path(path).read_bytes()
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise InputError("This XML declares entities; it is not opened.", where=path)
    if b"<!" in text or b"<?" in text[5:]:  # another reader would see other file names in these
        raise InputError("This XML holds more than plain elements; it is not opened.", where=path)
    try:
        root = Xml.fromstring(text)  # noqa: S314  (no entities: checked above)
    except Xml.ParseError as error:
        raise InputError(f"This is not a raster: broken XML ({error}).", where=path) from error
    _check_elements(root, path)
    for name in _named_files(root, path):
        try:
            check_path(name)
            if is_xml(name):
                check_mosaic(name, _above=(*_above, real))
            else:
                _check_plain(name)
            check_companions(name)
        except InputError as error:
            raise InputError(
                f"This virtual mosaic points to {name!r}: {error.message}",
                hint=error.hint,
                where=path,
            ) from error


def check_companions(path: str, *, allow_remote: bool = False) -> None:
    """Raise `InputError` where a raster's overviews or mask beside it are not images themselves.

    Readers open ``NAME.ovr`` and ``NAME.msk`` by what is in them, and the file that
    ``NAME.aux.xml`` names for overviews.
    """
    if allow_remote or Path(path).is_dir():
        return
    stem = str(Path(path).with_suffix(""))
    for beside in (f"{name}{ending}" for name in (path, stem) for ending in _COMPANIONS):
        if Path(beside).is_file() and not head(beside, 16).startswith(_IMAGE_STARTS):
            raise InputError("This is not an image, but would be read as one.", where=beside)
    told = Path(f"{path}.aux.xml")
    if told.is_file() and b"OVERVIEW_FILE" in told.read_bytes():
        raise InputError(
            "This file points to overviews elsewhere.",
            hint="Delete it, or have the overviews built beside the raster.",
            where=str(told),
        )


def _check_plain(path: str) -> None:
    """Raise `InputError` unless a file is an image of cells by its first bytes or its ending.

    What a mosaic names is opened by whichever driver takes it first, and some find their mark
    anywhere in the first bytes: a list of elevations may hide another virtual raster.
    """
    start = head(path, _HEAD_BYTES)
    if start.startswith(_IMAGE_STARTS):
        return
    if not path.lower().endswith(_PLAIN_ENDINGS) or start.lstrip().startswith(b"{"):
        raise InputError("This is not an ordinary raster file.", hint=HINT, where=path)
    if _POINTS_ELSEWHERE.search(start):
        raise InputError("This file hides a description of other files.", hint=HINT, where=path)


def _check_elements(root: Xml.Element, path: str) -> None:
    if root.tag != "VRTDataset":
        raise InputError(
            f"This file describes a service or a process ({root.tag}), not a raster.",
            hint=HINT,
            where=path,
        )
    for element in root.iter():
        kind = element.get("subClass", "VRTSourcedRasterBand")
        if element.tag not in _PLAIN_VRT or kind != "VRTSourcedRasterBand":
            what = element.tag if element.tag not in _PLAIN_VRT else kind
            raise InputError(
                f"This virtual raster does more than put rasters side by side ({what}).",
                hint=HINT,
                where=path,
            )


def _named_files(root: Xml.Element, path: str) -> Iterator[str]:
    seen = set()
    for element in root.iter("SourceFilename"):
        name = (element.text or "").strip()
        relative = element.get("relativeToVRT", "0") == "1" or element.get("relativetoVRT") == "1"
        if relative and not is_address(name):
            name = str(Path(path).parent / name)
        if name not in seen:
            seen.add(name)
            yield name
