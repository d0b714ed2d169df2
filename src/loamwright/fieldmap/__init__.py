"""The map on the phone: one file that needs no network.

The rooms: `records` (what the page shows), `legends`, `contents` (filled from a season), `imagery` (the
user's own picture), `still` (what stands there without a script), `page` (the file).
"""

from loamwright.fieldmap.contents import map_data, map_layers, squares
from loamwright.fieldmap.editions import EDITIONS
from loamwright.fieldmap.imagery import embed_picture
from loamwright.fieldmap.page import Basemap, MapMade, MapOptions, folium_map, write_map
from loamwright.fieldmap.records import MapData, plain

__all__ = [
    "EDITIONS",
    "Basemap",
    "MapData",
    "MapMade",
    "MapOptions",
    "embed_picture",
    "folium_map",
    "map_data",
    "map_layers",
    "plain",
    "squares",
    "write_map",
]
