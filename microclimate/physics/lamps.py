"""Light that lamps give, as the grass counts it."""

from microclimate.physics.elementwise import Value, formula

MICRO = 1e-6


@formula
def lamp_light(photon_flux: Value, duration: Value) -> Value:
    """Light integral of lamps [mol m-2]: `photon_flux` [umol m-2 s-1] times `duration` [s]."""
    return MICRO * photon_flux * duration


@formula
def lamp_time(gap: Value, photon_flux: Value) -> Value:
    """How long lamps of `photon_flux` [umol m-2 s-1] burn to give `gap` [mol m-2]; [s]. Its inverse."""
    return gap / (MICRO * photon_flux)
