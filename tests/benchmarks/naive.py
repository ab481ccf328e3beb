"""The column as one would first write it: a plain loop over columns and steps, one `solve_banded` per Newton pass.

Same formulas, same scheme as the kernel, to the last pass; agrees with it to 1e-8 K. Leaf, film, frost, freezing soil,
a cover and a thermostat; no rain or snow (the benchmark's spell is dry).
"""

from typing import Any

import numpy as np
from scipy.linalg import solve_banded

from microclimate.column import ground, rows, store, top
from microclimate.column import lanes as la
from microclimate.column.heat import FADED
from microclimate.column.step import HEAT_TOLERANCE, PASSES, TOLERANCE
from microclimate.column.surface import balance
from microclimate.constants import HEAT_CAPACITY_AIR, HEAT_CAPACITY_WATER, ZERO_CELSIUS
from microclimate.physics import canopy, ladder, turbulence
from tests.benchmarks import covered as covered_by


class Column:
    """One column: plain numbers and arrays over its layers."""

    def __init__(
        self, given: Any, layers: Any, state: Any, enthalpy: Any, tables: Any, covers: Any, told: tuple[int, float]
    ) -> None:
        self.told = told  # row and share at 25 mm
        self.given, self.tables, self.covers = [float(x) for x in given], tables, covers
        self.layers = [np.ascontiguousarray(layers[:, i]) for i in range(layers.shape[1])]
        self.enthalpy = enthalpy.copy()
        self.slopes, self.capacities = self.layers[:3], self.layers[3:6]
        self.stretch = self.layers[la.FREEZING]
        self.temperature = ground.layer_temperature(self.enthalpy, *self.slopes, self.stretch)
        first = rows.COVER_LYING
        self.leaf_enthalpy = float(state[rows.LEAF_ENTHALPY - first])
        self.film, self.frost = float(state[rows.LEAF_FILM - first]), float(state[rows.LEAF_FROST - first])
        self.lying, self.cover_film, self.cover_frost, self.under_film = 0, 0.0, 0.0, 0.0
        self.outer_enthalpy, self.inner_enthalpy, self.heat, self.target, self.crowded = 0.0, 0.0, 0.0, 0.0, 0.0
        self.ran = False
        self.leaf = 0.0
        self.worst, self.coldest, self.energy = 0.0, np.inf, 0.0

    def step(self, forcing: Any, plan: Any, step: float, thresholds: Any) -> None:
        """One step; `forcing` and `plan` as rows of the kernel."""
        g, rate, count = self.given, 1.0 / step, self.enthalpy.size
        air, humidity, wind, density, pressure, _, _, sun, longwave, below = (float(x) for x in forcing)
        covered = int(plan[0])
        if covered != self.lying:
            self._lay(covered, air)
        allowed = plan[rows.HEATING_ALLOWED - rows.COVERED] > 0.0 and g[rows.HEAT_LIMIT] > 0.0
        # leaf and cover at the start
        leaf_curve = store.film_curve(g[rows.LEAF_CAPACITY], self.film + self.frost)
        leaf_old = self.leaf_enthalpy
        leaf = float(ground.layer_temperature(leaf_old, *leaf_curve))
        albedo, emissivity, film = g[rows.ALBEDO], g[rows.EMISSIVITY], self.film + self.frost
        resistance = canopy.surface_resistance(sun, g[rows.RESISTANCE_DAY], g[rows.RESISTANCE_NIGHT])
        resistance = top.FROZEN_LEAF if leaf < 0.0 else float(resistance)
        wet = float(canopy.fast_wet_share(film, g[rows.FILM_FULL]))
        absorbed, table = (1.0 - albedo) * sun, self.tables[int(g[rows.LEAF_TABLE])]
        if covered:
            sheet = self.covers[covered - 1]
            outer_curve = store.film_curve(sheet[7], self.cover_film + self.cover_frost)
            outer_old, inner_old = self.outer_enthalpy, self.inner_enthalpy
            outer = float(ground.layer_temperature(outer_old, *outer_curve))
            inner = inner_old / sheet[7]
            sky = air, humidity, wind, density, pressure, sun, longwave
            past = canopy.surface_resistance(sun * sheet[3], g[rows.RESISTANCE_DAY], g[rows.RESISTANCE_NIGHT])
            below_it = leaf, albedo, emissivity, wet, film, resistance if leaf < 0.0 else float(past)
            film = self.cover_film + self.cover_frost
            ice = film * float(ground.frozen_share(outer_old, outer_curve[3]))
            films = film, ice, self.under_film
            lies = covered_by.lie(sheet, sky, below_it, inner, outer, films)
            absorbed, emissivity, gap, across = lies.outer_sun, lies.emissivities[2], lies.gap, lies.sheets
            wet, resistance = float(lies.top), top.NEVER
            table = self.tables[int(top.SHEET_TABLE)]
        wind = max(wind, top.CALM)
        still = g[rows.FLOOR] / (density * HEAT_CAPACITY_AIR)
        richardson = turbulence.bulk_richardson(
            air + ZERO_CELSIUS, air + (ZERO_CELSIUS - 1.0), wind, g[rows.WIND_HEIGHT], g[rows.TEMPERATURE_HEIGHT]
        )
        # layers: conductances at the start
        old, before = self.enthalpy.copy(), self.temperature
        around = np.concatenate(([leaf], before, [below]))
        frozen = np.clip(-old * self.layers[la.PER_FREEZING], 0.0, 1.0)
        up, down = ground.halves(
            frozen,
            self.layers[la.RESISTANCE_UNFROZEN],
            self.layers[la.RESISTANCE_FROZEN],
            around[:-2],
            before,
            around[2:],
        )
        between = np.empty(count + 1)
        between[0] = 1.0 / (up[0] + 1.0 / g[rows.LEAF_BED])
        between[1:-1] = 1.0 / (up[1:] + down[:-1])
        between[-1] = 1.0 / (1.0 / g[rows.BELOW_OPEN] + down[-1])
        target = self._target(plan, step, allowed)
        enthalpy, temperature = self.enthalpy, self.temperature
        heated = self.layers[la.HEATED]
        for _ in range(PASSES):
            # unknowns below the top: [inner, leaf,] layers
            capacity = ground.on_stretch(enthalpy, *self.capacities, self.stretch)
            own = capacity * rate + between[:-1] + between[1:]
            around = np.concatenate(([leaf], temperature, [below]))
            flows = between * (around[:-1] - around[1:])
            right = (old - enthalpy) * rate + flows[:-1] - flows[1:] + heated * self.heat
            size, shift = count + (2 if covered else 0), 2 if covered else 0
            bands, sides = np.zeros((3, size)), np.zeros((size, 3))
            bands[1, shift:], sides[shift:, 0], sides[shift:, 2] = own, right, heated
            bands[0, shift + 1 :] = bands[2, shift : size - 1] = -between[1:-1]
            if covered:
                slope = ground.on_stretch(self.leaf_enthalpy, *leaf_curve)
                of_leaf, of_inner = covered_by.under(lies, sky, leaf, inner, outer, rate)
                bands[1, 0] = rate * sheet[7] + gap + across + of_inner[1]
                bands[1, 1] = rate / slope + of_leaf[1] + gap + between[0]
                bands[0, 1] = bands[2, 0] = -gap
                bands[0, 2] = bands[2, 1] = -between[0]
                rise = across * (outer - inner) + of_inner[0]
                sides[0, 0] = (inner_old - self.inner_enthalpy) * rate + rise - gap * (inner - leaf)
                sides[1, 0] = (leaf_old - self.leaf_enthalpy) * rate + of_leaf[0] + gap * (inner - leaf) - flows[0]
                sides[0, 1] = across
                link, first, start, curve = across, inner, outer, outer_curve
                top_enthalpy, top_old = self.outer_enthalpy, outer_old
            else:
                sides[0, 1] = between[0]
                link, first, start, curve = between[0], temperature[0], leaf, leaf_curve
                top_enthalpy, top_old = self.leaf_enthalpy, leaf_old
            solved = solve_banded((1, 1), bands, sides, overwrite_ab=True, overwrite_b=True, check_finite=False)
            admittance, downward = link * (1.0 - solved[0, 1]), link * (start - first - solved[0, 0])
            now, linear, before = start, start, 0.0
            for _ in range(top.TOP_PASSES):
                coefficient, slope_ri = turbulence.fast_transfer(richardson * (air - now), table)
                exchange = wind * coefficient + turbulence.fast_free_convection_conductance(now - air) + still
                dry, moist = balance(
                    now,
                    air,
                    humidity,
                    pressure,
                    density,
                    exchange,
                    -wind * slope_ri * richardson,
                    absorbed,
                    longwave,
                    emissivity,
                    wet,
                    film,
                    resistance,
                    rate,
                )
                over = dry[0] - dry[2] - moist[0] - downward - admittance * (now - start)
                over -= (top_enthalpy - top_old) * rate
                stiffness = dry[3] + moist[1] - dry[1] + admittance
                whole, slope = top.next_enthalpy(over, top_enthalpy, now, stiffness, *curve, rate)
                linear = float(ground.layer_temperature(whole, *curve))
                moved = linear - now
                off = moist[2] + moist[3] * moved
                residue = abs(moved)
                if over * before < 0.0 and residue > top.LAST_STEP:
                    whole = 0.5 * (whole + top_enthalpy)
                before, top_enthalpy = over, whole
                now = float(ground.layer_temperature(whole, *curve))
                if residue <= top.LAST_STEP:
                    break
            moved_top, change, warmed = linear - start, 0.0, 0.0
            increments = solved[:, 0] + solved[:, 1] * moved_top
            if allowed:
                push = link * solved[0, 2]
                reply = push / (rate + stiffness * slope)
                answer = solved[:, 2] + solved[:, 1] * slope * reply
                change = self._decide(plan, target, step, temperature, increments[shift:], answer[shift:])
                increments = increments + change * answer
                top_enthalpy += change * reply
                linear += change * slope * reply
                off += change * slope * reply * moist[3]
                now = float(ground.layer_temperature(top_enthalpy, *curve))
                self.heat += change
                warmed = abs(change * slope * reply)
            misfit = 1.0 if residue > top.LAST_STEP else abs(now - linear)
            line = temperature + increments[shift:]
            enthalpy = enthalpy + capacity * increments[shift:]
            temperature = ground.layer_temperature(enthalpy, *self.slopes, self.stretch)
            misfit = max(misfit, float(abs(temperature - line).max()))
            if covered:
                self.inner_enthalpy += sheet[7] * increments[0]
                inner += increments[0]
                dew, leaf_off = of_inner[2] - of_inner[3] * increments[0], of_leaf[2] + of_leaf[3] * increments[1]
                leaf_line = leaf + increments[1]
                self.leaf_enthalpy += increments[1] / ground.on_stretch(self.leaf_enthalpy, *leaf_curve)
                leaf = float(ground.layer_temperature(self.leaf_enthalpy, *leaf_curve))
                misfit = max(misfit, abs(leaf - leaf_line))
                self.outer_enthalpy, outer = top_enthalpy, now
            else:
                self.leaf_enthalpy, leaf = top_enthalpy, now
            if misfit <= TOLERANCE and warmed <= HEAT_TOLERANCE:
                break
        self.enthalpy, self.temperature, self.leaf = enthalpy, temperature, leaf
        left = float(leaf_off if covered else off) * step
        self.leaf_enthalpy, self.film, self.frost, _ = store.settle_film(
            self.leaf_enthalpy, g[rows.LEAF_CAPACITY], self.film, self.frost, left, g[rows.FILM_FULL]
        )
        if covered:
            self.outer_enthalpy, self.cover_film, self.cover_frost, _ = store.settle_film(
                self.outer_enthalpy, sheet[7], self.cover_film, self.cover_frost, float(off) * step, store.COVER_FILM
            )
            after = self.cover_film + self.cover_frost
            through, drops, self.under_film = covered_by.drips(
                sheet, films, after, float(off) * step, float(dew) * step
            )
            self.film += through + drops
            self.leaf_enthalpy += HEAT_CAPACITY_WATER * (through * max(outer, 0.0) + drops * max(inner, 0.0))
        share = step * g[rows.HEAT_SPREADING]
        crowded = (self.crowded + share * g[rows.HEAT_CROWDING] * self.heat) / (1.0 + share)
        self.crowded = crowded if crowded > FADED else 0.0
        self._account(leaf_curve, step, thresholds)

    def _lay(self, covered: int, air: float) -> None:
        """A cover comes with the temperature of the air, or goes."""
        self.lying, self.cover_film, self.cover_frost, self.under_film = covered, 0.0, 0.0, 0.0
        self.inner_enthalpy = self.outer_enthalpy = 0.0
        if covered:
            capacity = self.covers[covered - 1][7]
            self.inner_enthalpy = capacity * air
            self.outer_enthalpy = float(store.film_enthalpy(air, capacity, 0.0))

    def _between(self, values: Any, weights: int) -> float:
        return float(self.layers[weights] @ values)

    def _target(self, plan: Any, step: float, allowed: bool) -> float:
        """The set point that holds now."""
        probe = self._between(self.temperature, la.PROBED)
        before, self.ran = self.target if self.ran else probe, allowed
        if not allowed:
            self.heat = 0.0
            return probe
        risen = before + self.given[rows.HEAT_RAMP] * step
        self.target = min(float(plan[rows.SET_POINT - rows.COVERED]), max(risen, probe))
        return self.target

    def _decide(self, plan: Any, target: float, step: float, temperature: Any, increments: Any, answer: Any) -> float:
        """Change of the heating in this pass."""
        coupling, most = self.given[rows.HEAT_COUPLING], self.given[rows.HEAT_LIMIT]
        after = temperature + increments
        if coupling > 0.0:
            pipe, reply = self._between(after, la.HEATED), self._between(answer, la.HEATED)
            pace = 1.0 / (1.0 + step * self.given[rows.HEAT_SPREADING])
            coupling = coupling / (1.0 + coupling * self.given[rows.HEAT_CROWDING] * (1.0 - pace))
            supply = float(plan[rows.SUPPLY - rows.COVERED]) - pace * self.crowded
            drawn = coupling * (supply - pipe + self.heat * reply) / (1.0 + coupling * reply)
            most = max(min(most, drawn), 0.0)
        lack = target - self._between(after, la.PROBED)
        wanted = self.heat + lack / max(self._between(answer, la.PROBED), 1e-9)
        return max(min(wanted, most), 0.0) - self.heat

    def _account(self, leaf_curve: Any, step: float, thresholds: Any) -> None:
        """Worst state, lowest canopy, heat."""
        ice = np.clip(-self.enthalpy / self.stretch, 0.0, 1.0)
        leaf_ice = float(ground.frozen_share(self.leaf_enthalpy, leaf_curve[3]))
        studs, search = self.layers[la.IN_STUDS] > 0.0, self.layers[la.IN_SEARCH] > 0.0
        row, share = self.told
        soil = float(self.temperature[row] + share * (self.temperature[row + 1] - self.temperature[row]))
        state = ladder.surface_state(
            0.0,
            leaf_ice * (self.film + self.frost) - self.frost,
            self.frost,
            self.leaf + ZERO_CELSIUS,
            float(self.layers[la.IN_TOP] @ ice),
            float(ice[studs].min(initial=1.0)),
            float(ice[search].max(initial=0.0)),
            min(self.leaf, soil) + ZERO_CELSIUS,
            thresholds,
        )
        self.worst = max(self.worst, float(state))
        self.coldest = min(self.coldest, self.leaf)
        self.energy += self.heat * step
