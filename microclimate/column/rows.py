"""Rows of the `surface` workspace: one for each number a column carries above its layers. Temperatures in degC."""

(
    # parameters of the patch
    LEAF_BED,  # canopy to soil [W m-2 K-1]
    FLOOR,  # exchange in a calm, added [W m-2 K-1]
    ALBEDO,
    EMISSIVITY,
    LEAF_CAPACITY,  # [J m-2 K-1]
    RESISTANCE_DAY,
    RESISTANCE_NIGHT,
    LEAF_TABLE,  # number of its exchange table
    FILM_FULL,  # [kg m-2]
    HEAT_LIMIT,  # [W m-2]
    HEAT_COUPLING,  # water to soil beside the pipe, at once [W m-2 K-1], 0: power alone
    HEAT_CROWDING,  # what heat crowded round the pipes adds to the resistance in the end [m2 K W-1]
    HEAT_SPREADING,  # how fast it does [s-1]
    HEAT_BAND,  # hysteresis [K]; 0: exact duty
    HEAT_RAMP,  # of the set point [K s-1]
    HEAT_LAG,  # [s]
    BELOW_OPEN,  # conductance to what is below [W m-2 K-1]
    BELOW_CLOSED,  # the same with the skirts closed
    BELOW_LEAK,  # exchange of an air space below with outside [W m-2 K-1]; 0: ground
    SKIRTS_LEAVE,  # share of it that closed skirts leave
    BELOW_FLOW,  # of warm air always blown below [W m-2 K-1]
    BELOW_WARM,  # its temperature
    SIDED,  # 1: has an open side
    WIND_HEIGHT,
    TEMPERATURE_HEIGHT,
    # forcing of the step
    AIR,
    HUMIDITY,
    WIND,
    DENSITY,
    PRESSURE,
    RAIN,
    SNOWFALL,
    SUN,
    LONGWAVE,
    BELOW,  # temperature of what is below
    # plan of the step
    COVERED,  # 0 none, else 1 + number of the cover wanted
    WARM_FLOW,  # [W m-2 K-1]
    WARM_AIR,
    HEATING_ALLOWED,
    SET_POINT,
    SUPPLY,
    SKIRTS,  # 1: closed
    SNOW_REMOVED,
    BELOW_CONDUCTANCE,
    # the cover lying
    COVER_LYING,  # as COVERED
    COVER_CONDUCTANCE,
    GAP_UP,
    GAP_DOWN,
    COVER_SUN,
    COVER_LONGWAVE,
    COVER_EMISSIVITY,
    COVER_ALBEDO,
    COVER_CAPACITY,
    COVER_RAIN,
    COVER_SHEETS,  # 1 or 2, one over the other
    BETWEEN_UP,  # convection between two sheets, heat going up [W m-2 K-1]
    BETWEEN_DOWN,
    FLAPPING_UP,  # GAP_UP and GAP_DOWN while the sheet flaps
    FLAPPING_DOWN,
    FLAPS_FROM,  # wind from which it begins to flap [m s-1]
    COVER_EDGE,  # outside air below it per wind [m s-1 per m s-1]
    COVER_PORES,  # and through it per square of the wind [m s-1 per m2 s-2]
    COVER_PASSES,  # conductance of vapour through it at rest [m s-1]
    COVER_WASTES,  # share of blown air that gets away unused
    # state
    LEAF_ENTHALPY,
    LEAF_FILM,
    LEAF_FROST,
    SNOW,  # [kg m-2]
    SNOW_DEPTH,
    SNOW_ALBEDO,
    NODE_ENTHALPY,  # of the snow layer, its skin apart
    SKIN_ENTHALPY,
    OUTER_ENTHALPY,
    INNER_ENTHALPY,
    COVER_FILM,
    COVER_FROST,
    UNDER_FILM,  # water on the underside of the cover
    HEAT,
    HEAT_ON,
    HEAT_WAIT,
    HEAT_CROWDED,  # soil beside the pipes above the mean at their depth [K]
    SET_POINT_NOW,
    # temperatures and enthalpies at the start of the step
    LEAF,
    NODE,
    SKIN,
    INNER,
    OUTER,
    LEAF_OLD,
    NODE_OLD,
    SKIN_OLD,
    INNER_OLD,
    OUTER_OLD,
    # curves: slopes and freezing stretch
    LEAF_UNFROZEN,
    LEAF_FREEZING,
    LEAF_FROZEN,
    LEAF_STRETCH,
    OUTER_UNFROZEN,
    OUTER_FREEZING,
    OUTER_FROZEN,
    OUTER_STRETCH,
    NODE_UNFROZEN,
    NODE_FREEZING,
    NODE_FROZEN,
    NODE_STRETCH,
    # links of the step
    SNOWY,  # 1: a snow layer lies
    LINK_LEAF,  # canopy to the node above it
    LINK_SKIN,  # snow node to skin
    LINK_GAP,  # surface under the cover to its inner face
    LINK_SHEET,
    PAST_SHEET,  # share of a gain on the inner side of one of two sheets that goes through it
    LINK_WARM,  # each face of the gap to the air that comes into it
    VENT,  # that air, blown or outside [W m-2 K-1]
    VENT_AIR,  # its temperature
    VENT_SPEED,  # air and pores, as a conductance of vapour [m s-1]
    GAP_FACE,  # vapour between a face of the gap and its air [m s-1]
    BELOW_WET,  # wet share of what lies below, its water, resistance of the dry share
    BELOW_WATER,
    BELOW_RESISTANCE,
    UNDERSIDE,  # wet share of the cover's underside
    INNER_SUN,  # absorbed by the lower of two sheets [W m-2]
    INNER_EMISSIVITY,  # share of the sky's longwave that it takes up
    THROUGH,  # longwave from the upper of two sheets through the lower one [W m-2]
    WET,  # share of the top that is wet
    WATER,  # water and ice on the top that may leave it [kg m-2]
    DRY_RESISTANCE,
    TOP_SUN,  # absorbed [W m-2]
    TOP_EMISSIVITY,
    TOP_TABLE,
    TOP_WIND,
    RICHARDSON,  # of one kelvin that the air is warmer than the top
    STILL,  # conductance in a calm [m s-1]
    TABLE_START,  # place of its exchange table among all
    TABLE_LOW,  # ends of it
    TABLE_HIGH,
    # elimination
    LEAF_INVERSE,
    LEAF_SHARE,
    LEAF_CHANGE,
    NODE_INVERSE,
    NODE_SHARE,
    NODE_CHANGE,
    SKIN_INVERSE,
    SKIN_SHARE,
    SKIN_CHANGE,
    INNER_INVERSE,
    INNER_SHARE,
    INNER_CHANGE,
    ADMITTANCE,
    DOWNWARD,
    TOP_ENTHALPY,
    TOP_OLD,
    TOP_UNFROZEN,
    TOP_FREEZING,
    TOP_FROZEN,
    TOP_STRETCH,
    TOP_START,
    TOP,
    TOP_LINEAR,
    TOP_SLOPE,
    ITERATING,
    STIFFNESS,  # what the balance of the top loses per kelvin [W m-2 K-1]
    RADIATION_SLOPE,
    SENSIBLE_SLOPE,
    LATENT_SLOPE,
    VAPOUR_WET_SLOPE,
    SOIL_ADMITTANCE,
    SOIL_DOWNWARD,
    UNDER_GAIN,  # of the surface under a cover [W m-2]
    UNDER_LOSS,  # and its loss per kelvin
    UNDER_VAPOUR,  # off its film [kg m-2 s-1], and its rise per kelvin
    UNDER_VAPOUR_SLOPE,
    INNER_GAIN,  # the same of the cover's inner face
    INNER_LOSS,
    INNER_DEW,  # [kg m-2 s-1] onto it, and its fall per kelvin
    INNER_DEW_SLOPE,
    # increments of the pass [K], and their answer to one more W m-2 of heating
    LEAF_STEP,
    NODE_STEP,
    SKIN_STEP,
    INNER_STEP,
    LEAF_REPLY,
    NODE_REPLY,
    SKIN_REPLY,
    INNER_REPLY,
    OUTER_REPLY,
    SOIL_REPLY,  # of the flow into the leaf from below, nothing changing above the soil
    HEAT_ENTHALPY,  # of the top [J m-2 per W m-2]
    COUPLING_NOW,  # HEAT_COUPLING with what the crowding of this step adds
    SUPPLY_NOW,  # SUPPLY less what is crowded already
    # results of the step
    NET_RADIATION,
    SENSIBLE,
    LATENT,
    VAPOUR_WET,
    GROUND,  # into the soil
    UNDER,  # net gain of what lies under a cover, inner face included, by sun, sky, vapour and air [W m-2]
    FILM_VAPOUR,  # off the film of what lies under a cover [kg m-2 s-1]
    DEW,  # onto the underside of a cover [kg m-2 s-1]
    BELOW_SUN,  # absorbed under a cover [W m-2]
    BELOW_EMISSIVITY,  # of what lies there, times what the cover lets through
    ADVECTED,  # enthalpy that came and went with water, snow and covers [J m-2]
    VARIABLES,
) = range(199)

GIVEN = AIR  # rows before this are given and stay
FORCED = COVERED - AIR  # rows from AIR on are the forcing of the step
PLANNED = BELOW_CONDUCTANCE - COVERED  # rows from COVERED on are the plan of the step
KEPT = LEAF - COVER_LYING  # rows from COVER_LYING on are the state between steps
