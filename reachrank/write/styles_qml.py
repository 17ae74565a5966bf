"""How a layer looks in QGIS, as the text that QGIS keeps for it (QML), made from the schema.

Written by hand, so that no QGIS is needed to write it. Each property of a sign is given twice:
``Option`` is read by newer versions, ``prop`` by older ones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.etree import ElementTree as ET

from reachrank.description import description
from reachrank.page.looks import LOOKS
from reachrank.schema import Layer

_HEAD = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
_VERSION = "3.22.0"
_MM_PER_PX = 25.4 / 96.0
CLOSE, NEARER, CLOSEST = 12_000, 8_000, 4_000
"""Map scales, 1 to so many, up to which banks, then signs beside them, then sections are drawn."""
REPAIR, DARK, GREY, WATER = "#e08214", "#1b1f24", "#7a8288", "#3b7ea8"
_MARKS = {"left_out": "#4d004b", "warning": "#8c6bb1", "info": "#9ebcda"}

Properties = Mapping[str, str]


def qml(layer: Layer, columns: Sequence[str], *, us: bool, class_breaks: Sequence[float]) -> str:
    """Return the style of a layer.

    Parameters
    ----------
    layer
        What the schema says of it.
    columns
        The names as they stand in the file, in order.
    us
        Whether those are U.S. customary.
    class_breaks
        Priority scores where the classes begin, the lowest left out.

    Returns
    -------
    str
        With the titles of all columns; with signs, labels and scales where the layer has geometry.
    """
    root = ET.Element("qgis", version=_VERSION, styleCategories="AllStyleCategories")
    aliases = ET.SubElement(root, "aliases")
    known = {told.column: told for told in (description(c, us=us) for c in layer)}
    for index, column in enumerate(name for name in columns if name in known):
        ET.SubElement(aliases, "alias", index=str(index), field=column, name=known[column].title)
    if layer.geometry != "None":
        _signs(root, layer.name, columns, us=us, class_breaks=class_breaks)
    shown = _SHOWN_AS.get(layer.name)
    if shown:
        ET.SubElement(root, "previewExpression").text = shown
    if "reason" in columns:
        tip = ET.SubElement(root, "mapTip")
        tip.text = f'<b>[% {shown} %]</b><br/>[% "reason" %]' if shown else '[% "reason" %]'
    return _HEAD + ET.tostring(root, encoding="unicode")


_SHOWN_AS = {
    "reaches": 'coalesce("stream_name", "stream_id") || coalesce(\', rank \' || "rank", \'\')',
    "banks": "\"bank\" || ' bank of ' || \"reach_id\" || coalesce(', rank ' || \"rank\", '')",
    "repairs": "\"bank\" || ' bank, rank ' || coalesce(\"rank\", '-')",
    "sites": '"site_id"',
    "docket": '"application_id"',
    "exposures": '"structure_class" || \' \' || "structure_id"',
}


def _signs(
    root: ET.Element, name: str, columns: Sequence[str], *, us: bool, class_breaks: Sequence[float]
) -> None:
    unit, ending = ("ft", "_ft") if us else ("m", "_m")
    if name == "reaches":
        _by_class(root)
        _label(root, 'if("rank" <= 20, "rank", NULL)', DARK, 60_000, bold=True)
    elif name == "banks":
        _by_score(root, class_breaks)
        _scales(root, CLOSE)
    elif name in ("repairs", "sites"):
        # wide: the banks are listed above and drawn over it
        _single(root, [_line("#ffffff", 2.2, close=3.2), _line(REPAIR, 1.7, close=2.6)])
        length = f"round(\"length{ending}\") || ' {unit}'"
        _label(root, length, "#8a4a05", CLOSE, bold=True)
    elif name == "tie_ins":
        _single(root, [_line(REPAIR, 2.0, dash="0.5;0.4")])
        _scales(root, NEARER)
    elif name == "exposures":
        _single(root, [_line(DARK, 0.35, dash="1;1.2")])
        away = f"\"structure_class\" || ' ' || round(\"bank_distance{ending}\", 1) || ' {unit}'"
        _label(root, away, DARK, NEARER)
        _scales(root, NEARER)
    elif name == "sections":
        _single(root, [_line(GREY, 0.2)])
        _scales(root, CLOSEST)
    elif name == "bends":
        _single(root, [_line(WATER, 0.3, dash="4;2")])
        _scales(root, NEARER)
    else:
        _by_geometry(root, "severity" if "severity" in columns else None)


def _by_class(root: ET.Element) -> None:
    """One sign for each class; the first class is listed first and drawn last, on top."""
    renderer = ET.SubElement(
        root, "renderer-v2", type="categorizedSymbol", attr="priority_class", symbollevels="1",
        enableorderby="0", forceraster="0",
    )  # fmt: skip
    categories = ET.SubElement(renderer, "categories")
    symbols = ET.SubElement(renderer, "symbols")
    for k, look in enumerate([*reversed(LOOKS[:-1]), LOOKS[-1]]):
        value = look.name if look is not LOOKS[-1] else ""  # an empty value takes all others
        ET.SubElement(
            categories, "category", render="true", symbol=str(k), value=value, type="string",
            label=f"{look.name}: {look.meaning}",
        )  # fmt: skip
        width = look.width_px * _MM_PER_PX
        level = 2 * (len(LOOKS) - k)
        lines = [
            _line("#ffffff", width + 0.5, close=0.9, level=level),
            _line(look.colour, width, close=0.5, level=level + 1),
        ]
        _symbol(symbols, str(k), "line", lines)


def _by_score(root: ET.Element, class_breaks: Sequence[float]) -> None:
    renderer = ET.SubElement(
        root, "renderer-v2", type="graduatedSymbol", attr="priority_score", symbollevels="0",
        graduatedMethod="GraduatedColor", enableorderby="0", forceraster="0",
    )  # fmt: skip
    ranges = ET.SubElement(renderer, "ranges")
    symbols = ET.SubElement(renderer, "symbols")
    edges = [0.0, *class_breaks, 100.0]
    looks = LOOKS[:-1] if len(edges) == len(LOOKS) else [LOOKS[-2]] * (len(edges) - 1)
    for k in reversed(range(len(edges) - 1)):
        ET.SubElement(
            ranges, "range", render="true", symbol=str(k), lower=f"{edges[k]:.15g}",
            upper=f"{edges[k + 1]:.15g}",
            label=f"{looks[k].name}: score {edges[k]:g} to {edges[k + 1]:g}",
        )  # fmt: skip
        lines = [_line("#ffffff", 0.9 + 0.15 * k), _line(looks[k].colour, 0.5 + 0.15 * k)]
        _symbol(symbols, str(k), "line", lines)


def _by_geometry(root: ET.Element, attribute: str | None) -> None:
    """Signs for a layer whose features are points, lines or areas, in one style for all three."""
    renderer = ET.SubElement(
        root, "renderer-v2", type="RuleRenderer", symbollevels="0", enableorderby="0",
        forceraster="0",
    )  # fmt: skip
    rules = ET.SubElement(renderer, "rules", key="all")
    symbols = ET.SubElement(renderer, "symbols")
    marks = _MARKS if attribute else {"": "#810f7c"}
    number = 0
    for word, colour in marks.items():
        for kind, geometry in (("marker", "Point"), ("line", "Line"), ("fill", "Polygon")):
            chosen = f"geometry_type($geometry) = '{geometry}'"
            if attribute:
                chosen = f"\"{attribute}\" = '{word}' AND {chosen}"
            label = f"{word.replace('_', ' ')} ({geometry.lower()})".strip()
            ET.SubElement(
                rules, "rule", key=f"rule{number}", symbol=str(number), filter=chosen, label=label
            )
            _symbol(symbols, str(number), kind, [_PARTS[kind](colour)])
            number += 1


def _single(root: ET.Element, lines: Sequence[Part]) -> None:
    renderer = ET.SubElement(
        root, "renderer-v2", type="singleSymbol", symbollevels="0", enableorderby="0",
        forceraster="0",
    )  # fmt: skip
    _symbol(ET.SubElement(renderer, "symbols"), "0", "line", lines)


Part = tuple[str, Properties, int, str]
"""Class of a part of a sign, its properties, its level of drawing, its width by the map's scale."""


