"""The column with NumPy across columns and a loop over layers: the fastest one gets without compiling.

Same formulas, same scheme, same masks as the kernel; dry spells only, as `naive`.
"""

from typing import Any

import numpy as np

from microclimate.column import ground, rows, store, top
from microclimate.column import lanes as la
from microclimate.column.heat import FADED
from microclimate.column.step import HEAT_TOLERANCE, PASSES, TOLERANCE
from microclimate.column.surface import balance
from microclimate.constants import HEAT_CAPACITY_AIR, HEAT_CAPACITY_WATER, ZERO_CELSIUS
from microclimate.physics import canopy, ladder, turbulence
from tests.benchmarks import covered as covered_by


class Columns:
    """All columns at once: arrays (column) and (layer, column)."""

    def __init__(self, given: Any, layers: Any, state: Any, enthalpy: Any, tables: Any, covers: Any) -> None:
        self.given, self.tables, self.covers = np.ascontiguousarray(given.T), tables, covers
        self.layers = np.ascontiguousarray(layers.transpose(2, 1, 0))  # (variable, layer, column)
        self.enthalpy = np.ascontiguousarray(enthalpy.T)
        self.slopes, self.capacities = self.layers[:3], self.layers[3:6]
        self.stretch = self.layers[la.FREEZING]
        self.temperature = ground.layer_temperature(self.enthalpy, *self.slopes, self.stretch)
        first, zero = rows.COVER_LYING, np.zeros(given.shape[0])
        self.leaf_enthalpy = state[:, rows.LEAF_ENTHALPY - first].copy()
        self.film, self.frost = state[:, rows.LEAF_FILM - first].copy(), state[:, rows.LEAF_FROST - first].copy()
        self.cover_film, self.cover_frost, self.under_film = zero.copy(), zero.copy(), zero.copy()
        self.outer_enthalpy, self.inner_enthalpy, self.heat, self.crowded = zero.copy(), zero.copy(), zero.copy(), zero
        self.lying, self.target = zero.copy(), zero - 99.0
        self.leaf, self.worst, self.coldest, self.energy = zero, zero.copy(), zero + np.inf, zero.copy()
        number = np.arange(given.shape[0])
        self.probe, self.pipe = self._place(la.PROBED, number), self._place(la.HEATED, number)
        self.ran = number < 0

    def _place(self, weights: int, number: Any) -> Any:
        above = (self.layers[weights] > 0.0).argmax(axis=0)
        return above, number, self.layers[weights][above + 1, number]

    @staticmethod
    def _between(values: Any, place: Any) -> Any:
        above, number, share = place
        first = values[above, number]
        return first + share * (values[above + 1, number] - first)

    def step(self, forcing: Any, plan: Any, step: float, thresholds: Any, told: Any) -> None:
        """One step; `forcing` (row, column), `plan` (row, column), `told` rows and shares at 25 mm."""
        g, rate, count = self.given, 1.0 / step, self.enthalpy.shape[0]
        air, humidity, wind, density, pressure, _, _, sun, longwave, below = forcing
        self._lay(plan[0], air)
        covered, some = self.lying > 0.0, bool((self.lying > 0.0).any())
        allowed = (plan[rows.HEATING_ALLOWED - rows.COVERED] > 0.0) & (g[rows.HEAT_LIMIT] > 0.0)
        heating = bool(allowed.any())
        leaf_curve = store.film_curve(g[rows.LEAF_CAPACITY], self.film + self.frost)
        leaf_old = self.leaf_enthalpy
        leaf = ground.layer_temperature(leaf_old, *leaf_curve)
        albedo, emissivity, film = g[rows.ALBEDO], g[rows.EMISSIVITY], self.film + self.frost
        resistance = canopy.surface_resistance(sun, g[rows.RESISTANCE_DAY], g[rows.RESISTANCE_NIGHT])
        resistance = np.where(leaf < 0.0, top.FROZEN_LEAF, resistance)
        wet = canopy.fast_wet_share(film, g[rows.FILM_FULL])
        absorbed, table = (1.0 - albedo) * sun, g[rows.LEAF_TABLE].astype(int)
        if some:
            sheet = self.covers[np.maximum(self.lying.astype(int) - 1, 0)].T
            capacity_face = np.maximum(sheet[7], 1.0)
            outer_curve = store.film_curve(capacity_face, self.cover_film + self.cover_frost)
            outer_old, inner_old = self.outer_enthalpy, self.inner_enthalpy
            outer = ground.layer_temperature(outer_old, *outer_curve)
            inner = inner_old / capacity_face
            sky = air, humidity, wind, density, pressure, sun, longwave
            past = canopy.surface_resistance(sun * sheet[3], g[rows.RESISTANCE_DAY], g[rows.RESISTANCE_NIGHT])
            past = np.where(leaf < 0.0, top.FROZEN_LEAF, past)
            on_top = self.cover_film + self.cover_frost
            films = on_top, on_top * ground.frozen_share(outer_old, outer_curve[3]), self.under_film
            lies = covered_by.lie(sheet, sky, (leaf, albedo, emissivity, wet, film, past), inner, outer, films)
            gap, across = lies.gap, lies.sheets
            absorbed = np.where(covered, lies.outer_sun, absorbed)
            emissivity = np.where(covered, lies.emissivities[2], emissivity)
            film = np.where(covered, on_top, film)
            wet = np.where(covered, lies.top, wet)
            resistance = np.where(covered, top.NEVER, resistance)
            table = np.where(covered, int(top.SHEET_TABLE), table)
        wind = np.maximum(wind, top.CALM)
        still = g[rows.FLOOR] / (density * HEAT_CAPACITY_AIR)
        richardson = turbulence.bulk_richardson(
            air + ZERO_CELSIUS, air + (ZERO_CELSIUS - 1.0), wind, g[rows.WIND_HEIGHT], g[rows.TEMPERATURE_HEIGHT]
        )
        low, high = self.tables[table, 0], self.tables[table, 1]
        last = self.tables.shape[1] - 2
        old, before = self.enthalpy.copy(), self.temperature
        around = np.concatenate((leaf[None], before, below[None]))
        frozen = np.clip(-old * self.layers[la.PER_FREEZING], 0.0, 1.0)
        up, down = ground.halves(
            frozen,
            self.layers[la.RESISTANCE_UNFROZEN],
            self.layers[la.RESISTANCE_FROZEN],
            around[:-2],
            before,
            around[2:],
        )
        between = np.empty((count + 1, leaf.size))
        between[0] = 1.0 / (up[0] + 1.0 / g[rows.LEAF_BED])
        between[1:-1] = 1.0 / (up[1:] + down[:-1])
        between[-1] = 1.0 / (1.0 / g[rows.BELOW_OPEN] + down[-1])
        target = self._target(plan, step, allowed)
        enthalpy, temperature = self.enthalpy, self.temperature
        heated = self.layers[la.HEATED]
        share, alone, inverse = np.empty_like(enthalpy), np.empty_like(enthalpy), np.empty_like(enthalpy)
        going = np.ones(leaf.size, dtype=bool)
        off, dew, leaf_off = np.zeros(leaf.size), np.zeros(leaf.size), np.zeros(leaf.size)
        for _ in range(PASSES):
            capacity = ground.on_stretch(enthalpy, *self.capacities, self.stretch)
            around = np.concatenate((leaf[None], temperature, below[None]))
            flows = between * (around[:-1] - around[1:])
            right = (old - enthalpy) * rate + flows[:-1] - flows[1:] + heated * self.heat
            admit, lower = between[-1], np.zeros(leaf.size)
            for row in range(count - 1, -1, -1):
                own = capacity[row] * rate + admit
                inverse[row] = 1.0 / (own + between[row])
                share[row] = between[row] * inverse[row]
                alone[row] = (right[row] + between[row + 1] * lower) * inverse[row]
                admit, lower = own * share[row], alone[row]
            downward = flows[0] - between[0] * alone[0]
            start, curve, top_enthalpy, top_old = leaf, leaf_curve, self.leaf_enthalpy, leaf_old
            admittance = admit
            if some:
                slope = ground.on_stretch(self.leaf_enthalpy, *leaf_curve)
                of_leaf, of_inner = covered_by.under(lies, sky, leaf, inner, outer, rate)
                own = rate / slope + admit + of_leaf[1]
                rest = (leaf_old - self.leaf_enthalpy) * rate - downward + of_leaf[0]
                leaf_inverse = 1.0 / (own + gap)
                leaf_share, leaf_alone = gap * leaf_inverse, (rest + gap * (inner - leaf)) * leaf_inverse
                own_inner = rate * capacity_face + own * leaf_share + of_inner[1]
                rest = (inner_old - self.inner_enthalpy) * rate - gap * (inner - leaf - leaf_alone) + of_inner[0]
                inner_inverse = 1.0 / (own_inner + across)
                inner_share = across * inner_inverse
                inner_alone = (rest + across * (outer - inner)) * inner_inverse
                admittance = np.where(covered, own_inner * inner_share, admit)
                downward_top = np.where(covered, across * (outer - inner - inner_alone), downward)
                start = np.where(covered, outer, leaf)
                curve = tuple(np.where(covered, a, b) for a, b in zip(outer_curve, leaf_curve, strict=True))
                top_enthalpy = np.where(covered, self.outer_enthalpy, self.leaf_enthalpy)
                top_old = np.where(covered, outer_old, leaf_old)
            else:
                downward_top = downward
            now, linear, last_over = start, start, np.zeros(leaf.size)
            iterating = going.copy()
            found = [np.zeros(leaf.size)] * 4
            for _ in range(top.TOP_PASSES):
                place, quickness = turbulence.transfer_place(richardson * (air - now), low, high)
                left = np.minimum(place.astype(int), last)
                first = self.tables[table, left]
                rise = self.tables[table, left + 1] - first
                exchange = wind * (first + (place - left) * rise)
                exchange = exchange + turbulence.fast_free_convection_conductance(now - air) + still
                dry, moist = balance(
                    now,
                    air,
                    humidity,
                    pressure,
                    density,
                    exchange,
                    -wind * rise * quickness * richardson,
                    absorbed,
                    longwave,
                    emissivity,
                    wet,
                    film,
                    resistance,
                    rate,
                )
                over = dry[0] - dry[2] - moist[0] - downward_top - admittance * (now - start)
                over = over - (top_enthalpy - top_old) * rate
                stiffness = dry[3] + moist[1] - dry[1] + admittance
                whole, slope = top.next_enthalpy(over, top_enthalpy, now, stiffness, *curve, rate)
                reached = ground.layer_temperature(whole, *curve)
                moved = reached - now
                damped = (over * last_over < 0.0) & (abs(moved) > top.LAST_STEP)
                last_over = over
                linear = np.where(iterating, reached, linear)
                latest = [moist[2] + moist[3] * moved, moist[3], stiffness, slope]
                found = [np.where(iterating, a, b) for a, b in zip(latest, found, strict=True)]
                whole = np.where(damped, 0.5 * (whole + top_enthalpy), whole)
                top_enthalpy = np.where(iterating, whole, top_enthalpy)
                now = np.where(iterating, ground.layer_temperature(whole, *curve), now)
                iterating = iterating & (abs(moved) > top.LAST_STEP)
                if not iterating.any():
                    break
            step_top, change = linear - start, np.zeros(leaf.size)
            warmed = change
            step_leaf = step_top
            if some:
                step_inner = inner_alone + inner_share * step_top
                step_leaf = np.where(covered, leaf_alone + leaf_share * step_inner, step_top)
            if heating:
                reply = np.empty_like(alone)
                reply[-1] = heated[-1] * inverse[-1]
                for row in range(count - 2, -1, -1):
                    reply[row] = (heated[row] + between[row + 1] * reply[row + 1]) * inverse[row]
                push = between[0] * reply[0]
                pushed = np.where(covered, push * leaf_share * inner_share, push) if some else push
                into = pushed / (rate + found[2] * found[3])
                answer_top = found[3] * into
                answer_leaf = answer_top
                if some:
                    answer_inner = push * leaf_share * inner_inverse + inner_share * answer_top
                    answer_leaf = np.where(covered, push * leaf_inverse + leaf_share * answer_inner, answer_top)
                increments, answers = np.empty_like(alone), np.empty_like(alone)
                above, echo = step_leaf, answer_leaf
                for row in range(count):
                    increments[row] = above = alone[row] + share[row] * above
                    answers[row] = echo = reply[row] + share[row] * echo
                change = self._decide(plan, target, step, temperature + increments, answers)
                change = np.where(allowed & going, change, 0.0)
                alone = alone + change * reply
                step_leaf = step_leaf + change * answer_leaf
                top_enthalpy = top_enthalpy + change * into
                linear = linear + change * answer_top
                found[0] = found[0] + change * answer_top * found[1]
                now = np.where(change != 0.0, ground.layer_temperature(top_enthalpy, *curve), now)
                if some:
                    step_inner = step_inner + change * answer_inner
                self.heat = self.heat + change
                warmed = abs(change * answer_top)
            misfit = np.where(going, np.where(iterating, 1.0, abs(now - linear)), 0.0)
            off = np.where(going, found[0], off)
            increments, above = np.empty_like(alone), step_leaf
            for row in range(count):
                increments[row] = above = alone[row] + share[row] * above
            increments = np.where(going, increments, 0.0)
            line = temperature + increments
            enthalpy = enthalpy + capacity * increments
            temperature = ground.layer_temperature(enthalpy, *self.slopes, self.stretch)
            misfit = np.maximum(misfit, abs(temperature - line).max(axis=0))
            bare = going & ~covered
            if some:
                under = going & covered
                self.inner_enthalpy = self.inner_enthalpy + np.where(under, capacity_face * step_inner, 0.0)
                inner = inner + np.where(under, step_inner, 0.0)
                dew = np.where(under, of_inner[2] - of_inner[3] * step_inner, dew)
                leaf_off = np.where(under, of_leaf[2] + of_leaf[3] * step_leaf, leaf_off)
                slope = ground.on_stretch(self.leaf_enthalpy, *leaf_curve)
                moved_leaf = np.where(under, step_leaf, 0.0)
                inside = self.leaf_enthalpy + moved_leaf / slope
                leaf_now = ground.layer_temperature(inside, *leaf_curve)
                misfit = np.where(under, np.maximum(misfit, abs(leaf_now - leaf - moved_leaf)), misfit)
                self.leaf_enthalpy = np.where(bare, top_enthalpy, inside)
                leaf = np.where(bare, now, leaf_now)
                self.outer_enthalpy = np.where(under, top_enthalpy, self.outer_enthalpy)
                outer = np.where(under, now, outer)
            else:
                self.leaf_enthalpy = np.where(bare, top_enthalpy, self.leaf_enthalpy)
                leaf = np.where(bare, now, leaf)
            going = going & ((misfit > TOLERANCE) | (warmed > HEAT_TOLERANCE))
            if not going.any():
                break
        self.enthalpy, self.temperature, self.leaf = enthalpy, temperature, leaf
        left_leaf = np.where(covered, leaf_off, off) * step
        self.leaf_enthalpy, self.film, self.frost, _ = store.settle_film(
            self.leaf_enthalpy, g[rows.LEAF_CAPACITY], self.film, self.frost, left_leaf, g[rows.FILM_FULL]
        )
        if some:
            settled = store.settle_film(
                self.outer_enthalpy, capacity_face, self.cover_film, self.cover_frost, off * step, store.COVER_FILM
            )
            self.outer_enthalpy = np.where(covered, settled[0], 0.0)
            self.cover_film, self.cover_frost = np.where(covered, settled[1], 0.0), np.where(covered, settled[2], 0.0)
            told_now = covered_by.drips(sheet, films, settled[1] + settled[2], off * step, dew * step)
            through, drops, hangs = (np.where(covered, amount, 0.0) for amount in told_now)
            self.under_film, self.film = hangs, self.film + through + drops
            warmth = through * np.maximum(outer, 0.0) + drops * np.maximum(inner, 0.0)
            self.leaf_enthalpy = self.leaf_enthalpy + HEAT_CAPACITY_WATER * warmth
        share = step * g[rows.HEAT_SPREADING]
        crowded = (self.crowded + share * g[rows.HEAT_CROWDING] * self.heat) / (1.0 + share)
        self.crowded = np.where(crowded > FADED, crowded, 0.0)
        self._account(leaf_curve, step, thresholds, told)

    def _lay(self, wanted: Any, air: Any) -> None:
        changed = wanted != self.lying
        if changed.any():
            capacity = self.covers[np.maximum(wanted.astype(int) - 1, 0), 7]
            laid = changed & (wanted > 0.0)
            self.inner_enthalpy = np.where(changed, np.where(laid, capacity * air, 0.0), self.inner_enthalpy)
            outer = np.where(laid, store.film_enthalpy(air, capacity, 0.0), 0.0)
            self.outer_enthalpy = np.where(changed, outer, self.outer_enthalpy)
            self.cover_film = np.where(changed, 0.0, self.cover_film)
            self.cover_frost = np.where(changed, 0.0, self.cover_frost)
            self.under_film = np.where(changed, 0.0, self.under_film)
            self.lying = wanted.copy()

    def _target(self, plan: Any, step: float, allowed: Any) -> Any:
        probe = self._between(self.temperature, self.probe)
        self.target, self.ran = np.where(self.ran, self.target, probe), allowed
        risen = np.maximum(self.target + self.given[rows.HEAT_RAMP] * step, probe)
        self.target = np.where(allowed, np.minimum(plan[rows.SET_POINT - rows.COVERED], risen), probe)
        self.heat = np.where(allowed, self.heat, 0.0)
        return self.target

    def _decide(self, plan: Any, target: Any, step: float, after: Any, answers: Any) -> Any:
        coupling, most = self.given[rows.HEAT_COUPLING], self.given[rows.HEAT_LIMIT]
        reply = self._between(answers, self.pipe)
        pace = 1.0 / (1.0 + step * self.given[rows.HEAT_SPREADING])
        coupling = coupling / (1.0 + coupling * self.given[rows.HEAT_CROWDING] * (1.0 - pace))
        supply = plan[rows.SUPPLY - rows.COVERED] - pace * self.crowded
        drawn = supply - self._between(after, self.pipe) + self.heat * reply
        drawn = coupling * drawn / (1.0 + coupling * reply)
        most = np.where(coupling > 0.0, np.maximum(np.minimum(most, drawn), 0.0), most)
        lack = target - self._between(after, self.probe)
        wanted = self.heat + lack / np.maximum(self._between(answers, self.probe), 1e-9)
        return np.maximum(np.minimum(wanted, most), 0.0) - self.heat

    def _account(self, leaf_curve: Any, step: float, thresholds: Any, told: Any) -> None:
        ice = np.clip(-self.enthalpy[:12] / self.stretch[:12], 0.0, 1.0)
        leaf_ice = ground.frozen_share(self.leaf_enthalpy, leaf_curve[3])
        soil = self._between(self.temperature, told)
        state = ladder.surface_state(
            np.zeros_like(soil),
            leaf_ice * (self.film + self.frost) - self.frost,
            self.frost,
            self.leaf + ZERO_CELSIUS,
            (self.layers[la.IN_TOP, :12] * ice).sum(axis=0),
            np.where(self.layers[la.IN_STUDS, :12] > 0.0, ice, 1.0).min(axis=0),
            np.where(self.layers[la.IN_SEARCH, :12] > 0.0, ice, 0.0).max(axis=0),
            np.minimum(self.leaf, soil) + ZERO_CELSIUS,
            thresholds,
        )
        self.worst = np.maximum(self.worst, state)
        self.coldest = np.minimum(self.coldest, self.leaf)
        self.energy = self.energy + self.heat * step
