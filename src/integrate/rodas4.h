/* RODAS4: a Rosenbrock method of order 4 with an embedded one of order 3, six stages, L-stable and stiffly accurate,
 * and a polynomial of order 3 over each step. E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, 2nd
 * ed., Springer 1996, section IV.7 and the authors' program RODAS that goes with it (there METH = 1). A test holds the
 * numbers to the conditions of order.
 *
 * With J = df/dy, f_t = df/dt at the start of the step and W = I/(h gamma) - J, the stages u_i are
 *     W u_i = f(t + alpha_i h, y + sum_j a_ij u_j) + sum_j (c_ij/h) u_j + gamma_i h f_t,
 * the step ends at y + sum_j a_6j u_j + u_6, and u_6 is the error of the method that is embedded. Stage 5 is evaluated
 * where that method ends, stage 6 at that plus u_5. */
#ifndef SWASHLOOP_INTEGRATE_RODAS4_H
#define SWASHLOOP_INTEGRATE_RODAS4_H

enum { RODAS4_STAGES = 6 };

#define RODAS4_GAMMA 0.25

static const double rodas4_alpha[RODAS4_STAGES] = {0.0, 0.386, 0.21, 0.63, 1.0, 1.0};
static const double rodas4_gamma[RODAS4_STAGES] = {0.25, -0.1043, 0.1035, -0.0362, 0.0, 0.0};

static const double rodas4_a[RODAS4_STAGES][RODAS4_STAGES] = {
    {0.0},
    {1.544},
    {0.9466785280815826, 0.2557011698983284},
    {3.314825187068521, 2.896124015972201, 0.9986419139977817},
    {1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950},
    {1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0},
};

static const double rodas4_c[RODAS4_STAGES][RODAS4_STAGES] = {
    {0.0},
    {-5.6688},
    {-2.430093356833875, -0.2063599157091915},
    {-0.1073529058151375, -9.594562251023355, -20.47028614809616},
    {7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160},
    {8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054},
};

/* Within the step, s its share gone: y = y0 (1 - s) + s (y1 + (1 - s)(p + s q)), p and q sums of these times u_1..5. */
static const double rodas4_p[RODAS4_STAGES - 1] = {10.12623508344586, -7.487995877610167, -34.80091861555747,
                                                   -7.992771707568823, 1.025137723295662};
static const double rodas4_q[RODAS4_STAGES - 1] = {-0.6762803392801253, 6.087714651680015, 16.43084320892478,
                                                   24.76722511418386, -6.594389125716872};

#endif