def _line(
    colour: str, width_mm: float, *, dash: str = "", close: float = 0.0, level: int = 0
) -> Part:
    """Return a line. ``close`` is its width in mm on maps closer than the banks' scale."""
    properties = {
        "line_color": _rgba(colour),
        "line_width": f"{width_mm:.2f}",
        "line_width_unit": "MM",
        "line_style": "solid",
        "capstyle": "flat" if dash else "round",
        "joinstyle": "round",
        "use_custom_dash": "1" if dash else "0",
        "customdash": dash or "5;2",
        "customdash_unit": "MM",
    }
    by_scale = f"if(@map_scale < {CLOSE}, {close:g}, {width_mm:.2f})" if close else ""
    return "SimpleLine", properties, level, by_scale


def _marker(colour: str) -> Part:
    properties = {
        "name": "diamond", "color": _rgba(colour), "outline_color": _rgba(DARK),
        "outline_width": "0.2", "outline_width_unit": "MM", "size": "4.2", "size_unit": "MM",
    }  # fmt: skip
    return "SimpleMarker", properties, 0, ""


def _fill(colour: str) -> Part:
    properties = {
        "color": _rgba(colour, 60), "style": "solid", "outline_color": _rgba(colour),
        "outline_width": "0.4", "outline_width_unit": "MM", "outline_style": "solid",
    }  # fmt: skip
    return "SimpleFill", properties, 0, ""


