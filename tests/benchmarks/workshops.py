"""Invented workshops with faults of known size, to measure how well the watch names them. Independent of qclog.demo.

Ten case types from 1 to 38 jobs a month, ten characteristics each, two years, about 25,000 readings, coarse feelers,
four technicians, ten gauges, part lots, machining batches; small harmless differences between every gauge, technician
and lot.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from qclog.watch.observations import COLUMNS, TICKS, Observations

RATES = (38, 22, 14, 9, 7, 5, 4, 3, 2, 1)
MONTHS = 24
START = datetime(2024, 1, 8, 8)
# kind of gauge, step in spreads, whether skewed, whether a new part's lot moves it
CHARACTERISTICS = (
    ("feeler", 0.8, False), ("feeler", 0.5, False), ("feeler", 0.6, False), ("dial", 0.3, False), ("dial", 0.4, True),
    ("depth", 0.2, False), ("depth", 0.25, False), ("bore", 0.1, False), ("bore", 0.15, False), ("torque", 0.4, False),
)  # fmt: skip
GAUGES = {
    "feeler": ("FG-1", "FG-2", "FG-3"), "dial": ("DT-1", "DT-2"), "depth": ("DM-1", "DM-2"), "bore": ("BG-1",),
    "torque": ("TQ-1", "TQ-2"),
}  # fmt: skip
TECHNICIANS = ("Ash", "Birch", "Cedar", "Elm")
HARMLESS = 0.12


@dataclass(frozen=True, slots=True)
class Fault:
    """A planted fault: what it follows, over which characteristics, and the jobs it touches."""

    cause: str
    identifier: str
    level: str
    characteristics: frozenset[str]
    jobs: frozenset[str]


@dataclass(slots=True)
class Workshop:
    """A workshop's readings and what was planted in it. `touched` has (job, characteristic) of faulty readings."""

    observations: Observations
    faults: list[Fault] = field(default_factory=list)
    singles: list[tuple[str, str]] = field(default_factory=list)
    touched: set[tuple[str, str]] = field(default_factory=set)


def build(seed: int, *, faulty: bool = True, scale: float = 1.0) -> Workshop:
    """A workshop. `scale` multiplies the volume."""
    rng = np.random.default_rng(seed)
    jobs = _jobs(rng, scale)
    n, m = len(jobs["number"]), len(CHARACTERISTICS)
    z = rng.normal(0, 1, (n, m))
    skewed = [c for c, (_, _, skew) in enumerate(CHARACTERISTICS) if skew]
    z[:, skewed] = (rng.gamma(3.0, 1.0, (n, len(skewed))) - 3.0) / np.sqrt(3.0)
    gauge = np.array(
        [[GAUGES[kind][rng.integers(len(GAUGES[kind]))] for kind, _, _ in CHARACTERISTICS] for _ in range(n)]
    )
    for names in (
        gauge.ravel(),
        np.repeat(jobs["technician"], m),
        np.repeat(jobs["lot_a"], m),
        np.repeat(jobs["lot_b"], m),
    ):
        unique, number = np.unique(names.reshape(n, m), return_inverse=True)
        z += rng.normal(0, HARMLESS, (len(unique), m))[number.reshape(n, m), np.arange(m)]
    shop = Workshop(Observations(*[pl.DataFrame()] * 6))
    if faulty:
        _plant(rng, jobs, z, gauge, shop)
    shop.observations = _observe(rng, jobs, z, gauge)
    return shop


def _jobs(rng: np.random.Generator, scale: float) -> dict[str, np.ndarray]:
    case_type, day = [], []
    for number, rate in enumerate(RATES):
        count = round(rate * MONTHS * scale)
        case_type += [number] * count
        day += list(rng.uniform(0, MONTHS * 30.4, count))
    order = np.argsort(day)
    types, days = np.array(case_type)[order], np.array(day)[order]
    n = len(days)
    batch = np.array([""] * n, dtype=object)
    next_batch = 1
    for number in range(len(RATES)):
        mine = np.flatnonzero(types == number)
        machined = mine[rng.random(len(mine)) < 0.5]
        while len(machined):
            size = int(rng.integers(5, 11))
            batch[machined[:size]] = f"M{next_batch:03}"
            next_batch += 1
            machined = machined[size:]
    return {
        "number": np.arange(n),
        "case_type": types,
        "day": days,
        "batch": batch,
        "technician": np.array(TECHNICIANS)[rng.integers(0, 4, n)],
        "lot_a": np.array([f"A{int(d // 45):02}" for d in days]),
        "lot_b": np.array([f"B{int(d // 61):02}{'xy'[int(rng.integers(2))]}" for d in days]),
        "rebuild": rng.choice([1, 2, 3, 4], n, p=[0.62, 0.24, 0.1, 0.04]),
        "condition": np.where(rng.random(n) < 0.3, "reused", "new"),
    }


