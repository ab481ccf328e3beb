"""Point forecasts of the German weather service (MOSMIX), KML or KMZ: about 5,400 places of the world.

Elements by the service's own list: TTT, Td [K], FF, FX1 [m s-1], DD [degree, from], N [%], PPPP [Pa, at sea level],
RR1c, RRS1c [kg m-2 of the past hour], Rad1h [kJ m-2 of the past hour]; '-' is missing. Stamps are the END of the hour.
"""

import io
import re
import zipfile
import zlib
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import Site
from microclimate.weather.place import STATION_REACH, nearest
from microclimate.weather.table import Column, Table

MOST_BYTES = 800_000_000  # the file of all places is near 500 MB unpacked

ELEMENTS = {
    "TTT": ("air_temperature", "K"),
    "Td": ("dew_point_temperature", "K"),
    "FF": ("wind_speed", "m/s"),
    "FX1": ("wind_speed_of_gust", "m/s"),
    "DD": ("wind_from_direction", "degree"),
    "N": ("cloud_area_fraction", "%"),
    "PPPP": ("air_pressure_at_mean_sea_level", "Pa"),
    "RR1c": ("precipitation_flux", "kg/m2"),
    "RRS1c": ("snowfall_flux", "kg/m2"),
    "Rad1h": ("surface_downwelling_shortwave_flux_in_air", "kJ/m2"),
}


def table(data: bytes, path: Path, site: Site) -> Table:
    """A KML or KMZ file before its numbers are judged; of many places, the nearest to the site.

    Raises
    ------
    InputError
        Broken XML, entities (a forecast needs none: they can be made to explode), no place near.
    """
    where = path.name
    text = _unpacked(data, where)
    if re.search(rb"<!(DOCTYPE|ENTITY)", text[:10_000_000], re.IGNORECASE):
        raise refuse(
            where, "declares a document type or entities", "plain KML", "such a file can be an attack: fetch it again"
        )
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, LookupError, ValueError) as error:
        raise refuse(where, f"is broken XML ({error})", "a whole KML file", "fetch it again") from error
    stamps = [e.text or "" for e in _all(root, "TimeStep")]
    places = _all(root, "Placemark")
    if not stamps or not places:
        raise refuse(where, "holds no forecast", "time steps and places (MOSMIX KML)")
    try:
        index = pd.to_datetime(stamps, utc=True, format="ISO8601").tz_localize(None)
        points = np.array([[float(v) for v in _text(p, "coordinates").split(",")[:2]] for p in places])
    except (ValueError, IndexError) as error:
        raise refuse(where, "has a stamp or place that cannot be read", "MOSMIX KML") from error
    at, code = nearest(points[:, 1], points[:, 0], site, where, reach=STATION_REACH)
    columns, problems = _columns(places[at], len(stamps), where)
    name = _text(places[at], "description") or _text(places[at], "name")
    axis = index.to_numpy().astype("datetime64[ns]")
    made = Table(axis, columns, f"MOSMIX {name} ({where})", wind_height=10.0, temperature_height=2.0, problems=problems)
    issued = [e.text or "" for e in _all(root, "IssueTime")]
    if issued:
        try:
            made.issued = f"{pd.to_datetime(issued[0], utc=True, format='ISO8601'):%Y-%m-%dT%H:%M:%SZ}"
        except ValueError:
            made.problems.append(Problem(f"{where}: IssueTime", repr(issued[0][:40]), "2026-01-27T21:00:00Z"))
    made.codes += [code] if code else []
    return made


def _unpacked(data: bytes, where: str) -> bytes:
    if not data.startswith(b"PK"):
        return data
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            inside = [item for item in archive.infolist() if item.filename.lower().endswith(".kml")]
            if len(inside) != 1:
                raise refuse(where, f"holds {len(inside)} KML files", "one")
            if inside[0].file_size > MOST_BYTES:
                raise refuse(
                    where, f"unpacks to {inside[0].file_size / 1e6:.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB"
                )
            with archive.open(inside[0]) as file:
                text = file.read(MOST_BYTES + 1)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError) as error:
        if isinstance(error, InputError):
            raise
        raise refuse(where, "is a broken KMZ file", "a whole file", "fetch it again") from error
    if len(text) > MOST_BYTES:
        raise refuse(where, "unpacks to more than it says", "a KMZ file", "such a file can be an attack")
    return text


def _all(node: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [e for e in node.iter() if e.tag.rpartition("}")[2] == name]


def _text(node: ElementTree.Element, name: str) -> str:
    found = _all(node, name)
    return (found[0].text or "").strip() if found else ""


def _columns(place: ElementTree.Element, count: int, where: str) -> tuple[list[Column], list[Problem]]:
    columns: list[Column] = []
    problems: list[Problem] = []
    for forecast in _all(place, "Forecast"):
        element = next((value for key, value in forecast.attrib.items() if key.rpartition("}")[2] == "elementName"), "")
        if element not in ELEMENTS:
            continue
        cells = _text(forecast, "value").split()
        try:
            values = np.array([np.nan if cell == "-" else float(cell) for cell in cells])
        except ValueError:
            problems.append(Problem(f"{where}: {element}", "has cells that are no numbers", "numbers or '-'"))
            continue
        if len(values) != count:
            problems.append(Problem(f"{where}: {element}", f"has {len(values)} values", f"{count}, one for each stamp"))
        elif np.isfinite(values).any():
            name, unit = ELEMENTS[element]
            columns.append(Column(name, unit, values, f"{where}: {element}", running_sum=False))
    return columns, problems
