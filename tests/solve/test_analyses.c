// SPDX-License-Identifier: GPL-3.0-or-later
// Operating points, transients and noise against closed forms, and jobs that have no answer.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "solve/pool.h"
#include "solve/wire.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 200, NODES = 8 };

static const double pi = 3.14159265358979323846;
static const double boltzmann_j_k = 1.380649e-23;
static const double charge_c = 1.602176634e-19;
static const double temperature_k = 300.15; // SPICE's own, 27 degrees Celsius

static tl_pool* make_pool(unsigned jobs, double limit_s, unsigned requests) {
    tl_pool_options options = {.jobs = jobs,
                               .time_limit_s = limit_s,
                               .requests_a_worker = requests,
                               .worker_path = TL_BINARY_DIR "/toneload-worker"};
    tl_pool* pool = NULL;
    assert_int_equal(tl_pool_new(&options, &pool, NULL), TL_OK);
    return pool;
}

// ---- a study that keeps its last answers

typedef struct {
    tl_request request;
    tl_request* more; // asked once the first is answered, or refused
    size_t points;
    size_t outputs;
    double* axis; // NULL: no answer
    double* x;    // pairs in a sweep
    char* words;  // of a refusal
    unsigned rounds;
    bool delivered;
} job;

typedef struct {
    job jobs[MOST];
    size_t count;
    bool strict; // refuse() refuses too
} study;

static tl_status ask(void* context, size_t index, tl_request* request, tl_error* error) {
    (void)error;
    *request = ((study*)context)->jobs[index].request;
    return TL_OK;
}

static void keep(job* at, tl_analysis analysis, const tl_reply* reply) {
    const size_t size = reply->points * sizeof(double);
    const size_t all = size * reply->outputs * (analysis == TL_SWEEP ? 2 : 1);
    assert_int_equal(reply->hz != NULL, analysis == TL_SWEEP || analysis == TL_NOISE);
    assert_int_equal(reply->time_s != NULL, analysis == TL_TRANSIENT);
    assert_int_equal(reply->h != NULL, analysis == TL_SWEEP);
    assert_int_equal(reply->x != NULL, analysis != TL_SWEEP);
    free(at->axis);
    free(at->x);
    at->points = reply->points;
    at->outputs = reply->outputs;
    at->axis = tl_new(reply->points, sizeof *at->axis);
    at->x = tl_new(all, 1);
    if (reply->hz || reply->time_s)
        memcpy(at->axis, reply->hz ? reply->hz : reply->time_s, size);
    memcpy(at->x, reply->h ? (const void*)reply->h : reply->x, all);
}

static bool go_on(job* at, tl_request* request) {
    ++at->rounds;
    if (!at->more)
        return false;
    *request = *at->more;
    at->more = NULL;
    return true;
}

static tl_status take(void* context, size_t index, const tl_reply* reply, tl_request* request,
                      bool* again, tl_error* error) {
    (void)error;
    job* at = &((study*)context)->jobs[index];
    keep(at, request->analysis, reply);
    *again = go_on(at, request);
    return TL_OK;
}

static tl_status deliver(void* context, size_t index, tl_error* error) {
    (void)error;
    ((study*)context)->jobs[index].delivered = true;
    return TL_OK;
}

static tl_status refuse(void* context, size_t index, const char* words, tl_request* request,
                        bool* again, tl_error* error) {
    study* on = context;
    job* at = &on->jobs[index];
    free(at->words);
    at->words = tl_copy(words);
    if (on->strict)
        return tl_error_set(error, TL_BAD_INPUT, "no figure of job %zu", index);
    *again = go_on(at, request);
    return TL_OK;
}

static study* new_study(void) {
    return tl_new(1, sizeof(study));
}

static job* add(study* on, tl_request request) {
    assert_true(on->count < MOST);
    job* at = &on->jobs[on->count++];
    at->request = request;
    return at;
}