def _plant(
    rng: np.random.Generator, jobs: dict[str, np.ndarray], z: np.ndarray, gauge: np.ndarray, shop: Workshop
) -> None:
    names = np.array([f"J{i:05}" for i in jobs["number"]])

    def add(
        cause: str, identifier: str, level: str, which: np.ndarray, columns: list[int], shift: np.ndarray | float
    ) -> None:
        z[np.ix_(which, np.array(columns))] += np.asarray(shift).reshape(-1, 1) if np.ndim(shift) else shift
        codes = frozenset(f"c{c}" for c in columns)
        shop.faults.append(Fault(cause, identifier, level, codes, frozenset(names[which])))
        shop.touched.update((names[i], f"c{c}") for i in which for c in columns)

    batches = [b for b in np.unique(jobs["batch"]) if b and (jobs["batch"] == b).sum() >= 5]
    for b in rng.choice(batches, 3, replace=False):
        columns = list(rng.choice(10, 2, replace=False))
        add(
            "odd machining",
            "machining_batch",
            b,
            np.flatnonzero(jobs["batch"] == b),
            columns,
            2.2 * rng.choice([-1, 1]),
        )
    worn = int(rng.integers(0, 4))
    which = np.flatnonzero((jobs["case_type"] == worn) & (jobs["rebuild"] > 1))
    add("worn casing", "case_type", f"T{worn}", which, [7, 8], 1.1 * (jobs["rebuild"][which] - 1.0))
    kind_columns = {"feeler": [0, 1, 2], "depth": [5, 6]}
    name = str(rng.choice(["FG-1", "FG-2", "FG-3"]))
    begin = rng.uniform(100, 600)
    columns = kind_columns["feeler"]
    during = (jobs["day"] >= begin) & (jobs["day"] < begin + 60)
    hit = (gauge[:, columns] == name) & during[:, None]
    z[:, columns] += 1.2 * hit
    shop.faults.append(
        Fault("gauge", "gauge", name, frozenset(f"c{c}" for c in columns), frozenset(names[hit.any(axis=1)]))
    )
    shop.touched.update((names[i], f"c{columns[c]}") for i, c in zip(*np.nonzero(hit), strict=True))
    lot = str(rng.choice(np.unique(jobs["lot_b"])[2:-2]))
    add("parts lot", "lot", lot, np.flatnonzero(jobs["lot_b"] == lot), [9], -1.5)
    who = str(rng.choice(TECHNICIANS))
    since = rng.uniform(150, 550)
    which = np.flatnonzero((jobs["technician"] == who) & (jobs["day"] >= since))
    add("technician", "technician", who, which, list(rng.choice([3, 4, 5, 6], 2, replace=False)), 0.9)
    for i in rng.choice(len(names), 10, replace=False):
        column = int(rng.integers(10))
        if (names[i], f"c{column}") not in shop.touched:
            z[i, column] = rng.uniform(5, 7) * rng.choice([-1, 1])
            shop.singles.append((names[i], f"c{column}"))
            shop.touched.add((names[i], f"c{column}"))


