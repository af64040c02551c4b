"""The findings a user would work out with SciPy: openings, max lift above the
heel, half lift on both flanks, spread. Less than `lobescribe analyse` finds (no
uncertainty, no faults), as quick as SciPy can be made to do it."""

import json
import sys
import time

import numpy as np
from scipy.signal import find_peaks, peak_widths, savgol_filter


def findings(t, lift):
    smooth = savgol_filter(lift, 31, 3)
    heel = np.median(lift[lift < lift.min() + 0.05 * np.ptp(lift)])
    # Only what stands well above the heel is looked at: without height= the
    # prominence of every wiggle of the noise is worked out.
    peaks, _ = find_peaks(smooth, height=heel + 0.3 * np.ptp(lift), prominence=0.5 * np.ptp(lift))
    _, _, opening, closing = peak_widths(smooth, peaks, rel_height=0.5)
    at = np.arange(len(t))
    openings = [
        {"t_nose_s": float(t[p]), "max_lift_mm": float(smooth[p] - heel), "opening_half_s": float(a), "closing_half_s": float(b)}
        for p, a, b in zip(peaks, np.interp(opening, at, t), np.interp(closing, at, t))
    ]
    most = [o["max_lift_mm"] for o in openings]
    return {"openings": openings, "max_lift_mm": float(np.mean(most)), "spread_mm": float(np.ptp(most))}


if __name__ == "__main__":
    t, lift = np.loadtxt(sys.argv[1], delimiter=",", skiprows=1, unpack=True)
    took = []
    for _ in range(int(sys.argv[2]) if len(sys.argv) > 2 else 1):
        began = time.perf_counter()
        found = findings(t, lift)
        took.append(time.perf_counter() - began)
    found["calculation_s"] = min(took)
    json.dump(found, sys.stdout)
