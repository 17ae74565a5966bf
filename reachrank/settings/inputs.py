"""Settings of the `read` stage: what the input layers' columns and values mean."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, setting


@dataclass(frozen=True, kw_only=True)
class InputsSettings:
    """What the columns and values of the input layers mean."""

    stream_name_attribute: str = setting(
        "",
        "Column of the stream layer with the stream's name. Empty: a column called name, "
        "gnis_name or stream_name is looked for, in any case.",
        source=COMMON_PRACTICE,
    )
    area_attribute: str = setting(
        "",
        "Column of the stream layer with the drainage area at the line's lower end. "
        "Empty: the area comes from the area raster or from flow routing.",
    )
    area_attribute_unit: str = setting(
        "km2", "Unit of that column.", choices=("km2", "mi2", "ha", "acre")
    )
    width_attribute: str = setting(
        "",
        "Column of the stream layer with the bankfull width. Empty: none is taken from the layer.",
    )
    width_attribute_unit: str = setting(
        "m",
        "Unit of that column; ft is the international foot.",
        choices=("m", "ft", "us-ft"),
    )
    least_line_m: float = setting(
        0.1,
        "Stream lines shorter than this are left out. Small on purpose: a connector of one metre "
        "may join two streams.",
        unit="m",
        least=0.0,
        greatest=100.0,
    )
    structure_class_attribute: str = setting(
        "",
        "Column of the structure layers with the class (building, road, ...). Empty, or where the "
        "column holds nothing: the class comes from the layer's name.",
    )
    structures_within_m: float = setting(
        500.0,
        "Structures, soils and constraint areas well beyond this from every stream line are not "
        "kept. Must cover the distance at which a structure still counts plus the distance "
        "between the input line and the bank.",
        unit="m",
        least=0.0,
        greatest=20000.0,
    )
    soil_texture_attribute: str = setting(
        "",
        "Column of the soil layer with the texture class. Empty: a column called texture, texcl "
        "or texture_class is looked for.",
        source="texcl is the column name of the U.S. soil survey tables (SSURGO metadata)",
    )
    soil_erodibility_attribute: str = setting(
        "",
        "Column of the soil layer with the erodibility (K factor, U.S. customary). Empty: a "
        "column called erodibility, kffact, kwfact or k_factor is looked for.",
        source="kffact, kwfact: column names of the U.S. soil survey tables (SSURGO metadata)",
    )
    constraint_name_attribute: str = setting(
        "",
        "Column of the constraint layer that says what the area is. Empty: a column called name, "
        "label, type or zone is looked for, else the layer's name is used.",
    )
    cover_meaning: str = setting(
        "height_m",
        "What the cells of the cover raster say: height_m is canopy height above ground in metres, "
        "classes are land-cover codes.",
        choices=("height_m", "classes"),
    )
    cover_height_least_m: float = setting(
        2.0,
        "Canopy at least this high counts as cover. Two metres is the usual cut of lidar canopy "
        "models, clear of grass and of noise in the ground; shrubs and willows below it count as "
        "bare, so lower it towards 1 m where low shrubs hold the banks and the canopy model is "
        "clean.",
        unit="m",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=50.0,
    )
    cover_classes: tuple[int, ...] = setting(
        (41, 42, 43, 52, 90),
        "Land-cover codes that count as woody cover. The default is deciduous, evergreen and mixed "
        "forest, shrub and woody wetland of the U.S. National Land Cover Database.",
        source="NLCD class legend, Multi-Resolution Land Characteristics Consortium",
        least=0,
    )
