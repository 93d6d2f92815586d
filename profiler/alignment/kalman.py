"""One hypothesis as a Gaussian: how a vertex, a cell of way and the end of an element change it.

The state is (offset, heading, curvature, rate of curvature) against the pilot; its mean is ``m`` (4,), its
covariance ``p`` (10,) the upper triangle by rows. All change in place.
"""

from __future__ import annotations

import math

from profiler.compiling import compiled


@compiled
def seen(m, p, h0, h1, h2, h3, z, variance):
    """Kalman update in place by one figure z of h·state; returns its log likelihood less ½ log 2π.

    A surprise beyond 3.5 s.d. gets the variance that makes it 3.5.
    """
    a0 = p[0] * h0 + p[1] * h1 + p[2] * h2 + p[3] * h3
    a1 = p[1] * h0 + p[4] * h1 + p[5] * h2 + p[6] * h3
    a2 = p[2] * h0 + p[5] * h1 + p[7] * h2 + p[8] * h3
    a3 = p[3] * h0 + p[6] * h1 + p[8] * h2 + p[9] * h3
    s = max(h0 * a0 + h1 * a1 + h2 * a2 + h3 * a3, 0.0) + variance
    e = z - (h0 * m[0] + h1 * m[1] + h2 * m[2] + h3 * m[3])
    t = e * e / s
    if t > 12.25:
        s = e * e / 12.25
        t = 12.25
    i = 1.0 / s
    g = e * i
    m[0] += a0 * g
    m[1] += a1 * g
    m[2] += a2 * g
    m[3] += a3 * g
    p[0] -= a0 * a0 * i
    p[1] -= a0 * a1 * i
    p[2] -= a0 * a2 * i
    p[3] -= a0 * a3 * i
    p[4] -= a1 * a1 * i
    p[5] -= a1 * a2 * i
    p[6] -= a1 * a3 * i
    p[7] -= a2 * a2 * i
    p[8] -= a2 * a3 * i
    p[9] -= a3 * a3 * i
    return -0.5 * (t + math.log(s))


@compiled
def moved(m, p, to_m, to_p, h, k2, f0, f1, drift):
    """The state one cell on."""
    a, b, h2, h3 = 1.0 - k2 * h * h / 2, -k2 * h, h * h / 2, h * h * h / 6
    to_m[0] = a * m[0] + h * m[1] + h2 * m[2] + h3 * m[3] - f0
    to_m[1] = b * m[0] + a * m[1] + h * m[2] + h2 * m[3] - f1
    to_m[2] = m[2] + h * m[3]
    to_m[3] = m[3]
    b00 = a * p[0] + h * p[1] + h2 * p[2] + h3 * p[3]
    b01 = a * p[1] + h * p[4] + h2 * p[5] + h3 * p[6]
    b02 = a * p[2] + h * p[5] + h2 * p[7] + h3 * p[8]
    b03 = a * p[3] + h * p[6] + h2 * p[8] + h3 * p[9]
    b10 = b * p[0] + a * p[1] + h * p[2] + h2 * p[3]
    b11 = b * p[1] + a * p[4] + h * p[5] + h2 * p[6]
    b12 = b * p[2] + a * p[5] + h * p[7] + h2 * p[8]
    b13 = b * p[3] + a * p[6] + h * p[8] + h2 * p[9]
    b22 = p[7] + h * p[8]
    b23 = p[8] + h * p[9]
    to_p[0] = a * b00 + h * b01 + h2 * b02 + h3 * b03 + drift
    to_p[1] = b * b00 + a * b01 + h * b02 + h2 * b03
    to_p[2] = b02 + h * b03
    to_p[3] = b03
    to_p[4] = b * b10 + a * b11 + h * b12 + h2 * b13
    to_p[5] = b12 + h * b13
    to_p[6] = b13
    to_p[7] = b22 + h * b23
    to_p[8] = b23
    to_p[9] = p[9]


@compiled
def fixed(m, p, curvature):
    """Forget the rate of curvature, and the curvature too where ``curvature``: a tangent begins."""
    m[3] = 0.0
    p[3] = p[6] = p[8] = p[9] = 0.0
    if curvature:
        m[2] = 0.0
        p[2] = p[5] = p[7] = 0.0


@compiled
def alike(m, p, n, q):
    """Whether two Gaussians agree so well that one stands for both."""
    for i in range(4):
        j = 0 if i == 0 else (4 if i == 1 else (7 if i == 2 else 9))
        d = m[i] - n[i]
        if d * d > 0.5 * (p[j] + q[j]) + 1e-20 or p[j] > 1.6 * q[j] + 1e-20 or q[j] > 1.6 * p[j] + 1e-20:
            return False
    return True
