"""One pack of 96 cells for 600 s in ticks of 10 ms, as a practitioner would write it.

The same kind of model as the project's world: open-circuit voltage from a table, one-state hysteresis, series resistance and two
RC pairs that grow in the cold (Arrhenius), heat between neighbours and to the air, normal noise and rounding on 96 cells,
16 thermistors and 8 other channels. Left out, in favour of this side: firmware, contactors, the link, defects.

    ds/dt = i/Q      v_k <- a_k v_k + (1 - a_k) R_k f i,  a_k = exp(-dt/tau_k)      h' = (gamma |i|/Q) (M sign i - h)
    V = U(s) + v_1 + v_2 + h + i R_0 f          f = exp(2400 K (1/T - 1/298.15 K))

Every 100 ms the temperatures and f are renewed. Values are invented. Prints for each way: name, tab, seconds of processor time
(least of the runs). Numba is tried when it can be imported; what it needs to compile is told apart.
"""

import sys
import time

import numpy as np

CELLS, THERMISTORS, OTHERS = 96, 16, 8
TICKS, TICK_S, SLOW = 60_000, 0.01, 10
CELL_SIGMA, CELL_STEP, OTHER_SIGMA, OTHER_STEP = 0.5e-3, 0.1e-3, 0.1, 0.05

place = np.arange(CELLS)
CAPACITY = 360_000.0 * (1.0 + 0.01 * np.sin(1.7 * place))
R0 = 0.7e-3 * (1.0 + 0.03 * np.sin(2.3 * place))
R1 = 0.4e-3 * (1.0 + 0.03 * np.sin(2.9 * place))
R2 = 0.6e-3 * (1.0 + 0.03 * np.sin(3.1 * place))
KEEP1, KEEP2 = np.exp(-TICK_S / 5.0), np.exp(-TICK_S / 120.0)
GRID = np.linspace(0.0, 1.0, 21)
OCV = 3.28 + 0.06 * GRID - 0.9 * np.exp(-25.0 * GRID) + 0.12 * np.exp(-30.0 * (1.0 - GRID))
HEAT_CAPACITY, TO_NEIGHBOUR, TO_AIR, AIR = 2_000.0, 1.0, 0.5, 25.0
HYSTERESIS, GAMMA = 0.01, 100.0


def load(tick):
    """A hoist, travel, a pause and lowering, again and again."""
    second = (tick * TICK_S) % 46.0
    return -150.0 if second < 8.0 else -40.0 if second < 28.0 else 0.0 if second < 38.0 else 60.0


def growth(celsius):
    return np.exp(2_400.0 * (1.0 / (celsius + 273.15) - 1.0 / 298.15))


