"""What each run cost and earned, and what a tonne costs on each press, by plain loops over a mill's rows.

The rules are those that docs/methods/costs.md states: parts by what is used up of their lives (seed at the
rates of `tests.journeys.wear`, else the expected life), work and stand-still divided among the season's runs
by seed, lost oil against the best quarter of the seed of a crop and harvest by weeks, energy and minding as
recorded. Hours of pressing are the entry's, else the clock's; where a meter counts them, what it shows beyond
them wears too, season by season.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence

from tests.journeys.rows import Mill, Row, as_day, number, number_or_none
from tests.journeys.wear import Wear, wear_of

Amounts = dict[object, float]
"""Money by the primary key of a run."""
Key = tuple[object, str]
"""A press and a crop."""
ENOUGH = 0.5
"""Of the seed of each press and crop so much has a kind on record where presses are held against each
other."""


class Costs:
    """`each`: by kind of cost the money of each run for which it is on record. `lacking`: kinds that a press
    is known not to have. pace: how many times as fast as by plain least squares steel is taken to wear."""

    def __init__(self, mill: Mill, *, pace: float = 1.0) -> None:
        self.mill = mill
        self.pace = pace
        self.runs = [run for runs in mill.runs.values() for run in runs]
        self.each: dict[str, Amounts] = {}
        self.lacking: set[tuple[str, object]] = set()
        self.wear: dict[object, Wear | None] = {key: wear_of(mill, row) for key, row in mill.types.items()}
        self.useful: dict[tuple[object, int], list[Row]] = defaultdict(list)
        for run in self.runs:
            if not run["purge"] and number(run["seed_kg"]) > 0:
                self.useful[run["press_id"], mill.season(mill.day(number(run["a"])))].append(run)
        self._parts()
        self._work()
        self._of_runs()

    # -------- parts

    def _parts(self) -> None:
        mill = self.mill
        kinds = {str(row["kind"]) for row in mill.positions.values()}
        self.each |= {kind: {run["id"]: 0.0 for run in self.runs} for kind in kinds}
        self.beyond = {press: self._meter_beyond_runs(press) for press in mill.presses}
        rest: dict[object, float] = {}
        made_from = {part["made_from_id"] for part in mill.parts.values()}
        for part in sorted(mill.parts.values(), key=lambda row: row["made_from_id"] is not None):
            type_ = mill.types[part["part_type_id"]]
            source = mill.parts.get(part["made_from_id"])
            if source is not None and source["retired_on"] is not None:
                value: float | None = rest.get(source["id"])
            else:
                value = number_or_none(type_["unit_cost"])
            if value is None:
                continue
            life = self._life(type_)
            left = value
            if life is not None:
                edges = mill.edges(part)
                left = sum(self._edge(part, edge, type_, life, value / len(edges)) for edge in edges)
            rest[part["id"]] = left
            fittings = mill.fittings[part["id"]]
            if part["retired_on"] is not None and part["id"] not in made_from and left > 0 and fittings:
                press = mill.positions[fittings[-1]["position_id"]]["press_id"]
                season = mill.season(as_day(part["retired_on"]))
                self._divide(self.each[str(type_["kind"])], press, season, left)
        for place in mill.positions.values():
            types = {
                mill.parts[key]["part_type_id"]
                for key, fittings in mill.fittings.items()
                for fitting in fittings
                if mill.positions[fitting["position_id"]]["press_id"] == place["press_id"]
                and mill.positions[fitting["position_id"]]["kind"] == place["kind"]
            }
            bad = [mill.types[key] for key in types]
            if not types or any(row["unit_cost"] is None or self._life(row) is None for row in bad):
                self.lacking.add((str(place["kind"]), place["press_id"]))

    def _life(self, type_: Row) -> Callable[[Row], float] | None:
        """The fraction of an edge's life that a kilogram through it, or an hour of its press, uses up in a
        run; None where nothing tells how long it lasts."""
        wear = self.wear[type_["id"]]
        if wear is not None:
            return lambda run: self.pace * number(run["seed_kg"]) / wear.life(str(run["crop"]))
        if type_["expected_life_kg"] is not None:
            return lambda run: number(run["seed_kg"]) / number(type_["expected_life_kg"])
        if type_["expected_life_h"] is not None:
            return lambda run: number(run["hours"]) / number(type_["expected_life_h"])
        return None

    def _edge(self, part: Row, edge: str, type_: Row, life: Callable[[Row], float], value: float) -> float:
        """Charge an edge to its runs; what is left of its value."""
        mill, left, column = self.mill, 1.0, self.each[str(type_["kind"])]
        by_seed = self.wear[type_["id"]] is not None or type_["expected_life_kg"] is not None
        for fitting in mill.fittings[part["id"]]:
            if fitting["edge"] != edge and edge:
                continue
            position = mill.positions[fitting["position_id"]]
            for run, share in mill.worked(fitting):
                use = share * life(run)
                if by_seed:
                    use *= mill.through(run, position)
                else:
                    season = mill.season(mill.day(number(run["a"])))
                    use *= self.beyond[position["press_id"]].get(season, 1.0)
                taken = min(left, use)
                left -= taken
                column[run["id"]] += taken * value
        return left * value

    def _meter_beyond_runs(self, press: object) -> dict[int, float]:
        """By season, how many times the hours of the runs a press's meter went forward, where it counts."""
        mill = self.mill
        if mill.presses[press]["hours_from"] != "meter":
            return {}
        forward: dict[int, float] = defaultdict(float)
        readings = mill.readings[press]
        for before, after in itertools.pairwise(readings):
            if after["kind"] != "new_meter":
                season = mill.season(mill.day(number(after["at"])))
                forward[season] += max(0.0, number(after["meter_h"]) - number(before["meter_h"]))
        logged: dict[int, float] = defaultdict(float)
        for run in mill.runs[press]:
            logged[mill.season(mill.day(number(run["a"])))] += number(run["hours"])
        return {season: max(1.0, forward[season] / hours) for season, hours in logged.items() if hours > 0}

    # -------- work

    def _work(self) -> None:
        mill = self.mill
        work, stood = (
            self.each.setdefault(kind, {run["id"]: 0.0 for run in self.runs})
            for kind in ("Work", "Stand-still")
        )
        jobs: dict[object, list[Row]] = defaultdict(list)
        for job in mill.services:
            press, on = job["press_id"], mill.day(number(job["at"]))
            jobs[press].append(job)
            wage, hour = mill.price("labour_h", on), mill.price("stand_still_h", on)
            labour, still = number_or_none(job["labour_h"]) or 0.0, number_or_none(job["downtime_h"]) or 0.0
            if labour and wage is None:
                self.lacking.add(("Work", press))
            if still and hour is None:
                self.lacking.add(("Stand-still", press))
            season = mill.season(on)
            self._divide(work, press, season, (number_or_none(job["cost"]) or 0.0) + labour * (wage or 0.0))
            self._divide(stood, press, season, still * (hour or 0.0))
        for press in mill.presses:
            own = jobs[press]
            if (
                sum(job["labour_h"] is not None or job["cost"] is not None for job in own) < 0.5 * len(own)
                or not own
            ):
                self.lacking.add(("Work", press))
            if not any(job["downtime_h"] is not None for job in own):
                self.lacking.add(("Stand-still", press))

    def _divide(self, column: Amounts, press: object, season: int, amount: float) -> None:
        """By seed, among the runs of the season, else of the next one with runs, else of the last."""
        own = sorted(year for one, year in self.useful if one == press)
        if not own or not amount:
            return
        chosen = season if season in own else min((year for year in own if year > season), default=own[-1])
        runs = self.useful[press, chosen]
        whole = sum(number(run["seed_kg"]) for run in runs)
        for run in runs:
            column[run["id"]] += amount * number(run["seed_kg"]) / whole

    # -------- what runs have on record

    def _of_runs(self) -> None:
        mill = self.mill
        short = self._short_of_better()
        lost, energy, minding = ({} for _ in range(3))
        self.earned: dict[str, Amounts] = {"oil": {}, "cake": {}}
        self.bought: Amounts = {}
        for run in self.runs:
            on = mill.day(number(run["a"]))
            oil, cake = mill.price("oil_kg", on), mill.price("cake_kg", on)
            if run["id"] in short and oil is not None:
                lost[run["id"]] = short[run["id"]] * (oil - (cake or 0.0))
            kwh, hour = mill.price("energy_kwh", on), mill.price("minding_h", on)
            if run["energy_kwh"] is not None and kwh is not None:
                energy[run["id"]] = number(run["energy_kwh"]) * kwh
            if hour is not None:
                minding[run["id"]] = number(run["hours"]) * hour
            bought = mill.price(f"seed_kg {run['crop']}", on)
            if bought is not None:
                self.bought[run["id"]] = number(run["seed_kg"]) * bought
            for kind, price, kg in (("oil", oil, run["oil_kg"]), ("cake", cake, run["cake_kg"])):
                if price is not None and kg is not None and not run["purge"]:
                    self.earned[kind][run["id"]] = number(kg) * price
        self.each |= {"oil": lost, "Energy": energy, "Minding": minding}

    def _short_of_better(self) -> Amounts:
        """Kilograms of oil by which each run fell short of the best quarter of its crop and harvest."""
        mill = self.mill
        told = [
            run
            for run in self.runs
            if not run["purge"]
            and run["oil_kg"] is not None
            and number(run["seed_kg"]) > 0
            and run["seed_how"] != "worked_out"
        ]
        weeks: dict[tuple[str, int], dict[tuple[object, int], list[float]]] = defaultdict(dict)
        for run in told:
            group = str(run["crop"]), mill.season(mill.day(number(run["a"])))
            sums = weeks[group].setdefault((run["press_id"], int(number(run["a"]) // 604800)), [0.0, 0.0])
            sums[0] += number(run["seed_kg"])
            sums[1] += number(run["oil_kg"])
        better = {}
        for group, of_week in weeks.items():
            sums_of = sorted(of_week.values(), key=lambda pair: -pair[1] / pair[0])
            need, seed = sum(pair[0] for pair in sums_of) / 4, 0.0
            for pair in sums_of:
                seed += pair[0]
                if seed >= need:
                    better[group] = pair[1] / pair[0]
                    break
        return {
            run["id"]: better[str(run["crop"]), mill.season(mill.day(number(run["a"])))]
            * number(run["seed_kg"])
            - number(run["oil_kg"])
            for run in told
        }

    # -------- tonnes and rates

    def rate(self, kind: str, runs: Iterable[Row]) -> float | None:
        """Money per tonne of the runs that have a kind on record; None where none has."""
        amount = seed = 0.0
        for run in runs:
            if run["id"] in self.each[kind]:
                amount += self.each[kind][run["id"]]
                seed += 0.0 if run["purge"] else number(run["seed_kg"])
        return 1000 * amount / seed if seed else None

    def basket(self, runs: Sequence[Row]) -> tuple[list[str], dict[str, float]]:
        """The kinds of cost that all presses of these runs have on record at the crops that all ran, and the
        seed of these crops (of every crop, where they have none in common)."""
        seed: dict[Key, float] = defaultdict(float)
        for run in runs:
            seed[run["press_id"], str(run["crop"])] += 0.0 if run["purge"] else number(run["seed_kg"])
        presses = {press for (press, _crop), kg in seed.items() if kg > 0}
        crops = {crop for _press, crop in seed}
        common = {
            crop for crop in crops if all(seed.get((press, crop), 0.0) > 0 for press in presses)
        } or crops
        kinds = []
        for kind, amounts in self.each.items():
            known: dict[Key, float] = defaultdict(float)
            for run in runs:
                if run["id"] in amounts and not run["purge"]:
                    known[run["press_id"], str(run["crop"])] += number(run["seed_kg"])
            if not any((kind, press) in self.lacking for press in presses) and all(
                known[press, crop] >= ENOUGH * seed[press, crop] and known[press, crop] > 0
                for press in presses
                for crop in common
                if seed[press, crop] > 0
            ):
                kinds.append(kind)
        return kinds, {crop: sum(seed[press, crop] for press in presses) for crop in common}

    def of_presses(self, runs: Sequence[Row]) -> dict[object, dict[str, float]]:
        """By press, what a tonne costs of each kind of the basket at the crops that all ran."""
        kinds, mix = self.basket(runs)
        found: dict[object, dict[str, float]] = defaultdict(dict)
        for press in {run["press_id"] for run in runs}:
            own = [run for run in runs if run["press_id"] == press]
            for kind in kinds:
                rates = {crop: self.rate(kind, [run for run in own if run["crop"] == crop]) for crop in mix}
                found[press][kind] = sum((rates[crop] or 0.0) * kg for crop, kg in mix.items()) / sum(
                    mix.values()
                )
        return dict(found)

    def of_lot(self, runs: Sequence[Row], kinds: Sequence[str]) -> tuple[float, float, float | None]:
        """What a tonne of a lot earned, cost (of these kinds) and left over; None where that is not known of
        most of it. Cake and seed count where the mill has any price of them."""
        earned = 0.0
        for amounts in self.earned.values():
            own = [run for run in runs if run["id"] in amounts]
            earned += per_tonne([amounts[run["id"]] for run in own], own) or 0.0
        priced = [run for run in runs if run["id"] in self.bought or not self.bought]
        sold = [
            amounts for kind, amounts in self.earned.items() if kind == "oil" or self.mill.prices["cake_kg"]
        ]
        told = [run for run in priced if all(run["id"] in amounts for amounts in sold)]
        gains = [
            sum(amounts[run["id"]] for amounts in sold) - self.bought.get(run["id"], 0.0) for run in told
        ]
        gain = per_tonne(gains, told)
        known = sum(number(run["seed_kg"]) for run in told) >= ENOUGH * sum(
            number(run["seed_kg"]) for run in priced if not run["purge"]
        )
        cost = sum(self.rate(kind, runs) or 0.0 for kind in kinds)
        cost_of_priced = sum(self.rate(kind, priced) or 0.0 for kind in kinds)
        return earned, cost, gain - cost_of_priced if known and gain is not None else None

    def of_season(self, year: int) -> list[Row]:
        return [run for run in self.runs if self.mill.season(self.mill.day(number(run["a"]))) == year]

    @property
    def latest(self) -> int:
        return max(self.mill.season(self.mill.day(number(run["a"]))) for run in self.runs)


def per_tonne(amounts: Sequence[float], runs: Sequence[Row]) -> float | None:
    seed = sum(number(run["seed_kg"]) for run in runs)
    return 1000 * sum(amounts) / seed if seed else None
