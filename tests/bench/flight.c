/* The batch flight's scheme, launch by launch: the ratio that tests/bench/test_bench_flight.py prints is against this.
   Same equations, steps, error estimate, acceptance and apex; drag from the law itself through the C library. */
#include <math.h>

enum { STAGES = 12, MOST_STEPS = 200 };
static const double A[STAGES][STAGES] = {
    {
        0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0
    },
    {
        0.05260015195876773, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0
    },
    {
        0.0197250569845379, 0.0591751709536137, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0
    },
    {
        0.02958758547680685, 0, 0.08876275643042054, 0, 0, 0, 0, 0, 0, 0, 0, 0
    },
    {
        0.2413651341592667, 0, -0.8845494793282861, 0.924834003261792, 0, 0, 0, 0, 0, 0, 0, 0
    },
    {
        0.037037037037037035, 0, 0, 0.17082860872947386, 0.12546768756682242, 0, 0, 0, 0, 0, 0, 0
    },
    {
        0.037109375, 0, 0, 0.17025221101954405, 0.06021653898045596, -0.017578125, 0, 0, 0, 0, 0, 0
    },
    {
        0.03709200011850479, 0, 0, 0.17038392571223998, 0.10726203044637328, -0.015319437748624402,
        0.008273789163814023, 0, 0, 0, 0, 0
    },
    {
        0.6241109587160757, 0, 0, -3.3608926294469414, -0.868219346841726, 27.59209969944671,
        20.154067550477894, -43.48988418106996, 0, 0, 0, 0
    },
    {
        0.47766253643826434, 0, 0, -2.4881146199716677, -0.590290826836843, 21.230051448181193,
        15.279233632882423, -33.28821096898486, -0.020331201708508627, 0, 0, 0
    },
    {
        -0.9371424300859873, 0, 0, 5.186372428844064, 1.0914373489967295, -8.149787010746927,
        -18.52006565999696, 22.739487099350505, 2.4936055526796523, -3.0467644718982196, 0, 0
    },
    {
        2.273310147516538, 0, 0, -10.53449546673725, -2.0008720582248625, -17.9589318631188, 27.94888452941996,
        -2.8589982771350235, -8.87285693353063, 12.360567175794303, 0.6433927460157636, 0
    },
};
static const double W[3][STAGES] = {
    {
        0.054293734116568765, 0, 0, 0, 0, 4.450312892752409, 1.8915178993145003, -5.801203960010585,
        0.3111643669578199, -0.1521609496625161, 0.20136540080403034, 0.04471061572777259
    },
    {
        0.01312004499419488, 0, 0, 0, 0, -1.2251564463762044, -0.4957589496572502, 1.6643771824549864,
        -0.35032884874997366, 0.3341791187130175, 0.08192320648511571, -0.022355307863886294
    },
    {
        -0.18980075407240762, 0, 0, 0, 0, 4.450312892752409, 1.8915178993145003, -5.801203960010585,
        -0.4226823213237919, -0.1521609496625161, 0.20136540080403034, 0.02265179219836082
    },
};

typedef struct {
    double k, reynolds, gravity, slowness, ceiling, tolerance;
} Body;

typedef struct {
    double drag, lift, steep, dp, dr;
} Forces;

static double drag_coefficient(double re) {
    double sphere = 24 / re * (1 + 0.150 * pow(re, 0.681)) + 0.407 / (1 + 8710 / re);
    double before = 1 / (1 + pow(re / 2.65e5, 12));
    double high = re / 1e6;
    return sphere * before + 0.25 * high / (1 + high) * (1 - before);
}

static inline Forces forces(const Body *b, double spin, double scale, double p, double r) {
    Forces f;
    double steep2 = 1 + p * p;
    f.steep = sqrt(steep2);
    double speed = f.steep / r;
    f.drag = b->k * scale * drag_coefficient(b->reynolds * speed);
    f.dp = -b->gravity * r * r;
    f.lift = 0;
    if (spin != 0) {
        f.lift = b->k * spin / (b->slowness * speed + b->ceiling * fabs(spin));
        f.dp += f.lift * steep2 * f.steep;
        f.drag += f.lift * p;
    }
    f.dr = f.drag * f.steep * r;
    return f;
}

