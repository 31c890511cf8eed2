"""What a spreadsheet would do with the table of events: see docs/formats/events.md."""

import re

import numpy as np

MATCH_COLUMN = {"loudness": "loudness_lufs", "midrange": "midrange_db", "peak": "sample_peak_dbfs"}


class Events:
    def __init__(self, rows):
        self.rows = rows
        # Band columns are named by their edges.
        self.columns = [name for name in rows[0] if re.fullmatch(r"[\d.]+-[\d.]+", name)]
        edges = [tuple(map(float, name.split("-"))) for name in self.columns]
        self.from_hz = np.array([low for low, _ in edges])
        self.to_hz = np.array([high for _, high in edges])

    def used(self, take):
        return [row for row in self.rows if row["take"] == take and row["kind"] == "event" and not row["left_out"]]

    def noise(self, take):
        rows = [row for row in self.rows if row["take"] == take and row["kind"] == "noise"]
        return rows[0] if rows else None

    def bands(self, row):
        return np.array([float(row[name]) if row[name] else -np.inf for name in self.columns])

    def _level(self, row, noise, inside, hits):
        """One event's level in one band of the JSON, noise taken away."""
        energy = np.sum(10 ** (self.bands(row)[inside] / 10))
        if noise is not None:
            seconds = float(row["end_s"]) - float(row["start_s"]) if hits else 1.0
            own = energy
            energy -= seconds * np.sum(10 ** (self.bands(noise)[inside] / 10))
            energy = max(energy, 0.1 * own)
        return 10 * np.log10(energy)

    def _mean_over_takes(self, findings, mic, source, value):
        """Mean over events, then over takes of a placement, then over placements."""
        placements = {}
        for take in findings["takes"]:
            if take["mic"] == mic and take["source"] == source and take["role"] == "compared":
                values = [value(take, row) for row in self.used(take["id"])]
                placements.setdefault(take["placement"], []).append(np.mean(values))
        return np.mean([np.mean(means) for means in placements.values()])

    def difference(self, findings, comparison, band):
        # Columns whose middle lies inside the band; edges are printed rounded.
        middle = np.sqrt(self.from_hz * self.to_hz)
        inside = (middle > band["from_hz"]) & (middle < band["to_hz"])
        match = MATCH_COLUMN.get(comparison["match"]["by"])

        def value(take, row):
            level = self._level(row, self.noise(take["id"]), inside, take["playing"] == "percussive")
            return level - (float(row[match]) if match else 0.0)

        return self._difference_of(findings, comparison, value)

    def match_difference(self, findings, comparison):
        match = MATCH_COLUMN.get(comparison["match"]["by"])
        return self._difference_of(findings, comparison, lambda _, row: float(row[match]) if match else 0.0)

    def _difference_of(self, findings, comparison, value):
        means = [
            self._mean_over_takes(findings, comparison[side], comparison["source"], value)
            for side in ("against", "reference")
        ]
        return means[0] - means[1]
