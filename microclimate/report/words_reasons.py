"""Why the night is what it is, and what the run assumed: one sentence for each key.

`REASONS` takes a `Fact`: its values fill the sentence in the reader's units. `ASSUMED` takes the codes `key` or
`key=value` that weather, exposure, start and column leave behind; a key that nobody described is printed as it is.
"""

from collections.abc import Iterable, Mapping

from microclimate.constants import DENSITY_WATER
from microclimate.report.answer import Answer, Fact
from microclimate.report.words import distance, fill, measure, sentence
from microclimate.units import Shown, quantity

# key -> sentence; in braces the value's name and kind (units of `Shown`, "clock", "day_clock", "percent", or none)
REASONS: Mapping[str, str] = {
    "clear and calm": "clear and calm: cloud {cloud:percent}, wind {wind:speed}, so the grass loses heat to the sky",
    "clear": "clear sky: cloud {cloud:percent}, so the grass loses heat to the sky",
    "calm": "calm: wind {wind:speed}, so little heat comes from the air",
    "cloudy": "cloudy: {cloud:percent}, so little heat is lost to the sky",
    "windy": "windy: {wind:speed}, so the grass stays near the air's temperature",
    "cold air": "cold air: down to {air:temperature} over open ground",
    "mild air": "mild air: down to {air:temperature} over open ground",
    "dry air": "dry air: dew point {dew_point:temperature}, so less heat comes from the sky and frost forms late",
    "damp air": "damp air: dew point {dew_point:temperature}, so what cools below it gathers dew or frost",
    "canopy below air": "the grass falls {difference:temperature difference} below the air",
    "shaded until": "{zone} is shaded until {time:clock}",
    "shaded all day": "{zone} gets no sun that day",
    "sun from": "{zone} has sun from {time:clock}",
    "low sky view": "{zone} sees {sky_view:percent} of the sky; the stands hide the rest and keep it warmer at night",
    "high sky view": "{zone} sees {sky_view:percent} of the sky and cools most",
    "tray open below": "{zone} lies on trays open below: cold air reaches it from both sides",
    "tray closed below": "{zone} lies on trays closed below",
    "insulated below": "{zone} is insulated below: little heat comes up from the ground",
    "sheltered": "the stands keep wind from {zone}: {wind:speed} there",
    "bowl wind": "wind over the grass is {factor:share} ({low:share} to {high:share}) of the forecast's",
    "bowl air colder": "air in the bowl is {middle:temperature difference} ({low:temperature difference} to "
    "{high:temperature difference}) colder than the forecast at {time:clock}",
    "bowl air warmer": "air in the bowl is {middle:temperature difference} ({low:temperature difference} to "
    "{high:temperature difference}) warmer than the forecast at {time:clock}",
    "bowl air near": "air in the bowl is near the forecast at {time:clock}: between {colder:temperature difference} "
    "colder and {warmer:temperature difference} warmer",
    "bowl colder": "shelter and the bowl's own air make {zone} {difference:temperature difference} colder than the "
    "open wind would",
    "bowl milder": "shelter and the bowl's own air keep {zone} {difference:temperature difference} milder than the "
    "open wind would",
    "bowl range": "what is not known of wind and air in the bowl makes about {share:percent} of the night's range",
    "bowl range small": "what is not known of wind and air in the bowl makes under {share:percent} of the night's "
    "range",
    "frost on seats": "frost on the seats is likely: it makes bare metal as cold as paint",
    "dry root zone": "the root zone of {zone} is dry ({water:percent} water): it freezes fast",
    "wet root zone": "the root zone of {zone} is wet ({water:percent} water): it freezes slowly and thaws slowly",
    "warm ground": "the ground is still warm: {soil:temperature} at {depth:depth}",
    "cold ground": "the ground is already cold: {soil:temperature} at {depth:depth}",
    "frozen at start": "{zone} is frozen already",
    "snow lying": "snow lies on the field",
    "snow coming": "snow is forecast",
    "rain then frost": "rain is forecast before the freeze: wet leaves can ice over",
    "freezing rain": "rain at freezing temperature is forecast: it freezes where it lands",
    "heated": "root-zone heating runs in {zone}",
    "not heated": "{zone} has no root-zone heating",
    "covered": "{zone} is covered",
}

