#!/usr/bin/env python3
"""A string that sounds against the frets behind its stop, and takes in which some notes buzz.

  buzz_string.py --check
      holds the model against what is known of it: its first partials, its energy, when it touches, the bursts
  buzz_string.py --ground FOLDER --out DIR [--seed 63030] [--count 60] [--kinds notes,rig] [--instruments linguine] [--share 0.25]
      makes the takes of FOLDER/make_takes.py with that seed and those choices; in each a share of the plucked
      notes buzzes.  DIR/truth says which: `buzz` of a played note holds `level_db`, the level of the buzz over its
      first 0.3 s beside the note's, and `clearance`, how many times the string's slope at its stop is steeper than
      the way to the frets.  Needs what make_takes.py needs.

The model.  A stiff string with losses between its stop and the bridge, u_tt = c2 u_xx - kappa2 u_xxxx - 2 s0 u_t +
2 s1 u_txx, and below it the frets behind the stop, points that push back with K [penetration]^alpha.  Beside that it
moves along the frets, which nothing hinders, and a weak spring lets either motion pass over into the other, as a
string whirls: what the frets take is given again, so that a buzz lasts.  The scheme
is explicit for the string and solves one scalar equation by Newton's method for each fret and step; without losses
its energy is constant to rounding.  Frets lie at L (1 - 2^(-j/12)) from the stop, under a string that rises from it.

Source: S. Bilbao, A. Torin, V. Chatziioannou (2015), Numerical modeling of collisions in musical instruments, Acta
Acustica united with Acustica 101, 155-173 (the scheme; from memory, its summary was read); S. Bilbao, A. Torin (2014),
Numerical simulation of string/barrier collisions: the fretboard, DAFx-14 (the geometry; from memory, its summary was
read); C. Issanchou et al. (2017), A modal-based approach to the nonlinear vibration of strings against a unilateral
obstacle, J. Sound Vib. 393, 229-251 (from memory: collisions feed high partials for as long as the string reaches the
obstacle, also those that the place of the pluck leaves out).  Ways of a hand and heights of frets: common practice, no
source.
"""
import argparse
import json
import sys
from pathlib import Path

import numpy as np
from scipy.signal import butter, sosfilt

try:
    from numba import njit           # fifty times as fast; without it the same by numpy
except ImportError:
    njit = None

RATE = 44100
SCALE_M = 0.864          # a long-scale bass
FRETS = 9                # frets behind the stop that are looked at
STIFFNESS = 5e8          # of a fret, N/m^alpha; raised, frets are harder
ALPHA = 1.3              # power of the contact force (Bilbao et al. use 1 to 3)
MASS = 0.012             # kg/m, between an A and a D string
BUZZ_FROM_HZ = 700.0     # what lies below belongs to the sampled note


def _phi(eta):
    return STIFFNESS / (ALPHA + 1) * max(eta, 0.0) ** (ALPHA + 1)


def _steps(u, last, side, side_last, n, pick, law, at, below, y, force):
    """n steps of the scheme in place; what `String.step` does, number by number"""
    c, kappa, s0, s1, k, h, m, pull = law
    N = len(u) - 1
    new = np.zeros(N + 1)
    d2 = np.zeros(N + 1)
    side_new = np.zeros(N + 1)
    side_d2 = np.zeros(N + 1)
    for i in range(n):
        for l in range(1, N):
            d2[l] = (u[l + 1] - 2 * u[l] + u[l - 1]) / (h * h)
            side_d2[l] = (side[l + 1] - 2 * side[l] + side[l - 1]) / (h * h)
        for l in range(1, N):
            d4 = (d2[l + 1] - 2 * d2[l] + d2[l - 1]) / (h * h)
            d2l = (last[l + 1] - 2 * last[l] + last[l - 1]) / (h * h)
            over = pull * (side[l] - u[l])
            new[l] = (2 * u[l] - (1 - s0 * k) * last[l] + k * k * (c * c * d2[l] - kappa * kappa * d4 + over) + 2 * s1 * k * (d2[l] - d2l)) / (1 + s0 * k)
            d4 = (side_d2[l + 1] - 2 * side_d2[l] + side_d2[l - 1]) / (h * h)
            d2l = (side_last[l + 1] - 2 * side_last[l] + side_last[l - 1]) / (h * h)
            side_new[l] = (2 * side[l] - (1 - s0 * k) * side_last[l] + k * k * (c * c * side_d2[l] - kappa * kappa * d4 - over)
                           + 2 * s1 * k * (side_d2[l] - d2l)) / (1 + s0 * k)
        total = 0.0
        for j in range(len(at)):
            a = below[j] - last[at[j]]
            r0 = below[j] - new[at[j]] - a
            if a > 0 or r0 + a > 0:
                r, f = r0, 0.0
                for _ in range(30):
                    q = r if abs(r) > 1e-13 else 1e-13
                    f = (_phi(a + q) - _phi(a)) / q
                    d = (STIFFNESS * max(a + q, 0.0) ** ALPHA - f) / q
                    step = (r + m * f - r0) / (1 + m * d)
                    r -= step
                    if abs(step) < 1e-15:
                        break
                total += f
                new[at[j]] = below[j] - (a + r)
        for l in range(N + 1):
            last[l] = u[l]
            u[l] = new[l]
            side_last[l] = side[l]
            side[l] = side_new[l]
        y[i] = (u[pick] - last[pick]) / k
        force[i] = total


