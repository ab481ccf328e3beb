"""How cold weather hardens grass and warmth undoes it: the temperature that kills half the plants, day by day.

No coefficients fitted on turf were found. Two courses stand side by side, and what lies between them is the range told:
- winter wheat: Bergjord, Bonesmo & Skjelvag 2008, Eur. J. Agron. 28:321 (fitted in Norway); vernalisation after Wang &
  Engel 1998, Agric. Syst. 58:1, with its sum after Streck et al. 2003. It softens little in a cool thaw.
- timothy, a perennial cool-season grass: hardening after Thorsen & Hoglind 2010, Agric. For. Meteorol. 150:1529, as the
  open code of a grassland model carries it (read there); softening fitted here to what Hoglind and others measured
  (Eur. Grassland Fed. 2008): from -26 degC to -18 in a week of 3 degC and to -15 in a week of 9 degC, in January.
"""

import numpy as np

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics.elementwise import Value, formula

HARDENING = 0.0093  # [K-1 d-1]
DEHARDENING = 2.7e-5  # [K-3 d-1]
STRESS = 1.9  # [K-1]
RESPIRATION = 0.54  # [d-1]
WARMEST_HARDENING = 10.0  # [degC] of the crown, above which it does not harden and a plant before winter softens
COLDEST_SOFTENING = -4.0  # [degC] above which a plant that has had its winter softens
DEEP_SNOW = 0.125  # [m] from which snow costs most
COLDEST_COLD, BEST_COLD, WARMEST_COLD = -1.3, 4.9, 15.7  # [degC] of vernalisation
HALF_COLD = 22.5  # [d] of vernalisation that do half
VERNALISED = 0.99  # [1] share from which the winter counts as had
GRASS_HARDENING = 0.0055925  # [K-1 d-1]
GRASS_WARMEST = 14.7052  # [degC] above which it does not harden
FADE, FADED = 145.0, 91.0  # [d] over which grass loses its power to harden, and the day of the year it is lost
GRASS_SOFTENING = 5.359e-3  # [K-1 d-1]
GRASS_COLDEST = -10.717  # [degC] to which the measured rates of softening point; taken where the crown has thawed alone


@formula
def hardening(lt50: Value, hardest: Value, crown: Value) -> Value:
    """Fall of the killing temperature in one day before winter's end [K d-1]: H (10 - Tc) (LT50 - hardest); [K].

    The crown's daily mean, held within 0 and 10 degC. `hardest` is what the grass can reach.
    """
    held = np.minimum(np.maximum(crown - ZERO_CELSIUS, 0.0), WARMEST_HARDENING)
    return HARDENING * (WARMEST_HARDENING - held) * (lt50 - hardest)


@formula
def dehardening(lt50: Value, tender: Value, crown: Value) -> Value:
    """Rise of the killing temperature in one warm day [K d-1]: D (tender - LT50) (Tc + 4)^3; [K], 0 below -4 degC."""
    return DEHARDENING * (tender - lt50) * np.maximum(crown - ZERO_CELSIUS - COLDEST_SOFTENING, 0.0) ** 3


@formula
def frost_stress(lt50: Value, crown: Value) -> Value:
    """Rise of it in one day near the killing temperature [K d-1]: x exp(3.74 - S x), x = Tc - LT50; [K].

    0 where the crown is colder than that: what is dead does not soften.
    """
    above = np.maximum(crown - lt50, 0.0)
    return above * np.exp(3.74 - STRESS * above)


@formula
def snow_stress(crown: Value, snow_depth: Value) -> Value:
    """Rise of it in one day under snow [K d-1]: R f (exp(0.84 + 0.051 Tc) - 2) / 1.85, Tc at least -2.5 degC.

    f: `snow_depth` over 125 mm, at most 1; `crown` [K].
    """
    breath = (np.exp(0.84 + 0.051 * np.maximum(crown - ZERO_CELSIUS, -2.5)) - 2.0) / 1.85
    return RESPIRATION * breath * np.minimum(np.maximum(snow_depth / DEEP_SNOW, 0.0), 1.0)


@formula
def cold_had(crown: Value) -> Value:
    """Share of a day that counts as vernalisation [1]: (2 x^a - x^2a), x = (T - Tn)/(To - Tn), a = ln 2/ln(x(Tx)).

    0 outside -1.3 and 15.7 degC; `crown` [K].
    """
    degrees = crown - ZERO_CELSIUS
    power = np.log(2.0) / np.log((WARMEST_COLD - COLDEST_COLD) / (BEST_COLD - COLDEST_COLD))
    held = np.minimum(np.maximum(degrees, COLDEST_COLD), WARMEST_COLD)
    x = (held - COLDEST_COLD) / (BEST_COLD - COLDEST_COLD)
    return 2.0 * x**power - x ** (2.0 * power)


@formula
def winter_had(days: Value) -> Value:
    """Share of its winter a plant has had after so many `days` of vernalisation [1]: d^5 / (22.5^5 + d^5)."""
    return days**5 / (HALF_COLD**5 + days**5)


@formula
def hardening_left(day_of_year: Value) -> Value:
    """Share of its power to harden that grass has left [1]: falls from 1 to 0 over the 145 days up to day 91.

    Of the northern year; back at 1 half way through the rest of it.
    """
    since = np.mod(day_of_year - (FADED - FADE), 365.0)
    return np.where(since >= FADE + 0.5 * (365.0 - FADE), 1.0, np.maximum(1.0 - since / FADE, 0.0))


@formula
def grass_hardening(lt50: Value, hardest: Value, crown: Value, left: Value) -> Value:
    """Fall of timothy's killing temperature in one day [K d-1]: s H (14.7 - Tc) (LT50 - hardest), at least 0; [K].

    `left`: `hardening_left`.
    """
    return left * GRASS_HARDENING * np.maximum(GRASS_WARMEST - (crown - ZERO_CELSIUS), 0.0) * (lt50 - hardest)


@formula
def grass_softening(lt50: Value, tender: Value, crown: Value) -> Value:
    """Rise of it in one day of thaw [K d-1]: D (tender - LT50) (Tc + 10.7); 0 at and below 0 degC; [K]."""
    degrees = crown - ZERO_CELSIUS
    return GRASS_SOFTENING * (tender - lt50) * np.where(degrees <= 0.0, 0.0, degrees - GRASS_COLDEST)