def _observe(rng: np.random.Generator, jobs: dict[str, np.ndarray], z: np.ndarray, gauge: np.ndarray) -> Observations:
    n, m = z.shape
    base = rng.uniform(10, 60, (len(RATES), m, 2))
    unit = rng.uniform(0.8, 2.5, (len(RATES), m))
    frames, gauges = [], []
    reused = (jobs["condition"] == "reused").astype(int)
    machined = jobs["batch"] != ""
    for c, (_, step, _) in enumerate(CHARACTERISTICS):
        spread = unit[jobs["case_type"], c]
        size = step * spread.round(1)
        middle = base[jobs["case_type"], c, 0] + 3 * reused * (c == 9) + 1.5 * machined * (c in (0, 5))
        value = np.round((middle + spread * z[:, c]) / size) * size
        taken = [START + timedelta(days=float(d), minutes=c) for d in jobs["day"]]
        frames.append(
            pl.DataFrame(
                {
                    "job": [f"J{i:05}" for i in jobs["number"]],
                    "case_type": [f"T{t}" for t in jobs["case_type"]],
                    "characteristic": [f"c{c}"] * n,
                    "stage": ["final"] * n,
                    "condition": list(jobs["condition"]) if c == 9 else [None] * n,
                    "machined": machined.tolist(),
                    "taken_at": taken,
                    "value": value,
                    "technician": jobs["technician"].tolist(),
                    "machining_batch": [b or None for b in jobs["batch"]],
                    "case_serial": [f"S{i:05}" for i in jobs["number"]],
                    "rebuild": jobs["rebuild"].tolist(),
                    "era": [0] * n,
                },
                schema=COLUMNS,
            )
        )
        gauges.append(frames[-1].select("job", "characteristic", "stage", gauge=pl.Series(gauge[:, c].tolist())))
    rows = pl.concat(frames).sort("taken_at", "job", "characteristic")
    lots = pl.concat(
        [
            pl.DataFrame({"job": [f"J{i:05}" for i in jobs["number"]], "part": part, "lot": jobs[key].tolist()})
            for part, key in (("bearing", "lot_a"), ("gasket", "lot_b"))
        ]
    )
    characteristics = pl.DataFrame(
        [
            {
                "case_type": f"T{t}",
                "characteristic": f"c{c}",
                "unit": "thou",
                "step": CHARACTERISTICS[c][1] * round(unit[t, c], 1),
                "matters": None,
            }
            for t in range(len(RATES))
            for c in range(m)
        ],
        schema_overrides={"matters": pl.Float64},
    )
    events = pl.DataFrame(schema={"gauge": pl.String, "since": pl.Datetime("us"), "until": pl.Datetime("us")})
    return Observations(rows, lots, pl.concat(gauges), events, characteristics, pl.DataFrame(schema=TICKS))


def write_exchange(shop: Workshop, folder: Path) -> Path:
    """The workshop as an exchange folder, so that it can come in as any other shop's readings do."""
    o = shop.observations
    (folder / "case_types").mkdir(parents=True)
    steps = {(r["case_type"], r["characteristic"]): r["step"] for r in o.characteristics.iter_rows(named=True)}
    for number in range(len(RATES)):
        text = f'code = "T{number}"\nname = "Type {number}"\nfamily = "invented"\nversion = "1"\n'
        for c in range(len(CHARACTERISTICS)):
            step = steps[(f"T{number}", f"c{c}")]
            text += f'[[characteristic]]\ncode = "c{c}"\nname = "Size {c}"\nunit = "thou"\nstep = {step}\n'
            text += 'stages = ["final"]\n' + ('parts = ["gasket"]\n' if c == 9 else "")
        (folder / "case_types" / f"T{number}.toml").write_text(text, encoding="utf-8")
    moment = pl.col("taken_at").dt.strftime("%Y-%m-%dT%H:%M:%S")
    pl.DataFrame({"person": TECHNICIANS, "role": ["technician"] * 4}).write_csv(folder / "people.csv")
    pl.DataFrame({"gauge": [g for names in GAUGES.values() for g in names]}).with_columns(
        kind=pl.lit("dial"), unit=pl.lit("thou"), step=pl.lit(0.1)
    ).write_csv(folder / "gauges.csv")
    first = o.rows.unique("job", keep="first", maintain_order=True)
    first.select("job", "case_type", "case_serial", "rebuild", "machining_batch", opened=moment).write_csv(
        folder / "jobs.csv"
    )
    conditions = o.rows.filter(pl.col("characteristic") == "c9").select("job", "condition")
    o.lots.join(conditions, on="job").select("job", "part", "lot", "condition").write_csv(folder / "parts.csv")
    read = o.rows.join(o.gauges, on=["job", "characteristic", "stage"], how="left", maintain_order="left")
    read.select(
        "job",
        "characteristic",
        "stage",
        pl.col("value").round(6).alias("reading"),
        "gauge",
        "technician",
        taken_at=moment,
    ).write_csv(folder / "readings.csv")
    return folder
