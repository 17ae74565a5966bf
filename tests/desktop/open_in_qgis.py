"""Run by QGIS's own Python: open a GeoPackage as a user would, say what is seen, draw a map.

    open_in_qgis.py FILE.gpkg MAP.png

Prints one JSON object: for each layer its renderer, classes, labels, scales, and titles of columns.
"""

import json
import os
import sys

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from qgis.core import (
    Qgis,
    QgsApplication,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsProject,
    QgsProviderRegistry,
    QgsProviderSublayerDetails,
    QgsRectangle,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor


def told(layer):
    """Return what a user sees of one layer that was just added, nothing clicked."""
    renderer = layer.renderer() if layer.isSpatial() else None
    seen = {
        "name": layer.name(),
        "valid": layer.isValid(),
        "rows": layer.featureCount(),
        "spatial": layer.isSpatial(),
        "titles": {f.name(): layer.attributeDisplayName(i) for i, f in enumerate(layer.fields())},
        "comments": {f.name(): f.comment() for f in layer.fields()},
    }
    if renderer is not None:
        seen["renderer"] = renderer.type()
        seen["legend"] = [item.label() for item in renderer.legendSymbolItems()]
        seen["colours"] = [
            item.symbol().symbolLayers()[-1].color().name()
            for item in renderer.legendSymbolItems()
            if item.symbol()
        ]
        seen["labels"] = layer.labelsEnabled()
        seen["min_scale"] = layer.minimumScale() if layer.hasScaleBasedVisibility() else None
    return seen


def draw(layers, extent, path, pixels=1000):
    """Draw layers in the order of the layer tree."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setDestinationCrs(layers[0].crs())
    settings.setBackgroundColor(QColor("#f4f2ec"))
    settings.setOutputSize(QSize(pixels, pixels))
    settings.setOutputDpi(96)
    settings.setExtent(extent)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(path, "PNG")
    return settings.scale()


def main():
    """Open, tell, draw."""
    path, picture = sys.argv[1:3]
    QgsApplication.setPrefixPath("/usr", True)
    app = QgsApplication([], False)
    app.initQgis()
    project = QgsProject.instance()
    asked = getattr(Qgis, "SublayerQueryFlag", None) or Qgis.SublayerQueryFlags
    found = QgsProviderRegistry.instance().querySublayers(path, asked.ResolveGeometryType)
    options = QgsProviderSublayerDetails.LayerOptions(project.transformContext())
    layers = [details.toLayer(options) for details in found]
    project.addMapLayers(layers)
    order = [node.layer() for node in project.layerTreeRoot().findLayers()]
    spatial = [layer for layer in order if layer.isSpatial() and layer.featureCount()]
    extent = QgsRectangle(layers[0].extent())
    for layer in layers:
        if layer.name().startswith("reaches"):
            extent = QgsRectangle(layer.extent())
    extent.scale(1.1)
    scales = [draw(spatial, extent, picture)]
    near = [layer for layer in layers if layer.name().startswith(("repairs", "banks"))]
    near = [layer for layer in near if layer.featureCount()]
    if near:
        middle = next(near[-1].getFeatures()).geometry().boundingBox()
        middle.grow(60.0)
        scales.append(draw(spatial, middle, picture.replace(".png", "_near.png")))
    print(json.dumps({"layers": [told(layer) for layer in order], "scales": scales}))
    del layers, order, spatial, near, layer, found
    project.clear()
    app.exitQgis()


main()