static double top_of_step(const Body *b, double spin, double scale, double h, double y0, double p0, double bend0,
                          double y1, double p1, double r1) {
    double a1 = p0 * h, a2 = 0.5 * bend0 * h * h, e1 = p1 * h;
    double e2 = (spin != 0 ? forces(b, spin, scale, p1, r1).dp : -b->gravity * r1 * r1) * h * h;
    double g = y1 - y0 - a1 - a2, g1 = e1 - a1 - 2 * a2, g2 = 0.5 * e2 - a2;
    double a3 = 10 * g - 4 * g1 + g2, a4 = -15 * g + 7 * g1 - 2 * g2, a5 = 6 * g - 3 * g1 + g2;
    double at = a1 / (a1 - e1);
    if (spin != 0) {
        double low = 0, width = 0.5;
        for (int i = 0; i < 8; i++, width /= 2) {
            double m = low + width;
            if (a1 + m * (2 * a2 + m * (3 * a3 + m * (4 * a4 + m * 5 * a5))) > 0) low = m;
        }
        at = low + width;
    }
    for (int i = 0; i < 3; i++) {
        double slope = a1 + at * (2 * a2 + at * (3 * a3 + at * (4 * a4 + at * 5 * a5)));
        double curve = 2 * a2 + at * (6 * a3 + at * (12 * a4 + at * 20 * a5));
        at = fmin(fmax(at - slope / curve, 0), 1);
    }
    return y0 + at * (a1 + at * (a2 + at * (a3 + at * (a4 + at * a5))));
}

static void one(const Body *b, double speed, double elevation, double spin_ratio, double log_drag, double distance,
                double *out) {
    double p = tan(elevation), r = 1 / (speed * cos(elevation)), y = 0, t = 0, top = 0, left = distance;
    double spin = spin_ratio * speed, scale = exp(log_drag), h = 0;
    double P[STAGES], R[STAGES], DP[STAGES], DR[STAGES];
    for (int step = 0; step < MOST_STEPS && left > 0; step++) {
        Forces f = forces(b, spin, scale, p, r);
        P[0] = p, R[0] = r, DP[0] = f.dp, DR[0] = f.dr;
        if (step == 0) {
            double air = fabs(f.drag) + fabs(f.lift) * f.steep * f.steep;
            double safe = 3.2 * pow((air * pow(fabs(f.dp), 7) + 1e-30) / b->tolerance, -1.0 / 9);
            safe = fmin(safe, 1.1 / (air * f.steep));
            h = left / ceil(left / safe);
        }
        for (int i = 1; i < STAGES; i++) {
            double dp = 0, dr = 0;
            for (int j = 0; j < i; j++) dp += A[i][j] * DP[j], dr += A[i][j] * DR[j];
            P[i] = p + h * dp, R[i] = r + h * dr;
            f = forces(b, spin, scale, P[i], R[i]);
            DP[i] = f.dp, DR[i] = f.dr;
        }
        double c[3][2] = {{0}}, w[3][2] = {{0}};
        for (int i = 0; i < STAGES; i++)
            for (int m = 0; m < 3; m++)
                c[m][0] += W[m][i] * DP[i], c[m][1] += W[m][i] * DR[i], w[m][0] += W[m][i] * P[i],
                    w[m][1] += W[m][i] * R[i];
        double lever = left - h + 0.5 * h, by_r = 2 * b->gravity * r * lever * lever;
        double five = fabs(w[1][0]) + fabs(c[1][0]) * lever + fabs(c[1][1]) * by_r;
        double three = fabs(w[2][0]) + fabs(c[2][0]) * lever + fabs(c[2][1]) * by_r;
        double error = h * five * five / sqrt(five * five + 0.01 * three * three + 1e-60);
        double ahead = fabs(P[STAGES - 1] + DP[STAGES - 1] * (left - h));
        error *= exp(fmin(2 * fabs(f.drag) * (left - h) * (f.steep + ahead), 4.0));
        if (error <= b->tolerance) {
            double p1 = p + h * c[0][0], r1 = r + h * c[0][1], y1 = y + h * w[0][0];
            top = fmax(top, y1);
            if (p > 0 && p1 < 0) top = top_of_step(b, spin, scale, h, y, p, DP[0], y1, p1, r1);
            p = p1, r = r1, y = y1, t += h * w[0][1], left -= h;
        }
        if (left > 0)
            h = fmin(left, h * fmin(4, fmax(0.1, 0.85 * pow(b->tolerance / fmax(error, 1e-20), 0.125))));
    }
    out[0] = y, out[1] = p, out[2] = sqrt(1 + p * p) / r, out[3] = t, out[4] = top;
}

/* Rows of out, each n long: height, slope, speed, time, apex. */
void fly(const Body *b, long n, const double *speed, const double *elevation, const double *spin_ratio,
         const double *log_drag, const double *distance, double *out) {
    for (long i = 0; i < n; i++) {
        double one_out[5];
        one(b, speed[i], elevation[i], spin_ratio[i], log_drag[i], distance[i], one_out);
        for (int m = 0; m < 5; m++) out[m * n + i] = one_out[m];
    }
}
