"""Words that no produced text may hold: verdicts, words of weather services' alerts, promises, leaked values."""

import re

_WORDS = (
    "safe|safely|unsafe|playable|unplayable|go|no-go|warnings?|watch|watches|advisory|advisories|alerts?|guaranteed|"
    "smart|red|amber"
)
FORBIDDEN = re.compile(rf"\b(?i:{_WORDS})\b|\b(nan|NaN|NaT|None|inf)\b")
