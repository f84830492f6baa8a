"""Invented workshops of many shapes, each with faults of known size. Independent of qclog.demo and of workshops.py.

Every shape says what a shop may be like: how many case types and how evenly they come, the tails and steps of its
readings, whether cases come back, who works with which gauge. The faults are planted in spreads of the reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from scipy import stats

from qclog.watch.observations import COLUMNS, TICKS, Observations
from tests.benchmarks.workshops import Fault

START = datetime(2023, 2, 6, 7)
KINDS = ("feeler", "dial", "depth", "bore", "torque")
Columns = Sequence[int]


@dataclass(frozen=True, slots=True)
class Shape:
    """What a shop is like. `rates` are jobs a month of each case type; `tails` the degrees of freedom of Student's t
    (0: normal); `skew` the shape of a gamma (0: even); `steps` the range of steps in spreads; `again` the share of
    cases that come back; `paired` the share of jobs in which a person keeps to a gauge of their own; `within_day` the
    correlation of a day's readings; `season` its height and `learning` how far off a new person begins, in spreads.
    """

    name: str
    rates: tuple[float, ...]
    months: int = 24
    characteristics: int = 10
    unit: str = "thou"
    tails: int = 0
    skew: float = 0.0
    steps: tuple[float, float] = (0.1, 0.6)
    again: float = 0.1
    paired: float = 0.0
    people: tuple[float, ...] = (0.4, 0.3, 0.2, 0.1)
    gauges_each: int = 2
    harmless: float = 0.1
    within_day: float = 0.0
    season: float = 0.0
    learning: float = 0.0
    faults: tuple[str, ...] = ("batch", "batch", "lot", "knocked", "person", "worn", "singles")


_EVEN = (38, 22, 14, 9, 7, 5, 4, 3, 2, 1)
SHAPES = (
    Shape("even and normal", _EVEN),
    Shape("small shop, metric", (2.4, 1.6, 1.0, 0.6, 0.4, 0.3), characteristics=8, unit="mm", again=0.15,
          people=(0.6, 0.4), faults=("batch", "lot", "knocked", "singles")),
    Shape("forty uneven types", tuple(round(30 / (k + 1), 2) for k in range(40)), characteristics=8,
          faults=("batch", "batch", "rare batch", "rare batch", "lot", "knocked", "person", "singles")),
    Shape("heavy tails", _EVEN, tails=4),
    Shape("skewed and coarse", _EVEN, skew=2.0, steps=(0.8, 2.0)),
    Shape("cases that return", (20, 12, 8, 5, 3, 2), again=0.6,
          faults=("batch", "lot", "worn", "knocked", "odd visits", "singles")),
    Shape("overlapping faults", (25, 15, 10, 6, 4, 2), paired=0.85,
          faults=("overlap", "batch", "knocked", "person", "singles")),
    Shape("slow changes", (25, 15, 10, 6, 4, 2), within_day=0.3, season=0.25, learning=0.5,
          faults=("tool wear", "drift", "wider", "wider", "batch", "lot", "singles")),
    Shape("sub-assemblies", (25, 15, 10, 6, 4, 2),
          faults=("inner lot", "supplier", "batch", "knocked", "singles")),
)  # fmt: skip


@dataclass(slots=True)
class Shop:
    """A shop's readings and what was planted in it; `touched` has (job, characteristic) of the readings moved."""

    shape: Shape
    observations: Observations
    faults: list[Fault] = field(default_factory=list)
    singles: list[tuple[str, str]] = field(default_factory=list)
    touched: set[tuple[str, str]] = field(default_factory=set)


def build_shape(shape: Shape, seed: int, *, faulty: bool = True) -> Shop:
    """A shop of a shape; without faults, all that differs are its harmless differences."""
    return _Building(shape, np.random.default_rng(seed)).build(faulty=faulty)