_PARTS = {
    "marker": _marker,
    "line": lambda colour: _line(colour, 0.8),
    "fill": _fill,
}


def _symbol(symbols: ET.Element, name: str, kind: str, parts: Sequence[Part]) -> None:
    symbol = ET.SubElement(
        symbols, "symbol", type=kind, name=name, alpha="1", clip_to_extent="1", force_rhr="0"
    )
    for kind_of_part, properties, level, by_scale in parts:
        layer = ET.SubElement(
            symbol,
            "layer",
            {"class": kind_of_part, "enabled": "1", "pass": str(level), "locked": "0"},
        )
        options = ET.SubElement(layer, "Option", type="Map")
        for key, value in properties.items():
            ET.SubElement(options, "Option", type="QString", name=key, value=value)
        for key, value in properties.items():
            ET.SubElement(layer, "prop", k=key, v=value)
        if by_scale:
            _data_defined(layer, "outlineWidth", by_scale)


def _data_defined(layer: ET.Element, what: str, expression: str) -> None:
    top = ET.SubElement(ET.SubElement(layer, "data_defined_properties"), "Option", type="Map")
    ET.SubElement(top, "Option", type="QString", name="name", value="")
    properties = ET.SubElement(top, "Option", type="Map", name="properties")
    one = ET.SubElement(properties, "Option", type="Map", name=what)
    ET.SubElement(one, "Option", type="bool", name="active", value="true")
    ET.SubElement(one, "Option", type="QString", name="expression", value=expression)
    ET.SubElement(one, "Option", type="int", name="type", value="3")
    ET.SubElement(top, "Option", type="QString", name="type", value="collection")


def _scales(root: ET.Element, nearest_to: int) -> None:
    """Draw the layer on maps of 1 to so many and closer."""
    root.set("hasScaleBasedVisibilityFlag", "1")
    root.set("minScale", str(nearest_to))
    root.set("maxScale", "0")


def _label(
    root: ET.Element, expression: str, colour: str, nearest_to: int, *, bold: bool = False
) -> None:
    root.set("labelsEnabled", "1")
    labeling = ET.SubElement(root, "labeling", type="simple")
    settings = ET.SubElement(labeling, "settings", calloutType="simple")
    style = ET.SubElement(
        settings, "text-style", fieldName=expression, isExpression="1", fontSize="8",
        fontSizeUnit="Point", fontWeight="75" if bold else "50", textColor=_rgba(colour),
        textOpacity="1", fontFamily="Sans Serif", namedStyle="Bold" if bold else "Regular",
    )  # fmt: skip
    ET.SubElement(
        style, "text-buffer", bufferDraw="1", bufferSize="0.8", bufferSizeUnits="MM",
        bufferColor=_rgba("#ffffff"), bufferOpacity="0.85", bufferJoinStyle="128",
    )  # fmt: skip
    ET.SubElement(
        settings, "placement", placement="2", placementFlags="10", dist="1", distUnits="MM"
    )
    ET.SubElement(
        settings, "rendering", scaleVisibility="1", scaleMin="1", scaleMax=str(nearest_to),
        drawLabels="1", obstacle="1", mergeLines="0", minFeatureSize="0",
    )  # fmt: skip


def _rgba(colour: str, opacity: int = 255) -> str:
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return f"{red},{green},{blue},{opacity}"
