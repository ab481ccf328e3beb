"""One file for each format a forecast or a record may come in."""

from collections.abc import Mapping

# format -> (what it gives, what it lacks), for people who choose one
FORMATS: Mapping[str, tuple[str, str]] = {
    "CSV": ("whatever its columns name", "whatever they do not"),
    "CF-NetCDF": ("whatever it holds, with members; the nearest grid point", "whatever it does not"),
    "GRIB": ("members, radiation, longwave, rain and snow (extra 'grib')", "depends on the centre"),
    "US gridpoint JSON": (
        "temperature, dew point, wind, gust, cloud, rain, snow",
        "radiation, longwave, mostly pressure",
    ),
    "MET Norway JSON": (
        "temperature, dew point, wind, cloud, rain, sea-level pressure",
        "radiation, longwave, often gust; its percentiles are not used",
    ),
    "MOSMIX KML or KMZ": ("temperature, dew point, wind, gust, cloud, rain, snow, shortwave", "longwave"),
    "US station JSON": ("what a station observed: temperature, dew point, wind, cloud, rain", "radiation, longwave"),
    "METAR text": ("what an airport observed: temperature, dew point, wind, cloud, pressure", "radiation, longwave"),
    "TMY3": ("a typical year with radiation", "longwave, gust, snow"),
    "EPW": ("a typical year with radiation and longwave", "gust, snow"),
    "SURFRAD": ("measured radiation and longwave, minute by minute", "cloud, gust, rain"),
}
