"""Words that no produced text may hold: verdicts, words of weather services' alerts, promises, leaked values."""

import re

_WORDS = (
    "safe|safely|unsafe|playable|unplayable|go|no-go|warnings?|watch|watches|advisory|advisories|alerts?|guaranteed|"
    "smart|red|amber"
)
FORBIDDEN = re.compile(rf"\b(?i:{_WORDS})\b|\b(nan|NaN|NaT|None|inf)\b")
# units of the other reader; the reading of a file may be told in the file's own unit
NOT_US = re.compile(r"\d (?:m|mm|cm|km|m/s|km/h|K|°C|m²|kg/m3)(?![\w/])")
NOT_METRIC = re.compile(r"\d (?:ft|in|mph|°F|ft²|miles?|am|pm)(?![\w/])")
