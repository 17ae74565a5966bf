"""The page that lies beside the files of the invented county."""

README = """\
# Ostermere County: an invented county

Everything here is invented: the county, its creeks, roads, people, addresses and numbers. It was
made by a program so that the true channel, bends, banks and distances are known. It lies where
nobody lives, in the open water of Lake Michigan, so that nobody takes it for a real place. Any
likeness to real names is chance. It is under the licence of the project, MIT.

`python scripts/make_sample_data.py` makes it anew; the random numbers start from a fixed seed, so
it comes out the same.

Coordinates are NAD83 / UTM zone 16N (EPSG:26916); elevations are metres, as the raster's band says.

| File | What it is |
|---|---|
| `dem/dem_*.tif` | bare-earth elevation, 1 m cells, four tiles; no data in two places |
| `streams.gpkg` | the stream lines as an office holds them; `name` |
| `buildings.gpkg` | footprints; `class` says what they are |
| `roads.gpkg` | road middles; `class`, `width_m` |
| `utilities.gpkg` | layers `wells` (points) and `lines` (a water main, a gas line) |
| `canopy.tif` | canopy height in whole metres, 2 m cells |
| `soils.gpkg` | soil areas; `texture`, and `kffact`, an erodibility factor (U.S. customary) |
| `parcels.gpkg` | parcels with `parcel_id` and `owner` |
| `addresses.gpkg` | address points of the homes |
| `constraints.gpkg` | two wetlands and a floodway; `name`, `type` |
| `applications.csv` | 26 applications for cost-share, some of them written down badly (see below) |
| `settings.toml` | the settings that tell the program which columns are which |
| `truth.gpkg` | what is true: see below |

Elevations are rounded to 1/64 m. The stream lines are up to a few metres off and coarse in places;
some are drawn upstream, one has no name, one ends short of the stream it flows into.

## What to look for

* Brindlewater Creek, the main stem: meander bends of known radius with steep outside and low inside
  banks; a straight stretch cut down between two high banks; failing bends with a house 9 m, a house
  7.5 m and a barn 11 m from the top of the bank.
* Harrow Gap Road crosses it on a fill with a culvert: the elevation model shows a dam. The other
  roads cross on bridges, which are not in the elevation model.
* Kettlemoss Run passes through a pond.
* Four streams come together: Kettlemoss Run, Pennythorn Branch and Ashbarrow Run flow into
  Brindlewater Creek, Goosequill Hollow into Ashbarrow Run.

## The truth

`truth.gpkg` has the layers `channels` (true middles, drawn downstream), `bank_tops` (true tops,
drawn downstream), `stations` (every 5 m: curvature, widths, and for each bank the offsets of toe
and top, height, angle, whether it fails and whether it can be seen), `bends` (inflections, apex,
least radius, turning, outside bank), `failing` (the plainly failing lengths of bank), `works` (the
fill, bridges, pond, places without data) and `buildings` (the true least distance to the true top
of a bank). `s_m` runs downstream from the head of each stream, `station_m` upstream from its mouth,
both along the true middle. Left and right look downstream; curvature is positive where the channel
turns left going downstream, then the right bank is outside. `valid` is false where a fill, a pond,
a hole in the data, the border or another stream hides the bank. Bank heights are above the water's
edge; there is nothing below the water, as in lidar.

## What is wrong in `applications.csv`

Number 3 has easting and northing swapped, 5 latitude and longitude; 7 and 17 have an address only,
17's in capitals and cut short; 8 has lost the minus sign of its longitude; 10 is in U.S. survey
feet; 12 has degrees, minutes and seconds; 14 has decimal commas; 15 has money and a length in
words; 18 a date in another form and no length; 20 is rounded to about a kilometre; 21 has neither
coordinates nor an address that exists; 24 repeats 4; 25 lies outside the county; 26 lies at 0, 0.
"""