if njit:
    _phi = njit(_phi)
    _steps = njit(_steps)


class String:
    """One stopped string over its frets."""

    def __init__(self, f1, pluck=0.16, height_m=0.0015, rise=0.0025, lift=0.0, s0=1.0, s1=0.006, stiff=2e-4, side_m=0.0, whirl_hz=0.0, rate=RATE):
        k = 1.0 / rate
        L = min(SCALE_M, SCALE_M * 41.2 / f1 * 2.0)          # any string short enough for this pitch
        c = 2 * L * f1
        kappa = np.sqrt(stiff) * c * L / np.pi
        a = c * c * k * k + 4 * s1 * k
        h = np.sqrt((a + np.sqrt(a * a + 16 * kappa * kappa * k * k)) / 2)
        N = int(L / h)
        h = L / N
        self.k, self.h, self.N, self.L, self.c, self.kappa, self.s0, self.s1 = k, h, N, L, c, kappa, s0, s1
        x = np.arange(N + 1) * h
        p = (1 - pluck) * L
        u = np.where(x < p, x / p, (L - x) / (L - p)) * height_m
        w = max(3, int(0.006 / h)) | 1                       # a finger is round
        u = np.convolve(np.pad(u, w // 2, mode="reflect", reflect_type="odd"), np.ones(w) / w, "valid")
        u[0] = u[-1] = 0
        self.u, self.last = u.copy(), u.copy()
        self.side = u * (side_m / height_m)
        self.side_last = self.side.copy()
        self.pull = 2 * np.pi * whirl_hz * 2 * np.pi * f1    # parts the two motions of the first partial by whirl_hz
        j = np.arange(1, FRETS + 1)
        at = L * (1 - 2.0 ** (-j / 12))
        self.at = np.unique(np.clip(np.round(at / h).astype(int), 2, N - 2))
        self.below = -rise * self.at * h
        self.below[0] += lift                                # the first fret behind the stop stands higher
        self.m = k * k / (MASS * h * (1 + s0 * k))
        self.contact = np.zeros(len(self.at))

    def _phi(self, eta):
        return STIFFNESS / (ALPHA + 1) * np.maximum(eta, 0) ** (ALPHA + 1)

    def _force(self, r, a):
        """(phi(a + r) - phi(a)) / r, and its derivative by r"""
        small = np.abs(r) < 1e-13
        rr = np.where(small, 1e-13, r)
        f = (self._phi(a + rr) - self._phi(a)) / rr
        d = (STIFFNESS * np.maximum(a + rr, 0) ** ALPHA - f) / rr
        return f, d

    def step(self):
        u, v, k, h = self.u, self.last, self.k, self.h
        D = lambda q: (q[2:] - 2 * q[1:-1] + q[:-2]) / (h * h)

        def free(q, before, over):
            d2 = np.zeros_like(q)
            d2[1:-1] = D(q)
            inner = 2 * q[1:-1] - (1 - self.s0 * k) * before[1:-1] + k * k * (self.c ** 2 * d2[1:-1] - self.kappa ** 2 * D(d2) + over) \
                + 2 * self.s1 * k * (d2[1:-1] - D(before))
            return np.concatenate([[0], inner / (1 + self.s0 * k), [0]])
        over = self.pull * (self.side - u)[1:-1]
        n = free(u, v, over)
        side = free(self.side, self.side_last, -over)
        at = self.at
        a = self.below - v[at]
        r0 = (self.below - n[at]) - a
        self.contact[:] = 0
        if ((a > 0) | (r0 + a > 0)).any():
            r = r0.copy()
            for _ in range(30):
                f, d = self._force(r, a)
                g = r + self.m * f - r0
                step = g / (1 + self.m * d)
                r -= step
                if np.abs(step).max() < 1e-15:
                    break
            f, _ = self._force(r, a)
            self.contact[:] = f
            n[at] = self.below - (a + r)
        self.last, self.u = u, n
        self.side_last, self.side = self.side, side

    def energy(self):
        u, v, k, h = self.u, self.last, self.k, self.h
        D = lambda q: (q[2:] - 2 * q[1:-1] + q[:-2]) / (h * h)
        e = 0.5 * self.pull * np.sum((u - self.side) * (v - self.side_last)) * h
        for q, p in ((u, v), (self.side, self.side_last)):
            e += 0.5 * np.sum(((q - p) / k) ** 2) * h
            e += 0.5 * self.c ** 2 * np.sum(np.diff(q) * np.diff(p)) / h
            e += 0.5 * self.kappa ** 2 * np.sum(D(q) * D(p)) * h
        e += np.sum(self._phi(self.below - u[self.at]) + self._phi(self.below - v[self.at])) / 2 / MASS
        return e

    def run(self, seconds, pickup=0.12):
        """what a pickup hears (velocity there), and the force of the frets"""
        n = int(seconds * RATE)
        y, f = np.zeros(n), np.zeros(n)
        at = int((1 - pickup) * self.N)
        if njit:
            law = (self.c, self.kappa, self.s0, self.s1, self.k, self.h, self.m, self.pull)
            _steps(self.u, self.last, self.side, self.side_last, n, at, law, self.at, self.below, y, f)
            return y, f
        for i in range(n):
            self.step()
            y[i] = (self.u[at] - self.last[at]) / self.k
            f[i] = self.contact.sum()
        return y, f


def _power(x, w):
    return np.convolve(np.square(x), np.ones(w) / w, "same") + 1e-20


def buzz_of(f1, rng, seconds=1.2):
    """One buzz: what the frets add above BUZZ_FROM_HZ to a string at f1, for a string of mean power 1 over 0.3 s."""
    pluck = float(rng.uniform(0.08, 0.22))
    rise = float(rng.uniform(0.002, 0.004))
    clearance = float(rng.uniform(1.0, 2.5))
    pickup = float(rng.uniform(0.07, 0.2))
    # what sounds at 2 kHz has fallen 60 dB after 0.25 to 1.2 s (common practice, no source)
    L = min(SCALE_M, SCALE_M * 82.4 / f1)
    s1 = 6.91 / float(rng.uniform(0.25, 1.2)) / (2 * np.pi * 2000 / (2 * L * f1)) ** 2
    how = dict(pluck=pluck, rise=rise, height_m=clearance * rise * pluck * L, side_m=float(rng.uniform(1.5, 4)) * clearance * rise * pluck * L,
               whirl_hz=float(rng.uniform(0.4, 2.5)), lift=float(rng.choice([0, 0, 4e-5])),
               s0=float(rng.uniform(0.7, 2.0)), s1=s1, stiff=float(10 ** rng.uniform(-4.2, -3.3)))
    y1, f = String(f1, **how).run(seconds, pickup)
    free = String(f1, **how)
    free.below[:] = -1.0
    y0, _ = free.run(seconds, pickup)
    top = float(rng.uniform(2500, 7000))                     # pickup and cable
    sos = np.vstack([butter(4, BUZZ_FROM_HZ, "highpass", fs=RATE, output="sos"), butter(2, top, fs=RATE, output="sos")])
    b1, b0 = sosfilt(sos, y1), sosfilt(sos, y0)
    w = int(0.015 * RATE)
    b = b1 * np.sqrt(np.clip(1 - _power(b0, w) / _power(b1, w), 0, 1))
    ref = np.sqrt(np.mean(y0[:int(0.3 * RATE)] ** 2))
    touches = np.flatnonzero(f > 0)
    return b / ref, {"clearance": round(clearance, 2), "until_s": round(float(touches[-1] / RATE), 3) if len(touches) else 0.0}


def bank(seed, count=56):
    """Buzzes at pitches over the neck"""
    rng = np.random.default_rng(seed)
    out = []
    for midi in np.linspace(28.5, 56.5, count):
        f1 = 440 * 2 ** ((midi - 69) / 12)
        out.append((float(midi), *buzz_of(f1, rng)))
    return out


def lay(a):
    """The takes of the ground with buzzes laid over their plucked notes, before room, amp and codec."""
    sys.path.insert(0, str(a.ground))
    from bassgen import bank as bank_mod, formats, lines, performance, render, specs, truth
    kept = Path(a.out) / "buzzes.npy"
    kept.parent.mkdir(parents=True, exist_ok=True)
    buzzes = np.load(kept, allow_pickle=True) if kept.exists() else np.array(bank(a.seed), dtype=object)
    np.save(kept, buzzes, allow_pickle=True)

    class Renderer(render.Renderer):
        def _voice(self, inst, kind, midi, vel, rng, avoid, used=None):
            e, x, att = super()._voice(inst, kind, midi, vel, rng, avoid, used)
            event = next(self.events, None)
            if event is None or event["kind"] != "normal" or event.get("slur") or self.own.random() >= a.share:
                return e, x, att
            near = sorted(range(len(buzzes)), key=lambda i: abs(buzzes[i][0] - midi))[:3]
            at, b, how = buzzes[near[int(self.own.integers(len(near)))]]
            n = int(len(b) / 2 ** ((midi - at) / 12))
            b = np.interp(np.linspace(0, len(b) - 1, n), np.arange(len(b)), b)
            s = int(att)
            ref = np.sqrt(np.mean(x[s:s + int(0.3 * render.SR)] ** 2))
            b = b * ref * 10 ** (float(self.own.uniform(-14, 0)) / 20)
            level = 20 * np.log10(np.sqrt(np.mean(b[:int(0.3 * render.SR)] ** 2)) / ref + 1e-9)
            x = x.copy()
            n = min(len(b), len(x) - s)
            x[s:s + n] += b[:n]
            event["buzz"] = {"level_db": round(float(level), 1), **how}
            return e, x, att

    out = Path(a.out)
    r = Renderer(bank_mod.Bank(Path(a.ground) / "banks"))
    insts = a.instruments.split(",") if a.instruments else list(bank_mod.INSTRUMENTS)
    for spec in specs.takes(a.seed, a.count, insts, a.kinds.split(",")):
        cfg, L = spec["cfg"], spec["line"]
        line = lines.make_line(spec["name"], L["seed"], L["flavour"], L["rhythm"], L["bpm"], L["beats"], L["beat_type"], L["bars"], L["lo"], L["hi"], L["ties"])
        line["dotline"] = True
        plan = performance.plan_take(line, cfg, spec["take_seed"], bank_mod.INSTRUMENTS[cfg["instrument"]])
        r.events, r.own = iter([e for e in plan["events"] if e]), np.random.default_rng(spec["take_seed"] + 17)
        notes, bleed = r.render(plan, cfg)
        y, rng = r.room(notes + bleed, cfg, plan), plan["rng"]
        tr = truth.build(spec["name"], line, cfg, spec["take_seed"], plan, plan["heard"])
        of = {e["id"]: e.get("buzz") for e in plan["events"] if e}
        for note in tr["notes"]:
            if note.get("played"):
                note["played"]["buzz"] = of.get(note["id"])
        for part in ("audio", "truth"):
            (out / part).mkdir(parents=True, exist_ok=True)
        formats.write_line(line, out / "lines")
        formats.write_json(tr, out / "truth" / f"{spec['name']}.json")
        render.write_audio(y, cfg, out / "audio" / tr["file"], rng)
    print(a.count, "takes in", out)


def check():
    """What is known of the model; stops at the first thing that does not hold."""
    f1 = 82.4
    # closed form: partials of a stiff string between hinges, f_k = k f1 sqrt(1 + B k^2) (Fletcher 1964)
    s = String(f1, s0=0, s1=0, stiff=2e-4)
    s.below[:] = -1
    y, _ = s.run(3.0)
    Y = np.abs(np.fft.rfft(y * np.hanning(len(y)), 8 * len(y)))
    f = np.fft.rfftfreq(8 * len(y), 1 / RATE)
    worst = 0
    for n in range(1, 9):
        want = n * f1 * np.sqrt(1 + 2e-4 * n * n)
        near = (f > want - 20) & (f < want + 20)
        worst = max(worst, abs(1200 * np.log2(f[near][Y[near].argmax()] / want)))
    print(f"partials 1 to 8 of the free string: at most {worst:.2f} cents off")
    assert worst < 2
    # closed form: without losses the energy is constant, contacts included
    s = String(f1, s0=0, s1=0, height_m=0.003, side_m=0.004, whirl_hz=1.5)
    e, touched = [], 0
    for _ in range(RATE // 2):
        s.step()
        e.append(s.energy())
        touched += int((s.contact > 0).any())
    drift = (max(e) - min(e)) / e[0]
    print(f"energy without losses, {touched} steps in contact: constant to {drift:.1e}")
    assert drift < 1e-7 and touched > 100
    # closed form: a string that does not reach the frets is the free string, sample for sample
    quiet = dict(height_m=1e-4)
    y1, force = String(f1, **quiet).run(0.5)
    free = String(f1, **quiet)
    free.below[:] = -1
    y0, _ = free.run(0.5)
    assert force.max() == 0 and np.array_equal(y0, y1)
    print("a string that does not reach the frets is the free string")
    # Issanchou et al. (2017): high partials are fed for as long as the string reaches the obstacle, those too that
    # the place of the pluck leaves out (a pluck at 1/5 leaves out 5, 10, 15, ...)
    how = dict(pluck=0.2, height_m=0.0025, rise=0.003, s1=0.003, side_m=0.006, whirl_hz=1.5)
    y1, force = String(f1, **how).run(1.0, 0.13)
    free = String(f1, **how)
    free.below[:] = -1
    y0, _ = free.run(1.0, 0.13)
    w = slice(int(0.1 * RATE), int(0.4 * RATE))

    def partial(y, n):
        z = y[w] * np.hanning(w.stop - w.start)
        q = np.abs(np.fft.rfft(z, 1 << 16))
        g = np.fft.rfftfreq(1 << 16, 1 / RATE)
        near = np.abs(g / f1 - n) < 0.35
        return 20 * np.log10(q[near].max())
    gains = [partial(y1, n) - partial(y0, n) for n in (10, 15, 20, 25)]
    print("partials 10, 15, 20, 25, left out by the pluck, gain by the frets: " + ", ".join(f"{g:.0f} dB" for g in gains))
    assert np.median(gains) > 10
    # while the string reaches the frets it touches them once in each period at least
    until = np.flatnonzero(force)[-1] / RATE
    periods = int(0.8 * until * f1)
    touched = [bool(force[int(n * RATE / f1):int((n + 1) * RATE / f1)].any()) for n in range(periods)]
    print(f"touches in {sum(touched)} of the first {periods} periods; the last one after {until:.2f} s")
    assert periods >= 8 and sum(touched) > 0.9 * periods
    # both ways of stepping are one
    slow, fast = String(f1, **how), String(f1, **how)
    yf, _ = fast.run(0.05)
    ys = []
    for _ in range(len(yf)):
        slow.step()
        at = int((1 - 0.12) * slow.N)
        ys.append((slow.u[at] - slow.last[at]) / slow.k)
    assert np.allclose(ys, yf, rtol=1e-6, atol=1e-9)
    print("all holds")


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--check", action="store_true")
    ap.add_argument("--ground", type=Path)
    ap.add_argument("--out")
    ap.add_argument("--seed", type=int, default=63030)
    ap.add_argument("--count", type=int, default=60)
    ap.add_argument("--kinds", default="clean,notes,touch,amp,rig,phone,slurs,soft slurs")
    ap.add_argument("--instruments")
    ap.add_argument("--share", type=float, default=0.25)
    a = ap.parse_args()
    if a.check:
        check()
    elif a.ground and a.out:
        lay(a)
    else:
        ap.error("give --check, or --ground and --out")


if __name__ == "__main__":
    main()