class _Building:
    def __init__(self, shape: Shape, rng: np.random.Generator) -> None:
        self.shape, self.rng, self.m = shape, rng, shape.characteristics
        self.kinds = [KINDS[c * len(KINDS) // self.m] for c in range(self.m)]
        self._jobs()
        self._gauges()

    def _jobs(self) -> None:
        rng, shape = self.rng, self.shape
        counts = [max(1, rng.poisson(rate * shape.months)) for rate in shape.rates]
        types = np.repeat(np.arange(len(counts)), counts)
        days = rng.uniform(0, shape.months * 30.4, len(types))
        order = np.argsort(days)
        self.types, self.days = types[order], days[order]
        n = self.n = len(self.days)
        self.names = np.array([f"K{i:05}" for i in range(n)])
        self.people = rng.choice(len(shape.people), n, p=shape.people)
        self.batch = np.full(n, "", dtype=object)
        number = 1
        for kind in range(len(counts)):
            mine = np.flatnonzero(self.types == kind)
            machined = mine[rng.random(len(mine)) < 0.5]
            while len(machined):
                size = int(rng.integers(4, 10))
                self.batch[machined[:size]] = f"B{number:03}"
                number += 1
                machined = machined[size:]
        self.lots = {
            "gasket": np.array([f"G{int(d // 40):02}" for d in self.days], dtype=object),
            "bearing": np.array([f"R{int(d // 75):02}{'ab'[int(rng.integers(2))]}" for d in self.days], dtype=object),
        }
        self.inner = np.array([f"S{int(d // 50):02}" for d in self.days], dtype=object)
        self.supplier = np.where(rng.random(n) < 0.3, "north", "south")
        self._serials()

    def _serials(self) -> None:
        """A case that comes back does so at the next visit of its type that has no case yet."""
        rng = self.rng
        self.serial = np.full(self.n, "", dtype=object)
        self.rebuild = np.ones(self.n, dtype=int)
        waiting: dict[int, list[tuple[float, str, int]]] = {}
        for i in range(self.n):
            ready = [w for w in waiting.get(int(self.types[i]), []) if w[0] <= self.days[i]]
            if ready:
                waiting[int(self.types[i])].remove(ready[0])
                _, self.serial[i], before = ready[0]
                self.rebuild[i] = before + 1
            else:
                self.serial[i] = f"C{i:05}"
                self.rebuild[i] = rng.choice([1, 2, 3], p=[0.75, 0.2, 0.05])
            if rng.random() < self.shape.again:
                due = self.days[i] + rng.uniform(20, 200)
                waiting.setdefault(int(self.types[i]), []).append((due, self.serial[i], int(self.rebuild[i])))

    def _gauges(self) -> None:
        rng, each = self.rng, self.shape.gauges_each
        self.gauge = np.empty((self.n, self.m), dtype=object)
        for c, kind in enumerate(self.kinds):
            any_of = rng.integers(0, each, self.n)
            own = self.people % each
            self.gauge[:, c] = [f"{kind}-{g}" for g in np.where(rng.random(self.n) < self.shape.paired, own, any_of)]

    def _noise(self) -> np.ndarray:
        rng, shape, n, m = self.rng, self.shape, self.n, self.m
        if shape.tails:
            z = rng.standard_t(shape.tails, (n, m)) / np.sqrt(shape.tails / (shape.tails - 2))
        elif shape.skew:
            z = (rng.gamma(shape.skew, 1.0, (n, m)) - shape.skew) / np.sqrt(shape.skew)
        else:
            z = rng.normal(size=(n, m))
        day = self.days.astype(int)
        z = z * np.sqrt(1 - shape.within_day) + rng.normal(size=(day.max() + 1, m))[day] * np.sqrt(shape.within_day)
        z += shape.season * np.sin(2 * np.pi * self.days / 365)[:, None] * rng.choice([-1, 0, 1], m)
        since = self.days - np.array([self.days[self.people == p].min() for p in self.people])
        z += shape.learning * np.exp(-since / 60)[:, None] * rng.choice([-1, 1], m)
        for names in (self.gauge, *(np.repeat(v[:, None], m, axis=1) for v in (self.people, *self.lots.values()))):
            unique, number = np.unique(names.astype(str), return_inverse=True)
            number = number.reshape(n, m)
            z += rng.normal(0, shape.harmless, (len(unique), m))[number, np.arange(m)]
        return np.asarray(z)

    def build(self, *, faulty: bool) -> Shop:
        self.z = self._noise()
        self.shop = Shop(self.shape, Observations(*[pl.DataFrame()] * 6))
        if faulty:
            for name in self.shape.faults:
                getattr(self, f"_plant_{name.replace(' ', '_')}")()
        self.shop.observations = self._observe()
        return self.shop

    def _add(
        self, cause: str, identifier: str, level: str, hit: np.ndarray, columns: Columns, shift: np.ndarray | float
    ) -> None:
        """Move the readings `hit` (jobs, or jobs x columns) by `shift` (one for all, or one for each job)."""
        cells = np.zeros((self.n, self.m), dtype=bool)
        cells[:, list(columns)] = hit if hit.ndim == 2 else hit[:, None]
        signs = np.ones(self.m)
        moved = (np.asarray(shift)[:, None] if np.ndim(shift) else shift) * signs
        self.z += np.where(cells, moved, 0.0)
        jobs = frozenset(self.names[cells.any(axis=1)])
        self.shop.faults.append(Fault(cause, identifier, level, frozenset(f"c{c}" for c in columns), jobs))
        self.shop.touched.update((self.names[i], f"c{c}") for i, c in zip(*np.nonzero(cells), strict=True))

    def _columns(self, count: int) -> list[int]:
        return [int(c) for c in self.rng.choice(self.m, count, replace=False)]

    def _sign(self) -> int:
        return int(self.rng.choice([-1, 1]))

    def _batches(self, low: int, high: int, rates: tuple[float, float] = (1.0, 1e9)) -> list[str]:
        known = np.array(self.shape.rates)[self.types]
        wanted = (known >= rates[0]) & (known <= rates[1])
        taken = {f.level for f in self.shop.faults}
        names, count = np.unique(self.batch[wanted].astype(str), return_counts=True)
        return [n for n, k in zip(names, count, strict=True) if n and low <= k <= high and n not in taken]

    def _plant_batch(self) -> None:
        floor = 1.0 if max(self.shape.rates) > 5 else 0.6
        level = str(self.rng.choice(self._batches(5, 10, (floor, 1e9))))
        self._add("odd machining", "machining_batch", level, self.batch == level, self._columns(2), 2.4 * self._sign())

    def _plant_rare_batch(self) -> None:
        """Four or five units at three spreads in a type that comes about once a month."""
        level = str(self.rng.choice(self._batches(4, 6, (0.5, 1.5))))
        self._add("odd machining", "machining_batch", level, self.batch == level, self._columns(2), 3.0 * self._sign())

    def _plant_lot(self) -> None:
        lots = self.lots["bearing"].astype(str)
        names, count = np.unique(lots, return_counts=True)
        level = str(self.rng.choice(names[count >= min(12, int(np.median(count)))]))
        size = 1.4 if self.n > 500 else 2.0
        self._add("parts lot", "lot", level, lots == level, self._columns(1), size * self._sign())

    def _plant_overlap(self) -> None:
        """A gasket lot and a machining batch in the same weeks; they share one characteristic of three."""
        a, b, c = self._columns(3)
        lots = self.lots["gasket"].astype(str)
        for _ in range(200):
            level = str(self.rng.choice(self._batches(6, 10)))
            lot, count = np.unique(lots[self.batch == level], return_counts=True)
            if 0.3 <= count.max() / count.sum() <= 0.9:
                break
        gasket = str(lot[np.argmax(count)])
        self._add("odd machining", "machining_batch", level, self.batch == level, [a, b], 2.4 * self._sign())
        self._add("parts lot", "lot", gasket, lots == gasket, [b, c], 1.3 * self._sign())

    def _knock(self, days: float) -> tuple[str, np.ndarray, list[int]]:
        """A gauge, a stretch of its days with enough readings, and what is read with such a gauge."""
        kind = str(self.rng.choice(["feeler", "dial", "depth"]))
        columns = [c for c, k in enumerate(self.kinds) if k == kind]
        gauge = f"{kind}-{int(self.rng.integers(self.shape.gauges_each))}"
        since = self.rng.uniform(90, self.shape.months * 30.4 - days)
        during = (self.days >= since) & (self.days < since + days)
        return gauge, (self.gauge[:, columns] == gauge) & during[:, None], columns

    def _plant_knocked(self) -> None:
        small = self.n < 500
        gauge, hit, columns = self._knock(120 if small else 60)
        self._add("gauge", "gauge", gauge, hit, columns, (1.8 if small else 1.3) * self._sign())

    def _plant_wider(self) -> None:
        """A dial of 2.3 times the scatter for 120 days."""
        for _ in range(20):
            gauge, hit, columns = self._knock(120)
            if gauge not in {f.level for f in self.shop.faults}:
                break
        cells = np.zeros((self.n, self.m), dtype=bool)
        cells[:, columns] = hit
        self.z = np.where(cells, self.z * 2.3, self.z)
        jobs = frozenset(self.names[cells.any(axis=1)])
        self.shop.faults.append(Fault("wider", "gauge", gauge, frozenset(f"c{c}" for c in columns), jobs))
        self.shop.touched.update((self.names[i], f"c{c}") for i, c in zip(*np.nonzero(cells), strict=True))

    def _plant_person(self) -> None:
        who = int(self.rng.integers(min(2, len(self.shape.people))))
        since = self.rng.uniform(150, 500)
        hit = (self.people == who) & (self.days >= since)
        if self.shape.paired:  # told from the gauges of their own only by the days on which they change them
            hit = self.people == who
        self._add("technician", "technician", f"P{who}", hit, self._columns(2), 0.9 * self._sign())

    def _plant_worn(self) -> None:
        kind = int(self.rng.integers(min(3, len(self.shape.rates))))
        hit = (self.types == kind) & (self.rebuild > 1)
        self._add("worn casing", "case_type", f"T{kind}", hit, self._columns(2), 1.0 * (self.rebuild - 1.0))

    def _plant_tool_wear(self) -> None:
        """A size that wanders by two and a half spreads in 150 days and is put right, over and over."""
        hit = self.types == 0
        self._add("drift", "case_type", "T0", hit, self._columns(1), 2.5 * (self.days % 150) / 150)

    def _plant_drift(self) -> None:
        """A lasting change of two and a half spreads over the last year."""
        hit = (self.types == 1) & (self.days > self.days.max() - 365)
        shift = 2.5 * np.clip((self.days - self.days.max() + 365) / 365, 0, 1)
        self._add("drift", "case_type", "T1", hit, self._columns(1), shift)

    def _plant_inner_lot(self) -> None:
        level = str(self.rng.choice(np.unique(self.inner.astype(str))[1:-1]))
        self._add("parts lot", "lot", level, self.inner == level, self._columns(2), 1.4 * self._sign())

    def _plant_supplier(self) -> None:
        hit = self.supplier == "north"
        self._add("parts lot", "supplier", "north", hit, self._columns(2), 0.9 * self._sign())

    def _single(self, which: np.ndarray, count: int) -> None:
        for i in self.rng.choice(which, min(count, len(which)), replace=False):
            column = int(self.rng.integers(self.m))
            if (self.names[i], f"c{column}") not in self.shop.touched:
                self.z[i, column] = self._as_unlikely_as(self.rng.uniform(5.5, 7.0), self._sign())
                self.shop.singles.append((str(self.names[i]), f"c{column}"))
                self.shop.touched.add((self.names[i], f"c{column}"))

    def _as_unlikely_as(self, normal: float, sign: int) -> float:
        """A reading as unlikely in this shop as one so many spreads from a normal middle."""
        beyond, shape = float(stats.norm.sf(normal)), self.shape
        if shape.tails:
            return sign * float(stats.t.isf(beyond, shape.tails) / np.sqrt(shape.tails / (shape.tails - 2)))
        if shape.skew:
            return float((stats.gamma.isf(beyond, shape.skew) - shape.skew) / np.sqrt(shape.skew))
        return sign * normal

    def _plant_singles(self) -> None:
        many = np.array(self.shape.rates)[self.types] >= (1.0 if self.n > 500 else 0.8)
        self._single(np.flatnonzero(many), 8 if self.n > 500 else 3)

    def _plant_odd_visits(self) -> None:
        """One odd visit of cases that came more than once."""
        names, count = np.unique(self.serial.astype(str), return_counts=True)
        self._single(np.flatnonzero(np.isin(self.serial.astype(str), names[count >= 2])), 8)

    def _observe(self) -> Observations:
        rng, n = self.rng, self.n
        middle = rng.uniform(10, 60, (len(self.shape.rates), self.m))
        wide = rng.uniform(0.8, 2.5, (len(self.shape.rates), self.m))
        factor = 0.0254 if self.shape.unit == "mm" else 1.0
        steps = rng.uniform(*self.shape.steps, self.m)
        machined = self.batch != ""
        frames, gauges, about = [], [], []
        for c in range(self.m):
            spread = wide[self.types, c]
            step = np.round(steps[c] * wide[:, c], 1).clip(0.1)
            size = step[self.types]
            value = np.round((middle[self.types, c] + spread * self.z[:, c]) / size) * size * factor
            frame = pl.DataFrame(
                {
                    "job": self.names, "case_type": [f"T{t}" for t in self.types], "characteristic": [f"c{c}"] * n,
                    "stage": ["final"] * n, "condition": [None] * n, "machined": machined.tolist(),
                    "taken_at": [START + timedelta(days=float(d), minutes=c) for d in self.days],
                    "value": value, "technician": [f"P{p}" for p in self.people],
                    "machining_batch": [b or None for b in self.batch], "case_serial": self.serial.tolist(),
                    "rebuild": self.rebuild, "era": [0] * n,
                },
                schema=COLUMNS,
            )  # fmt: skip
            frames.append(frame)
            gauges.append(frame.select("job", "characteristic", "stage", gauge=pl.Series(self.gauge[:, c].tolist())))
            about += [(f"T{t}", f"c{c}", self.shape.unit, float(s * factor), None) for t, s in enumerate(step)]
        lots = [*self.lots.values(), self.inner]
        fitted = [pl.DataFrame({"job": self.names, "lot": lot.tolist()}) for lot in lots]
        return Observations(
            rows=pl.concat(frames).sort("taken_at", "job", "characteristic"),
            lots=pl.concat(fitted),
            gauges=pl.concat(gauges),
            events=pl.DataFrame(
                schema={"gauge": pl.String, "since": pl.Datetime("us"), "until": pl.Datetime("us")}
            ),
            characteristics=pl.DataFrame(
                about,
                schema={"case_type": pl.String, "characteristic": pl.String, "unit": pl.String, "step": pl.Float64,
                        "matters": pl.Float64},
                orient="row",
            ),
            ticks=pl.DataFrame(schema=TICKS),
            suppliers=pl.DataFrame({"job": self.names, "supplier": self.supplier.tolist()}),
        )  # fmt: skip


def with_rows(shop: Shop, rows: pl.DataFrame) -> Observations:
    """The shop's observations with other rows."""
    return replace(shop.observations, rows=rows)


def write_shop(shop: Shop, folder: Path) -> Path:
    """A shop as an exchange folder: what is inside its sub-assemblies is in jobs of their own."""
    o, unit = shop.observations, shop.shape.unit
    (folder / "case_types").mkdir(parents=True)
    steps = {(r["case_type"], r["characteristic"]): r["step"] for r in o.characteristics.iter_rows(named=True)}
    for case_type in (*o.rows["case_type"].unique().sort(), "Z0"):
        text = f'code = "{case_type}"\nname = "Type {case_type}"\nfamily = "invented"\nversion = "1"\n'
        for c in range(shop.shape.characteristics):
            step = steps.get((case_type, f"c{c}"), 1.0)
            text += f'[[characteristic]]\ncode = "c{c}"\nname = "Size {c}"\nunit = "{unit}"\nstep = {step:.6g}\n'
            text += 'stages = ["final"]\n'
        (folder / "case_types" / f"{case_type}.toml").write_text(text, encoding="utf-8")
    people = o.rows["technician"].unique().sort().to_list()
    pl.DataFrame({"person": people, "role": ["technician"] * len(people)}).write_csv(folder / "people.csv")
    o.gauges.select("gauge").unique().sort("gauge").with_columns(
        kind=pl.lit("dial"), unit=pl.lit(unit), step=pl.lit(0.001)
    ).write_csv(folder / "gauges.csv")
    moment = pl.col("taken_at").dt.strftime("%Y-%m-%dT%H:%M:%S%.6f")
    units = o.rows.unique("job", keep="first", maintain_order=True)
    told = ["job", "case_type", "case_serial", "rebuild", "machining_batch"]
    jobs = units.select(*told, opened=moment)
    inner = units.select(
        job=pl.lit("Z") + pl.col("job"), case_type=pl.lit("Z0"), case_serial=pl.lit(None, pl.String),
        rebuild=pl.lit(None, pl.Int64), machining_batch=pl.lit(None, pl.String), opened=moment,
    )  # fmt: skip
    pl.concat([inner, jobs]).write_csv(folder / "jobs.csv")
    own = o.lots.filter(~pl.col("lot").str.starts_with("S")).join(o.suppliers, on="job", maintain_order="left")
    none = pl.lit(None, pl.String)
    pl.concat(
        [
            own.select("job", part=pl.lit("part ") + pl.col("lot").str.head(1), lot="lot", supplier="supplier",
                       condition=pl.lit("new"), sub_assembly=none),
            units.select("job", part=pl.lit("shaft"), lot=none, supplier=none, condition=none,
                         sub_assembly=pl.lit("Z") + pl.col("job")),
            o.lots.filter(pl.col("lot").str.starts_with("S")).select(
                job=pl.lit("Z") + pl.col("job"), part=pl.lit("bearing"), lot="lot", supplier=none,
                condition=pl.lit("new"), sub_assembly=none),
        ]
    ).write_csv(folder / "parts.csv")  # fmt: skip
    read = o.rows.join(o.gauges, on=["job", "characteristic", "stage"], how="left", maintain_order="left")
    read.select(
        "job", "characteristic", "stage", pl.col("value").round(9).alias("reading"), "gauge", "technician",
        taken_at=moment,
    ).write_csv(folder / "readings.csv")  # fmt: skip
    return folder
