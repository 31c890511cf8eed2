"""Collects checks, prints what failed, and ends with one line that says how many passed."""

import numpy as np


class Report:
    def __init__(self):
        self.n_passed = 0
        self.failures = []
        self.notes = []

    def near(self, name, found, expected, tolerance):
        """Every found number lies within `tolerance` of the expected one. Unknown is a failure."""
        found = np.atleast_1d(np.asarray(found, dtype=float))
        expected = np.atleast_1d(np.asarray(expected, dtype=float))
        if found.shape != expected.shape or found.size == 0:
            return self._fail(name, f"{found.size} numbers, expected {expected.size}")
        away = np.abs(found - expected)
        away[np.isnan(away)] = np.inf
        worst = int(away.argmax())
        if away[worst] > tolerance:
            return self._fail(
                name, f"{found[worst]:.6g}, expected {expected[worst]:.6g} ± {tolerance:g} (place {worst})"
            )
        self.n_passed += 1
        self.notes.append(f"  {name}: worst {away[worst]:.2g} of {tolerance:g}, n = {found.size}")

    def true(self, name, holds, otherwise):
        if holds:
            self.n_passed += 1
            self.notes.append(f"  {name}")
        else:
            self._fail(name, otherwise)

    def _fail(self, name, text):
        self.failures.append(f"  {name}: {text}")

    def close(self):
        """Prints everything; the exit code."""
        print("\n".join(self.notes))
        if self.failures:
            print("FAILED")
            print("\n".join(self.failures))
        print(f"{self.n_passed} passed, {len(self.failures)} failed")
        return 1 if self.failures or self.n_passed == 0 else 0