# key, or key=value where one value has words of its own -> sentence; {value}: all values of that key, joined
ASSUMED: Mapping[str, str] = {
    # weather: time
    "date_order": "dates are written with the {value}",
    "naive_times": "times of the weather carry no time zone: read as {value}",
    "unsorted_rows": "rows of the weather were not in order of time and were put in order",
    "duplicate_rows": "rows of the weather given twice: {value}, dropped",
    "labels": "sunshine was labelled by the start of its interval: amounts and means moved to their end",
    "coarse_step_h": "the longest step of the weather is {value} h, brought to one hour",
    "typical_year": "weather of a typical year, months from different years, set into {value}: no forecast",
    # weather: repairs and gaps
    "missing": "values the file marks as missing: {value}",
    "bridged": "short gaps (up to 3 h) filled between neighbours: {value}",
    "gap": "longer gaps left unknown: {value}",
    "day_beside": "gaps of 3 to 6 h filled with the mean of the same hours of the days beside them: {value}",
    "unit": "units that the numbers contradict: {value}",
    "accumulated": "running sums turned into amounts for each hour: {value}",
    "clipped": "values a little beyond their range, set to its edge: {value}",
    "ignored": "not used from the file: {value}",
    "grid_point": "nearest point that the weather is given for: {value:distance} away",
    "unequal_members": "forecast members that end early: {value}",
    "dead_members": "forecast members without any value, left out: {value}",
    # weather: completed
    "dew_point": "dew point worked out from {value}",
    "dew_point=daily_minimum": "no humidity given: dew point taken as each day's lowest temperature",
    "pressure": "air pressure worked out from {value}",
    "pressure=elevation": "air pressure taken from the height of the place",
    "pressure=sea_level": "air pressure brought from sea level to the height of the place",
    "wind_height": "wind taken to be measured at {value:length}",
    "temperature_height": "air temperature taken to be measured at {value:length}",
    "direction": "no wind direction given",
    "calm_direction": "calm hours keep the wind direction before them: {value} of them",
    "gust": "gusts taken as {value} times the wind",
    "cloud": "cloud worked out from {value}",
    "cloud=longwave": "cloud worked out from the heat of the sky",
    "cloud=shortwave": "cloud worked out from sunshine; at night the evening's and the morning's",
    "cloud=unknown": "no cloud given and nothing to tell it from: half covered is taken",
    "shortwave": "sunshine worked out from {value}",
    "split=erbs": "sunshine split into sun and sky by the formula of Erbs and others (1982)",
    "split": "sunshine split into sun and sky by a published formula ({value})",
    "longwave": "heat from the sky worked out from air, dew point and cloud ({value})",
    "precipitation": "no rain or snow given: taken as none",
    "snow": "snow told from rain by {value} temperature",
    "snow_density": "depth of fresh snow turned into water: {value:water in snow} of it",
    "precipitation_unit": "unit of rain judged by its size: {value}",
    # weather: members
    "dressed": "one forecast made into {value} with a stated error model, not an ensemble of its own",
    "wider": "the stated error model widened {value} times",
    "pooled": "forecasts put together: {value}",
    "not_dressed": "the same in all members: {value}",
    "bias": "the night's lowest air moved by {value:temperature difference} after what was read here before",
    "bias_nights": "that was learned from {value} nights read here",
    "offline": "no new forecast could be had: this is the last one kept, {value} h old",
    "source_lost": "left out, since it could not be had: {value}",
    "nowcast": "tonight's curve pulled to the evening's readings by {value:temperature difference}",
    # exposure
    "bowl_wind": "wind over the field: {value}",
    "bowl_wind=prior": "shelter by the stands worked out from their distance and height, not fitted to readings here",
    "bowl_wind=all_directions": "wind direction unknown: shelter is the mean over all directions",
    "bowl_air": "air in the bowl: {value}",
    "bowl_air=prior": "air in the bowl cooled as a box that exchanges with outside, not fitted to readings here",
    "bowl_air=forecast": "air over the field taken as over open ground, not cooled in the bowl",
    # typed
    "typed_by_hand": "one night from a low and a high typed by hand: shape of the night assumed",
}