static void free_study(study* on) {
    for (size_t i = 0; i < on->count; ++i) {
        free(on->jobs[i].axis);
        free(on->jobs[i].x);
        free(on->jobs[i].words);
    }
    free(on);
}

static tl_status run_study(tl_pool* pool, study* on, bool refusing, tl_error* error) {
    tl_pool_work work = {.context = on, .ask = ask, .take = take, .deliver = deliver};
    work.refuse = refusing ? refuse : NULL;
    return tl_pool_run(pool, on->count, &work, error);
}

static void expect_ok(tl_pool* pool, study* on, bool refusing) {
    tl_error* error = tl_error_new();
    if (run_study(pool, on, refusing, error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
    for (size_t i = 0; i < on->count; ++i)
        assert_true(on->jobs[i].delivered);
    tl_error_free(error);
}

static void expect_words(const char* words, const char* part) {
    if (!words || !strstr(words, part))
        fail_msg("expected \"%s\" in: %s", part, words ? words : "(nothing)");
}

// One request, by a worker of its own; free with free_study().
static study* solve(tl_request request) {
    tl_pool* pool = make_pool(1, 0, 0);
    study* on = new_study();
    add(on, request);
    expect_ok(pool, on, false);
    tl_pool_free(pool);
    return on;
}

static void expect_near(double got, double expected, double share) {
    if (!(fabs(got - expected) <= share * fabs(expected)))
        fail_msg("%.9g instead of %.9g, off by %.2g", got, expected, got / expected - 1);
}

#define DECK(number, lines, ...)                                                                   \
    {                                                                                              \
        .id = (number), .text = (char[]){"t\n" lines ".end\n"},                                    \
        .outputs = (tl_probe[]){__VA_ARGS__},                                                      \
        .output_count = sizeof((tl_probe[]){__VA_ARGS__}) / sizeof(tl_probe)                       \
    }

// ---- closed forms

static tl_deck charged = DECK(1,
                              "v1 1 0 dc 0 ac 1 pulse(0 1 0 1n 1n 1 2)\n"
                              "r1 1 2 1k\nc1 2 0 1u\n",
                              {'n', 2}, {'v', 1});

static void test_charging(void** state) {
    (void)state;
    tl_request request = {.deck = &charged,
                          .analysis = TL_TRANSIENT,
                          .step_s = 1e-6,
                          .stop_s = 5e-3,
                          .ceiling_s = 1e-6};
    study* on = solve(request);
    const job* at = &on->jobs[0];
    assert_true(at->points > 5000 && at->outputs == 2);
    assert_true(at->axis[0] == 0 && fabs(at->axis[at->points - 1] / 5e-3 - 1) < 1e-12);
    double worst = 0;
    for (size_t i = 0; i < at->points; ++i) {
        // Charged from the middle of the ramp on.
        const double left = at->axis[i] < 1e-9 ? 1 : exp(-(at->axis[i] - 0.5e-9) / 1e-3);
        worst = fmax(worst, fabs(at->x[i] - (1 - left)));
        if (at->axis[i] > 2e-9)
            worst = fmax(worst, fabs(1e3 * at->x[at->points + i] + left));
    }
    print_message("charging: %zu points, worst difference %.2g\n", at->points, worst);
    assert_true(worst < 1e-4);
    free_study(on);
}

static void test_times_from_start(void** state) {
    (void)state;
    tl_request request = {.deck = &charged,
                          .analysis = TL_TRANSIENT,
                          .step_s = 1e-6,
                          .start_s = 1e-3,
                          .stop_s = 2e-3,
                          .ceiling_s = 10e-6};
    study* on = solve(request);
    const job* at = &on->jobs[0];
    assert_true(at->points >= 100);
    assert_true(at->axis[0] >= 1e-3 && at->axis[0] <= 1.01e-3);
    for (size_t i = 1; i < at->points; ++i)
        assert_true(at->axis[i] > at->axis[i - 1] && at->axis[i] - at->axis[i - 1] < 10.001e-6);
    assert_true(fabs(at->axis[at->points - 1] - 2e-3) < 1e-12);
    const size_t many = at->points;
    free_study(on);
    request.ceiling_s = 0; // a step of ngspice's own choice
    on = solve(request);
    assert_true(on->jobs[0].points > many);
    free_study(on);
}

// The current through a resistor and a diode across 5 V, by halving: i = (5 - v) / R and
// i = Is (exp(v / Vt) - 1) (Shockley 1949), with the conductance that SPICE puts across a junction.
static double solve_diode(double ohm) {
    const double thermal_v = boltzmann_j_k * temperature_k / charge_c;
    double low_v = 0;
    double high_v = 1;
    while (high_v - low_v > 1e-15) {
        const double v = (low_v + high_v) / 2;
        const double excess = 1e-14 * expm1(v / thermal_v) + 1e-12 * v - (5 - v) / ohm;
        *(excess > 0 ? &high_v : &low_v) = v;
    }
    return low_v;
}

static void test_operating_point(void** state) {
    (void)state;
    tl_element_id varied[] = {{'r', 1}};
    tl_deck deck =
        DECK(2, "v1 1 0 5\nr1 1 2 1k\nd1 2 0 dd\n.model dd d(is=1e-14)\n", {'n', 2}, {'v', 1});
    deck.varied = varied;
    deck.varied_count = 1;
    double values[] = {1e2, 1e3, 1e5, 1e7};
    tl_pool* pool = make_pool(1, 0, 0);
    study* on = new_study();
    for (size_t i = 0; i < 4; ++i)
        add(on, (tl_request){.deck = &deck, .values = &values[i], .analysis = TL_POINT});
    expect_ok(pool, on, false);
    for (size_t i = 0; i < 4; ++i) {
        const double v = solve_diode(values[i]);
        assert_int_equal(on->jobs[i].points, 1);
        expect_near(on->jobs[i].x[0], v, 1e-5);
        expect_near(on->jobs[i].x[1], -(5 - v) / values[i], 1e-5);
    }
    free_study(on);
    tl_pool_free(pool);
}

static void test_current_of_a_sweep(void** state) {
    (void)state;
    tl_request request = {.deck = &charged, .per_decade = 5, .low_hz = 10, .high_hz = 1e5};
    study* on = solve(request);
    const job* at = &on->jobs[0];
    assert_int_equal(at->points, 21);
    const double complex* h = (const double complex*)(const void*)at->x;
    for (size_t i = 0; i < at->points; ++i) {
        const double complex s = 2 * pi * at->axis[i] * 1e-6 * I;
        assert_true(cabs(h[i] - 1 / (1 + 1e3 * s)) < 1e-9);
        assert_true(cabs(h[at->points + i] + s / (1 + 1e3 * s)) < 1e-12);
    }
    free_study(on);
}

// ---- noise

// Nyquist 1928.
static double thermal_noise(double ohm) {
    return sqrt(4 * boltzmann_j_k * temperature_k * ohm);
}

static tl_request noise_of(const tl_deck* deck, unsigned node) {
    return (tl_request){.deck = deck,
                        .analysis = TL_NOISE,
                        .per_decade = 5,
                        .low_hz = 10,
                        .high_hz = 1e5,
                        .noise_node = node,
                        .noise_source = 1};
}

static void test_noise_of_a_resistor(void** state) {
    (void)state;
    tl_deck deck = DECK(3, "v1 1 0 ac 1\nr1 1 2 1k\n", {'o', 0}, {'r', 1}, {'i', 0});
    study* on = solve(noise_of(&deck, 2));
    const job* at = &on->jobs[0];
    assert_int_equal(at->points, 21);
    for (size_t i = 0; i < at->points; ++i) {
        expect_near(at->axis[i], 10 * pow(10, (double)i / 5), 1e-9);
        for (size_t j = 0; j < 3; ++j)
            expect_near(at->x[j * at->points + i], 4.07e-9, 0.005);
        expect_near(at->x[i], thermal_noise(1000), 1e-5);
    }
    free_study(on);
}

// Up to a frequency between two steps, and to one so little below a step that ngspice takes it too.
static void expect_divided(const tl_deck* deck, double high_hz, size_t points) {
    tl_request request = noise_of(deck, 2);
    request.high_hz = high_hz;
    study* on = solve(request);
    const job* at = &on->jobs[0];
    assert_int_equal(at->points, points);
    for (size_t i = 0; i < at->points; ++i) {
        const double h = cabs(1 / (1 + 2 * pi * at->axis[i] * 750 * 1e-6 * I));
        const double* x = &at->x[i];
        expect_near(at->axis[i], 10 * pow(10, (double)i / 5), 1e-9);
        expect_near(x[0], h * thermal_noise(750), 1e-5);
        expect_near(x[at->points], h * 0.75 * thermal_noise(1000), 1e-5);
        expect_near(x[2 * at->points], h * 0.25 * thermal_noise(3000), 1e-5);
        expect_near(x[3 * at->points], thermal_noise(750) / 0.75, 1e-5);
    }
    free_study(on);
}

static void test_noise_of_a_divider(void** state) {
    (void)state;
    tl_deck deck = DECK(4, "v1 1 0 ac 1\nr1 1 2 1k\nr2 2 0 3k\nc1 2 0 1u\n", {'o', 0}, {'r', 1},
                        {'r', 2}, {'i', 0});
    expect_divided(&deck, 20e3, 17);
    expect_divided(&deck, 25.1e3, 18);
}

#define AMPLIFIER                                                                                  \
    "v1 1 0 dc 0 ac 1 sin(0 0.1 1k)\nv2 2 0 dc 9\nr1 2 3 100k\nr2 3 0 100k\nc1 1 3 1u\n"           \
    "q1 2 3 4 qq\nr3 4 0 10k\nj1 2 4 5 jj\nr4 5 0 5k\nm1 2 5 6 0 mm\nr5 6 0 5k\n"                  \
    "r6 6 7 1k\nd1 7 0 dd\nb1 8 0 v=v(7)*v(7)-0.1*v(7)*v(7)*v(7)\nr7 8 0 1k\n"                     \
    ".model qq npn(is=1e-14 bf=200 rb=50 cje=1p cjc=1p tf=1n kf=1e-15)\n"                          \
    ".model jj njf(vto=-1 cgs=1p cgd=1p)\n.model mm nmos(vto=1 kp=1m)\n"                           \
    ".model dd d(is=1e-14 cjo=1p)\n"

// The shares of all that makes noise add up to the whole.
static void test_noise_adds_up(void** state) {
    (void)state;
    tl_deck deck = DECK(5, AMPLIFIER, {'o', 0}, {'q', 1}, {'j', 1}, {'m', 1}, {'d', 1}, {'r', 1},
                        {'r', 2}, {'r', 3}, {'r', 4}, {'r', 5}, {'r', 6});
    study* on = solve(noise_of(&deck, 7));
    const job* at = &on->jobs[0];
    for (size_t i = 0; i < at->points; ++i) {
        double sum = 0;
        for (size_t j = 1; j < at->outputs; ++j) {
            assert_true(at->x[j * at->points + i] > 0);
            sum += pow(at->x[j * at->points + i], 2);
        }
        expect_near(sqrt(sum), at->x[i], 1e-9);
    }
    free_study(on);
}

// ---- no answer

// A current that jumps where the circuit would come to rest: no operating point.
#define RESTLESS "v1 1 0 dc 1 ac 1\nr1 1 2 1k\nb1 2 0 i=1e3*(v(2)>0.5 ? 1 : -1)\nr2 2 0 1k\n"

static tl_deck restless = DECK(10, RESTLESS, {'n', 2});
static tl_deck halved = DECK(11, "v1 1 0 dc 1 ac 1\nr1 1 2 1k\nr2 2 0 1k\n", {'n', 2});

static tl_request point_of(const tl_deck* deck) {
    return (tl_request){.deck = deck, .analysis = TL_POINT};
}

static void test_refused(void** state) {
    (void)state;
    for (unsigned workers = 1; workers <= 2; ++workers) {
        tl_pool* pool = make_pool(workers, 0, 0);
        study* on = new_study();
        tl_request instead = point_of(&halved);
        for (size_t i = 0; i < 30; ++i)
            add(on, point_of(i % 7 == 3 ? &restless : &halved))->more = i == 10 ? &instead : NULL;
        expect_ok(pool, on, true);
        for (size_t i = 0; i < 30; ++i) {
            const job* at = &on->jobs[i];
            assert_int_equal(at->words != NULL, i % 7 == 3);
            assert_int_equal(at->axis != NULL, i % 7 != 3 || i == 10);
            assert_int_equal(at->rounds, i == 10 ? 2 : 1);
            if (at->words)
                expect_words(at->words, "ngspice could not solve the circuit\n  ngspice: ");
            if (at->words)
                expect_words(at->words, "\n  ngspice: doAnalyses: OP:  Timestep too small; "
                                        "trouble with node \"2\"");
            if (at->axis)
                expect_near(at->x[0], 0.5, 1e-9);
        }
        free_study(on);
        tl_pool_free(pool);
    }
}

static void test_refusal_fails(void** state) {
    (void)state;
    tl_pool* pool = make_pool(2, 0, 0);
    tl_error* error = tl_error_new();
    for (int refusing = 0; refusing < 2; ++refusing) {
        study* on = new_study();
        on->strict = true;
        for (size_t i = 0; i < 20; ++i)
            add(on, point_of(i > 12 ? &restless : &halved));
        assert_int_equal(run_study(pool, on, refusing, error),
                         refusing ? TL_BAD_INPUT : TL_FAILURE);
        expect_words(tl_error_text(error),
                     refusing ? "no figure of job 13" : "ngspice could not solve the circuit");
        for (size_t i = 0; i < 20; ++i)
            assert_int_equal(on->jobs[i].delivered, i < 13);
        free_study(on);
    }
    tl_error_free(error);
    tl_pool_free(pool);
}

// What ngspice does not survive costs its worker, and one answer only.
static void test_exit_is_refused(void** state) {
    (void)state;
    tl_deck deck = DECK(12, "v1 1 0 ac 1\nr1 1 2 1k\nr2 2 0 1k\n", {'o', 0});
    tl_pool* pool = make_pool(1, 0, 0);
    study* on = new_study();
    for (size_t i = 0; i < 6; ++i)
        add(on, noise_of(&deck, i == 2 ? 9 : 2));
    expect_ok(pool, on, true);
    for (size_t i = 0; i < 6; ++i)
        assert_int_equal(on->jobs[i].axis != NULL, i != 2);
    expect_words(on->jobs[2].words, "ngspice gave up");
    free_study(on);
    tl_pool_free(pool);
}

static void test_time_is_up(void** state) {
    (void)state;
    tl_deck deck = DECK(13, AMPLIFIER, {'n', 8});
    tl_request endless = {
        .deck = &deck, .analysis = TL_TRANSIENT, .step_s = 1e-3, .stop_s = 3600, .ceiling_s = 1e-3};
    tl_pool* pool = make_pool(2, 0.5, 0);
    study* on = new_study();
    for (size_t i = 0; i < 12; ++i)
        add(on, i == 4 ? endless : point_of(&halved));
    expect_ok(pool, on, true);
    for (size_t i = 0; i < 12; ++i)
        assert_int_equal(on->jobs[i].axis != NULL, i != 4);
    expect_words(on->jobs[4].words, "the solver did not answer within 0.5 s and was stopped");
    free_study(on);
    tl_pool_free(pool);
}

static void expect_refusal(tl_request request, const char* words, bool asked) {
    tl_pool* pool = make_pool(1, 20, 0);
    tl_error* error = tl_error_new();
    study* on = new_study();
    add(on, request);
    const tl_status status = run_study(pool, on, true, error);
    assert_int_equal(status, asked ? TL_OK : TL_FAILURE);
    expect_words(asked ? on->jobs[0].words : tl_error_text(error), words);
    print_message("%s\n", asked ? on->jobs[0].words : tl_error_text(error));
    free_study(on);
    tl_error_free(error);
    tl_pool_free(pool);
}

static tl_request times(const tl_deck* deck, double step_s, double start_s, double stop_s,
                        double ceiling_s) {
    return (tl_request){.deck = deck,
                        .analysis = TL_TRANSIENT,
                        .step_s = step_s,
                        .start_s = start_s,
                        .stop_s = stop_s,
                        .ceiling_s = ceiling_s};
}

static void test_what_cannot_be_asked(void** state) {
    (void)state;
    tl_deck shares = DECK(20, "v1 1 0 ac 1\nr1 1 0 1k\nc1 1 0 1n\n", {'c', 1});
    tl_deck nothing = DECK(21, "v1 1 0 ac 1\nr1 1 0 1k\n", {0, 1});
    expect_refusal(noise_of(&halved, 2), "does not give 'n2'", false);
    expect_refusal(noise_of(&shares, 1), "does not give 'c1'", false);
    expect_refusal(point_of(&nothing), "does not give '?1'", false);
    expect_refusal(noise_of(&shares, 0), "node 0 from source v1 cannot be asked", false);
    expect_refusal(times(&halved, 0, 0, 1, 1), "is no transient", false);
    expect_refusal(times(&halved, 1e-3, 2, 1, 1e-3), "is no transient", false);
    expect_refusal(times(&halved, 1e-3, -1, 1, 1e-3), "is no transient", false);
    expect_refusal(times(&halved, 1e-3, 0, NAN, 1e-3), "is no transient", false);
    expect_refusal(times(&halved, 1e-3, 0, INFINITY, 1e-3), "is no transient", false);
    expect_refusal(times(&halved, 1e-3, 0, 1, -1), "is no transient", false);
    expect_refusal(times(&halved, 1e-3, 0, 1, 1e-7), "more than 4000000 points", false);
}

static void test_what_has_no_answer(void** state) {
    (void)state;
    tl_deck none = DECK(22, "v1 1 0 ac 1\nr1 1 2 1k\n", {'o', 0}, {'r', 77});
    expect_refusal(noise_of(&none, 2), "no answer that it calls onoise_r77", true);
    tl_deck mute = DECK(23, "v1 1 0 dc 1\nr1 1 2 1k\n", {'o', 0});
    expect_refusal(noise_of(&mute, 2), "v1 has no AC value", true);
    tl_deck current = DECK(24, "v1 1 0 dc 1\nr1 1 2 1k\n", {'n', 2}, {'v', 9});
    expect_refusal(point_of(&current), "no answer that it calls v9#branch", true);
    tl_deck stuck =
        DECK(25, "v1 1 0 0\nr1 1 2 1k\nb1 2 0 i=v(2)>0.2 ? 1e3 : (time>5u ? -1 : 1e-6*v(2))\n",
             {'n', 2});
    expect_refusal(times(&stuck, 1e-6, 0, 10e-6, 1e-6),
                   "TRAN:  Timestep too small; time = 5e-06, timestep = 1.25e-18: trouble with "
                   "node \"2\"",
                   true);
    tl_deck afloat = DECK(26, "v1 1 0 1\nc1 1 2 1n\nc2 2 0 1n\n", {'n', 2});
    expect_refusal(point_of(&afloat), "singular matrix:  check node 2", true);
    expect_refusal(times(&afloat, 1e-6, 0, 10e-6, 1e-6), "singular matrix:  check node 2", true);
    tl_deck switched = DECK(29,
                            "v1 1 0 dc 1 ac 1\nr1 1 2 1k\ns1 2 0 1 0 sw\nr2 2 0 1k\n"
                            ".model sw sw(vt=0.5 ron=1k)\n",
                            {'n', 2});
    expect_refusal((tl_request){.deck = &switched, .per_decade = 5, .low_hz = 10, .high_hz = 1e3},
                   "takes for open at all frequencies", true);
    study* closed = solve(point_of(&switched)); // at rest it is closed
    expect_near(closed->jobs[0].x[0], 1. / 3, 1e-9);
    free_study(closed);
    tl_deck unreal = DECK(27, "v1 1 0 1\nb1 2 0 v=ln(v(1)-2)\nr1 2 0 1k\n", {'n', 2});
    expect_refusal(point_of(&unreal), "out of range for ln\n  ngspice: in line b1", true);
}

static void test_too_long(void** state) {
    (void)state;
    enum { OUTPUTS = 1000 };
    tl_deck deck = halved;
    deck.id = 28;
    deck.outputs = tl_new(OUTPUTS, sizeof *deck.outputs);
    deck.output_count = OUTPUTS;
    for (size_t i = 0; i < OUTPUTS; ++i)
        deck.outputs[i] = (tl_probe){'n', 2};
    expect_refusal(times(&deck, 1e-3, 0, 40, 1e-3), "the answer is too long: 40", true);
    study* on = solve(times(&deck, 1e-3, 0, 20, 1e-3)); // more than any other answer may have
    assert_true(on->jobs[0].points * on->jobs[0].outputs * sizeof(double) > TL_WIRE_BODY_LIMIT);
    for (size_t i = 0; i < on->jobs[0].points * OUTPUTS; ++i)
        assert_true(on->jobs[0].x[i] == 0.5);
    free_study(on);
    free(deck.outputs);
}

// ---- operating points that have to be searched for

static void test_found_after_a_stumble(void** state) {
    (void)state;
    // No conductance where the search begins, and one where it ends.
    tl_deck deck = DECK(30, "v1 1 0 1\nr1 1 0 1k\nb1 2 0 i=v(2)*v(2)-1\n", {'n', 2});
    study* on = solve(point_of(&deck));
    expect_near(on->jobs[0].x[0], 1, 1e-6);
    free_study(on);
}

// A model that starts threads where it may; the guard ends a process that does.
static void test_no_threads(void** state) {
    (void)state;
    tl_deck deck = DECK(31,
                        "v1 1 0 1\nr1 1 2 1k\nm1 2 1 0 0 mm l=1u w=10u\n"
                        ".model mm nmos level=14 version=4.5\n",
                        {'n', 2});
    study* on = solve(point_of(&deck));
    assert_true(on->jobs[0].x[0] > 0 && on->jobs[0].x[0] < 1);
    free_study(on);
}

// ---- one deck after the other

static void test_deck_after_deck(void** state) {
    (void)state;
    tl_pool* pool = make_pool(2, 0, 0);
    study* on = new_study();
    tl_request more = {.deck = &charged, .per_decade = 5, .low_hz = 10, .high_hz = 1e5};
    for (size_t i = 0; i < 20; ++i)
        add(on, point_of(&halved))->more = i % 3 ? &more : NULL;
    expect_ok(pool, on, false);
    for (size_t i = 0; i < 20; ++i) {
        assert_int_equal(on->jobs[i].points, i % 3 ? 21 : 1);
        assert_int_equal(on->jobs[i].outputs, i % 3 ? 2 : 1);
        expect_near(on->jobs[i].x[0], i % 3 ? 1 / (1 + pow(2 * pi * 10 * 1e-3, 2)) : 0.5, 1e-6);
    }
    free_study(on);
    tl_pool_free(pool);
}

static tl_element_id resistor_varied[] = {{'r', 3}};
static tl_deck amplifier = DECK(40, AMPLIFIER, {'n', 8}, {'n', 4}, {'v', 2});
static tl_deck exact = DECK(41, AMPLIFIER ".options reltol=1e-7 method=gear\n", {'n', 8}, {'v', 2});
static tl_deck warm = DECK(42, AMPLIFIER ".options temp=60 gmin=1e-10 itl1=5\n", {'n', 8});
static tl_deck noisy = DECK(43, AMPLIFIER, {'o', 0}, {'q', 1}, {'r', 3}, {'i', 0});

// Requests in an order that mixes decks, analyses and values, some of them without an answer.
static tl_request mixed(size_t index, double* value) {
    static const tl_deck* const decks[] = {&amplifier, &exact, &warm, &amplifier, &restless};
    amplifier.varied = exact.varied = warm.varied = noisy.varied = resistor_varied;
    amplifier.varied_count = exact.varied_count = warm.varied_count = noisy.varied_count = 1;
    *value = 5e3 + 1e3 * (double)(index * 7 % 11);
    tl_request request = {.deck = decks[index / 6 % 5]};
    switch (index * 5 % 8) {
    case 0:
    case 1:
        request = noise_of(&noisy, 8);
        break;
    case 2:
    case 3:
        request = times(request.deck, 1e-6, 0, 2e-3, 1e-5);
        break;
    case 4:
    case 5:
        request.analysis = TL_POINT;
        break;
    default:
        request.per_decade = 5;
        request.low_hz = 10;
        request.high_hz = 1e5;
    }
    request.values = value;
    return request;
}

static study* solve_mixed(unsigned workers, unsigned requests) {
    static double values[MOST];
    tl_pool* pool = make_pool(workers, 0, requests);
    study* on = new_study();
    for (size_t i = 0; i < 150; ++i)
        add(on, mixed(i, &values[i]));
    expect_ok(pool, on, true);
    tl_pool_free(pool);
    return on;
}

static size_t expect_same(const study* one, const study* other) {
    size_t answers = 0;
    for (size_t i = 0; i < one->count; ++i) {
        const job* a = &one->jobs[i];
        const job* b = &other->jobs[i];
        const size_t numbers = a->points * a->outputs * (a->request.analysis == TL_SWEEP ? 2 : 1);
        if ((a->axis != NULL) != (b->axis != NULL) || a->points != b->points ||
            a->outputs != b->outputs)
            fail_msg("job %zu: another shape", i);
        if (!a->axis)
            continue;
        ++answers;
        if (memcmp(a->axis, b->axis, a->points * sizeof *a->axis) != 0 ||
            memcmp(a->x, b->x, numbers * sizeof *a->x) != 0)
            fail_msg("job %zu (analysis %d, deck %lu) differs", i, (int)a->request.analysis,
                     a->request.deck->id);
    }
    return answers;
}

// Every answer equals, bit for bit, that of a worker that never solved anything else.
static void test_no_history(void** state) {
    (void)state;
    study* fresh = solve_mixed(1, 1);
    study* single = solve_mixed(1, 0);
    study* shared = solve_mixed(2, 0);
    const size_t answers = expect_same(fresh, single);
    print_message("%zu of %zu have an answer\n", answers, fresh->count);
    assert_true(answers > 100 && answers < 150);
    expect_same(fresh, shared);
    free_study(fresh);
    free_study(single);
    free_study(shared);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_charging),
        cmocka_unit_test(test_times_from_start),
        cmocka_unit_test(test_operating_point),
        cmocka_unit_test(test_current_of_a_sweep),
        cmocka_unit_test(test_noise_of_a_resistor),
        cmocka_unit_test(test_noise_of_a_divider),
        cmocka_unit_test(test_noise_adds_up),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_refusal_fails),
        cmocka_unit_test(test_exit_is_refused),
        cmocka_unit_test(test_time_is_up),
        cmocka_unit_test(test_what_cannot_be_asked),
        cmocka_unit_test(test_what_has_no_answer),
        cmocka_unit_test(test_too_long),
        cmocka_unit_test(test_found_after_a_stumble),
        cmocka_unit_test(test_no_threads),
        cmocka_unit_test(test_deck_after_deck),
        cmocka_unit_test(test_no_history),
    };
    return cmocka_run_group_tests_name("solve: analyses", tests, NULL, NULL);
}
