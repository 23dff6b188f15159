/* Line, film in segments, arcs over dried ones: integrated in time. Units: kV, mA, uS, W, s.
 *
 * bus:     L di/dt = emf - R i - v,  C dv/dt = i - load          (V and A there)
 * column:  one current through all segments; over each the film's conductance beside an arc's
 * arc:     d ln g / dt = (P / P_loss(g) - 1) / tau, u = field * length * i^-n when still:
 *          n = 1 is Mayr's fixed loss, n = 0 Cassie's fixed voltage
 * ignition: where the integral of what exceeds the band's strength passes its area; the strength
 *          recovers with time since the last arc
 * film:    heat warms it (2 % more conductance a kelvin), warmth dries it, fog wets it
 */
#include <math.h>

enum { SEGMENTS_MAX = 8, ATTEMPTS = 4, SLOW_STEPS = 100 };

typedef struct {
    double length_cm, full_us, water, strength_kv_cm, area_kv_s, field_kv_cm, exponent, tau_s;
    double drop_kv, seed_share, stretch_per_s, recovery_s, residual, lag_s, negative;
    double heat_j_k, loss_w_k, fog_per_s, drying_per_k_s;
} Segment;

typedef struct {
    double film_us, arc_us, warm_k, water, joule, excess_kv_s, since_s, burnt_s;
    int lit, tries, half;
} Band;

typedef struct { double l_h, r_ohm, c_f; } Line;

static const double FLOOR_US = 1e-3;
static const double DRY_WATER = 0.004;

static double film_us(const Segment *s, const Band *b) {
    return s->full_us * pow(b->water, 1.5) * (1 + 0.02 * b->warm_k);
}

/* Current of the column under v; an arc counts only above its electrodes' drop. */
static double column_ma(const Segment *s, const Band *b, int n, double v, double scale, int *on) {
    double sign = v < 0 ? -1 : 1, i = 0;
    for (int k = 0; k < n; k++) on[k] = b[k].lit;
    for (int round = 0; round <= n; round++) {
        double push = fabs(v), ohm = 0;
        for (int k = 0; k < n; k++) {
            double g = b[k].film_us * scale;
            if (on[k]) {
                push -= b[k].arc_us * s[k].drop_kv / (g + b[k].arc_us);
                g += b[k].arc_us;
            }
            ohm += 1 / g;
        }
        i = push / ohm;
        int changed = 0;
        for (int k = 0; k < n; k++)
            if (on[k]) {
                double g = b[k].film_us * scale;
                double u = (i + b[k].arc_us * s[k].drop_kv) / (g + b[k].arc_us);
                if (u < s[k].drop_kv) { on[k] = 0; changed = 1; }
            }
        if (!changed) break;
    }
    return sign * i;
}

static void slow(const Segment *s, Band *b, double dt) {
    double warmth = b->joule - s->loss_w_k * b->warm_k * dt;
    b->warm_k += warmth / s->heat_j_k;
    if (b->warm_k > 75) b->warm_k = 75; /* it boils: the rest of the heat goes into vapour */
    if (b->warm_k < 0) b->warm_k = 0;
    b->water += dt * (s->fog_per_s * (1 - b->water) - s->drying_per_k_s * b->warm_k * b->water);
    if (b->water < DRY_WATER) b->water = DRY_WATER;
    if (b->water > 1) b->water = 1;
    b->joule = 0;
    b->film_us = film_us(s, b);
}

static void lit_step(const Segment *s, Band *b, double u, double arc_ma, double dt) {
    double x = s->length_cm * (1 + s->stretch_per_s * b->burnt_s);
    double power = fmax(fabs(u) - s->drop_kv, 0) * fabs(arc_ma);
    double still_ma = pow(s->field_kv_cm * x * b->arc_us, 1 / (1 + s->exponent));
    double loss = still_ma * still_ma / b->arc_us;
    double slope = (power / loss - 1) * dt / s->tau_s;
    b->arc_us *= exp(slope > 0.7 ? 0.7 : slope);
    b->burnt_s += dt;
    if (b->arc_us < FLOOR_US) {
        b->lit = 0;
        b->since_s = 0;
        b->excess_kv_s = 0;
    }
}

static void dark_step(const Segment *s, Band *b, double u, const double *scatter, double dt) {
    double weak = 1 - s->residual * exp(-b->since_s / s->recovery_s);
    double side = u < 0 ? s->negative : 1;
    double strength = s->length_cm * s->strength_kv_cm * weak * side;
    strength *= scatter[b->tries < ATTEMPTS ? b->tries : ATTEMPTS - 1];
    b->since_s += dt;
    if (fabs(u) <= strength || b->since_s < s->lag_s) return;
    b->excess_kv_s += (fabs(u) - strength) * dt;
    if (b->excess_kv_s < s->area_kv_s) return;
    b->lit = 1;
    b->tries++;
    b->burnt_s = 0;
    b->arc_us = fmax(s->seed_share * s->full_us, 2 * FLOOR_US);
}

void integrate(long steps, double dt, const double *emf, const int *half, const double *scatter,
               const double *beside_us, const double *scale, int n, const Segment *s,
               const Line *line, double *volt, double *surface, double *arc, double *water) {
    Band b[SEGMENTS_MAX] = {0};
    int on[SEGMENTS_MAX];
    double v = emf[0] * 1e3, i = 0, load = 0;
    for (int k = 0; k < n; k++) {
        b[k].water = s[k].water;
        b[k].since_s = 1;
        b[k].film_us = film_us(&s[k], &b[k]);
    }
    for (long t = 0; t < steps; t++) {
        int h = half[t];
        i += dt * (emf[t] * 1e3 - line->r_ohm * i - v) / line->l_h;
        v += dt * (i - load / 1e3) / line->c_f;
        double kv = v / 1e3;
        double ma = column_ma(s, b, n, kv, scale[h], on);
        double most = 0;
        for (int k = 0; k < n; k++) {
            double g = b[k].film_us * scale[h], sign = ma < 0 ? -1 : 1;
            double u = on[k] ? (ma + sign * b[k].arc_us * s[k].drop_kv) / (g + b[k].arc_us) : ma / g;
            double arc_ma = on[k] ? ma - g * u : 0;
            if (b[k].half != h) { b[k].half = h; b[k].tries = 0; b[k].excess_kv_s = 0; }
            b[k].joule += g * u * u * dt;
            if (b[k].lit) lit_step(&s[k], &b[k], u, arc_ma, dt);
            else dark_step(&s[k], &b[k], u, scatter + ATTEMPTS * h, dt);
            if (fabs(arc_ma) > fabs(most)) most = arc_ma;
            if ((t + 1) % SLOW_STEPS == 0) slow(&s[k], &b[k], SLOW_STEPS * dt);
        }
        load = ma + beside_us[h] * kv;
        volt[t] = kv;
        surface[t] = load;
        arc[t] = most;
    }
    for (int k = 0; k < n; k++) water[k] = b[k].water;
}
