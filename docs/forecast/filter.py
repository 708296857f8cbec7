"""The values that tests in src/engine/forecast/filter.rs are held against, from general-purpose routines.

    pip install numpy scipy && python docs/forecast/filter.py

The step of the filter comes from a matrix exponential (Van Loan's method), its steady gains from the discrete
algebraic Riccati equation: nothing here is the closed form that the program uses.
"""

import numpy as np
import scipy.linalg as la

TAU, SIGMA, NOISE = 15.0, 0.4, 4.0
DRIFT = np.array([[0, 1], [0, -1 / TAU]])
SPREAD = np.diag([0, SIGMA**2])


def step(minutes):
    block = np.block([[-DRIFT, SPREAD], [np.zeros((2, 2)), DRIFT.T]])
    power = la.expm(block * minutes)
    move = power[2:, 2:].T
    return move, move @ power[:2, 2:]


times, values = [0, 5, 10, 15, 21, 26, 41, 46], [120, 113, 108, 99, 96, 90, 84, 79]
state, cover = np.array([values[0], 0.0]), np.diag([4.0, 1.0])
for before, now, value in zip(times, times[1:], values[1:]):
    move, spread = step(now - before)
    state, cover = move @ state, move @ cover @ move.T + spread
    gain = cover[:, 0] / (cover[0, 0] + NOISE)
    state, cover = state + gain * (value - state[0]), cover - np.outer(gain, cover[0])
    print(now, *state.round(6))
move, spread = step(5.0)
ahead = la.solve_discrete_are(move.T, np.array([[1.0], [0.0]]), spread, np.array([[NOISE]]))
print("steady gains at 5 minutes", *(ahead[:, 0] / (ahead[0, 0] + NOISE)).round(6))