_PLAIN = {
    "air_temperature_percentile": "percentiles of air temperature",
    "wind_speed_percentile": "percentiles of wind",
    "surface_downwelling_shortwave_flux_in_air": "sunshine",
    "surface_direct_downwelling_shortwave_flux_in_air": "direct sunshine",
    "surface_diffuse_downwelling_shortwave_flux_in_air": "diffuse sunshine",
    "surface_downwelling_longwave_flux_in_air": "heat from the sky",
    "surface_air_pressure": "air pressure",
    "cloud_area_fraction": "cloud",
    "precipitation_flux": "rain and snow",
    "snowfall_flux": "snow",
    "wind_speed_of_gust": "gusts",
    "wind_speed": "wind",
    "wind_from_direction": "wind direction",
    "dew_point_temperature": "dew point",
    "air_temperature": "air temperature",
    "relative_humidity": "relative humidity",
}
CLEAR_SKIES = {"brutsaert": "Brutsaert", "brunt": "Brunt", "prata": "Prata", "dilley_obrien": "Dilley and O'Brien"}
# a number in a code is in this unit where the sentence asks for a kind
_CODE_UNITS = {
    "length": "m",
    "temperature difference": "delta_K",
    "temperature": "K",
    "speed": "m/s",
    "distance": "m",
    "water in snow": "kg/m3",
}


def reason(fact: Fact, shown: Shown) -> str:
    """One fact as a sentence; a key that is not described is printed with its values."""
    template = REASONS.get(fact.key)
    if template is None:
        values = ", ".join(f"{name} {value}" for name, value in fact.values.items())
        return sentence(plain(fact.key) + (f": {values}" if values else ""))
    return sentence(fill(template, fact.values, shown))


def reasons(answer: Answer) -> list[str]:
    """Each fact as a sentence, the weightiest first."""
    return [reason(fact, answer.shown) for fact in answer.reasons]


def plain(text: str) -> str:
    """A code's words: names of variables in plain words, no underscores, counts in brackets."""
    words = text.split()
    if words and all(word in _PLAIN for word in words):
        return ", ".join(_PLAIN[word] for word in words)
    for name, words_of_it in _PLAIN.items():
        text = text.replace(name, words_of_it)
    text = CLEAR_SKIES.get(text, text)
    head, colon, tail = text.partition(":")
    if colon and tail.strip().isdigit():
        text = f"{head} ({tail.strip()})"
    return text.replace("->", " taken as ").replace("_", " ").replace(":", ": ").replace("  ", " ").strip()


def assumed(codes: Iterable[str], shown: Shown) -> list[str]:
    """Sentences for the codes of everything assumed, codes of one key in one sentence, in the order they came."""
    values: dict[str, list[str]] = {}
    for code in dict.fromkeys(code.strip() for code in codes):
        key, _, value = (code, "", "") if code in ASSUMED else code.partition("=")
        if key:
            values.setdefault(key, []).append(value)
    return [_assumption(key, [v for v in found if v], shown) for key, found in values.items()]


def _assumption(key: str, values: list[str], shown: Shown) -> str:
    template = ASSUMED.get(key)
    if template is None:
        return sentence(plain(key) + (f": {', '.join(plain(v) for v in values)}" if values else ""))
    for kind, unit in _CODE_UNITS.items():
        if f"{{value:{kind}}}" in template:
            words = ", ".join(_number_with_unit(v, kind, unit, shown) for v in values)
            return sentence(template.replace(f"{{value:{kind}}}", words))
    return sentence(template.replace("{value}", ", ".join(plain(v) for v in values) or "so"))


def _number_with_unit(text: str, kind: str, unit: str, shown: Shown) -> str:
    try:
        value = quantity(text, unit)
    except ValueError:
        return plain(text)
    if kind == "water in snow":
        return f"{100 * value / DENSITY_WATER:.0f} %"
    return distance(value, shown) if kind == "distance" else measure(value, kind, shown)