def numpy_loop():
    random = np.random.default_rng(1)
    charge = 0.6 + 0.05 * np.sin(0.9 * place)
    v1, v2, h = np.zeros(CELLS), np.zeros(CELLS), np.zeros(CELLS)
    celsius, heat = np.full(CELLS, 25.0), np.zeros(CELLS)
    others = np.zeros(OTHERS)
    check = 0.0
    for tick in range(TICKS):
        if tick % SLOW == 0:
            flow = np.zeros(CELLS)
            between = TO_NEIGHBOUR * np.diff(celsius)
            flow[:-1] += between
            flow[1:] -= between
            celsius += (heat + (flow + TO_AIR * (AIR - celsius)) * TICK_S * SLOW) / HEAT_CAPACITY
            heat[:] = 0.0
            f = growth(celsius)
        i = load(tick)
        charge += i * TICK_S / CAPACITY
        v1 = KEEP1 * v1 + (1.0 - KEEP1) * R1 * f * i
        v2 = KEEP2 * v2 + (1.0 - KEEP2) * R2 * f * i
        h += GAMMA * abs(i) * TICK_S / CAPACITY * (HYSTERESIS * np.sign(i) - h)
        heat += (i * i * R0 * f + v1 * v1 / (R1 * f) + v2 * v2 / (R2 * f)) * TICK_S
        volts = np.interp(charge, GRID, OCV) + v1 + v2 + h + i * R0 * f
        seen = np.round((volts + CELL_SIGMA * random.standard_normal(CELLS)) / CELL_STEP) * CELL_STEP
        warm = celsius[:: CELLS // THERMISTORS] + OTHER_SIGMA * random.standard_normal(THERMISTORS)
        warm = np.round(warm / OTHER_STEP) * OTHER_STEP
        single = np.round((others + OTHER_SIGMA * random.standard_normal(OTHERS)) / OTHER_STEP) * OTHER_STEP
        check += seen[0] + warm[0] + single[0]
    return check


def compiled_loop(numba):
    @numba.njit(fastmath=True)
    def run(ticks):
        np.random.seed(1)
        charge = 0.6 + 0.05 * np.sin(0.9 * np.arange(CELLS))
        v1, v2, h = np.zeros(CELLS), np.zeros(CELLS), np.zeros(CELLS)
        celsius, heat, f = np.full(CELLS, 25.0), np.zeros(CELLS), np.ones(CELLS)
        flow, seen = np.zeros(CELLS), np.zeros(CELLS)
        warm, single = np.zeros(THERMISTORS), np.zeros(OTHERS)
        check = 0.0
        for tick in range(ticks):
            if tick % SLOW == 0:
                for cell in range(CELLS):
                    flow[cell] = TO_AIR * (AIR - celsius[cell])
                    if cell > 0:
                        flow[cell] += TO_NEIGHBOUR * (celsius[cell - 1] - celsius[cell])
                    if cell < CELLS - 1:
                        flow[cell] += TO_NEIGHBOUR * (celsius[cell + 1] - celsius[cell])
                for cell in range(CELLS):
                    celsius[cell] += (heat[cell] + flow[cell] * TICK_S * SLOW) / HEAT_CAPACITY
                    heat[cell] = 0.0
                    f[cell] = np.exp(2_400.0 * (1.0 / (celsius[cell] + 273.15) - 1.0 / 298.15))
            second = (tick * TICK_S) % 46.0
            i = -150.0 if second < 8.0 else -40.0 if second < 28.0 else 0.0 if second < 38.0 else 60.0
            sign = -1.0 if i < 0.0 else 1.0 if i > 0.0 else 0.0
            for cell in range(CELLS):
                moved = i * TICK_S / CAPACITY[cell]
                charge[cell] += moved
                v1[cell] = KEEP1 * v1[cell] + (1.0 - KEEP1) * R1[cell] * f[cell] * i
                v2[cell] = KEEP2 * v2[cell] + (1.0 - KEEP2) * R2[cell] * f[cell] * i
                h[cell] += GAMMA * abs(moved) * (HYSTERESIS * sign - h[cell])
                heat[cell] += (
                    i * i * R0[cell] * f[cell]
                    + v1[cell] * v1[cell] / (R1[cell] * f[cell])
                    + v2[cell] * v2[cell] / (R2[cell] * f[cell])
                ) * TICK_S
                at = charge[cell] * 20.0
                piece = min(max(int(at), 0), 19)
                open_volts = OCV[piece] + (at - piece) * (OCV[piece + 1] - OCV[piece])
                seen[cell] = open_volts + v1[cell] + v2[cell] + h[cell] + i * R0[cell] * f[cell]
            for cell in range(CELLS):
                seen[cell] = np.rint((seen[cell] + CELL_SIGMA * np.random.standard_normal()) / CELL_STEP) * CELL_STEP
            for which in range(THERMISTORS):
                true = celsius[which * (CELLS // THERMISTORS)]
                warm[which] = np.rint((true + OTHER_SIGMA * np.random.standard_normal()) / OTHER_STEP) * OTHER_STEP
            for which in range(OTHERS):
                single[which] = np.rint(OTHER_SIGMA * np.random.standard_normal() / OTHER_STEP) * OTHER_STEP
            check += seen[0] + warm[0] + single[0]
        return check

    begun = time.process_time()
    run(SLOW)
    print(f"Numba compiled for {time.process_time() - begun:.1f} s before; not counted.")
    return lambda: run(TICKS)


def least(run, times):
    taken = []
    for _ in range(times):
        begun = time.process_time()
        check = run()
        taken.append(time.process_time() - begun)
        if not np.isfinite(check):
            sys.exit("the model ran away")
    return min(taken)


if __name__ == "__main__":
    print(f"NumPy loop, noise and rounding, no firmware\t{least(numpy_loop, 2):.6f}")
    try:
        import numba
    except ImportError:
        print("Numba is not there: that line is left out.")
    else:
        print(f"Numba loop, noise and rounding, no firmware\t{least(compiled_loop(numba), 3):.6f}")
