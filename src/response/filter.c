// SPDX-License-Identifier: GPL-3.0-or-later
// A response as a finite impulse response.
//
// The response is causal. Multiplied by the transform of a symmetric kernel of 2 d + 1 samples it
// stays zero more than d samples before the impulse, so nothing can ring earlier. The kernel is a
// low-pass by the Kaiser window (Kaiser, "Nonrecursive digital filter design using the I0-sinh
// window function", IEEE ISCAS 1974; formulas from memory): 120 dB down at half the rate, 1e-6 from
// 1 in its pass band. Half the rate less 4050 Hz leaves 18 kHz at 44.1 kHz.
#include "toneload/sound.h"

#include "base/text.h"
#include "response/fft.h"
#include "response/low_cut.h"

#include <complex.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

struct tl_filter {
    double* taps;
    size_t count;
    tl_filter_facts facts;
};

static const double base_rate_hz = 44100.0;
static const double transition_hz = 4050.0; // at the base rate and above; below in proportion
static const double stop_db = 120.0;
static const double lowest_checked_hz = 50.0;
static const double highest_checked_hz = 18000.0;
static const double first_s = 0.3; // taps to begin with; doubled as long as needed
static const double longest_s = 4.0;
static const double through_delay_s = 0.003;
// Half of what is promised: 0.01 dB and 0.1 degree.
static const double good_db = 0.005;
static const double good_degrees = 0.05;

/// One try at a filter of a given length.
typedef struct {
    const tl_response* response;
    const tl_filter_options* options;
    size_t size;             ///< of the transform
    size_t delay;            ///< samples before the impulse
    size_t reach;            ///< of the kernel, either way
    double limit;            ///< of a ratio's magnitude
    tl_low_cut cut;          ///< what keeps a ratio under it at low frequencies
    bool limited;            ///< the limit takes something away at some frequency
    double _Complex* wanted; ///< at size + 1 frequencies, half a bin of the transform apart
    double* taper;           ///< at every bin: what the kernel leaves
    double* taps;            ///< `size` of them, the impulse at `delay`
    size_t count;            ///< those that matter
    tl_filter_facts facts;
} design;

/// Modified Bessel function of the first kind and order 0, by its power series.
static double bessel_i0(double x) {
    double sum = 1.0;
    double term = 1.0;
    for (int k = 1; term > 1e-17 * sum; k++) {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

static double sinc(double x) {
    return x == 0.0 ? 1.0 : sin(M_PI * x) / (M_PI * x);
}

/// The kernel around the impulse as the transform wants it: from sample 0 on, and up to the end.
static void place_kernel(const design* d, double* samples) {
    const double rate_hz = d->options->rate_hz;
    const double edge_hz = transition_hz * fmin(1.0, rate_hz / base_rate_hz);
    const double cut = 1.0 - edge_hz / rate_hz; // the middle of the transition, 2 f / rate
    const double beta = 0.1102 * (stop_db - 8.7);
    double sum = 0.0;
    memset(samples, 0, d->size * sizeof *samples);
    for (size_t i = 0; i <= d->reach; i++) {
        const double place = (double)i / (double)d->reach;
        const double value = cut * sinc(cut * (double)i) *
                             bessel_i0(beta * sqrt(1.0 - place * place)) / bessel_i0(beta);
        samples[i] = value;
        samples[(d->size - i) % d->size] = value;
        sum += i == 0 ? value : 2.0 * value;
    }
    for (size_t i = 0; i < d->size; i++) {
        samples[i] /= sum;
    }
}

static double frequency_hz(const design* d, size_t half_bin) {
    return 0.5 * (double)half_bin * d->options->rate_hz / (double)d->size;
}

static double checked_high_hz(const design* d) {
    const double rate_hz = d->options->rate_hz;
    return fmin(highest_checked_hz, rate_hz * (0.5 - transition_hz / base_rate_hz));
}

/// The ratio rig / through, its low end cut, its magnitude g brought to
/// g / (1 + (g / limit)^6)^(1/6): within 0.03 dB of itself up to half the limit, never above it.
/// The limit leaves the phase as it is and so rings before the impulse, for less than 3 ms at high
/// frequencies; at low ones it would for far longer, so there the low-cut does its work.
static double _Complex limit_ratio(design* d, double _Complex rig, double _Complex through,
                                   double hz) {
    const double _Complex cut = tl_low_cut_at(d->cut, hz);
    const double ratio = cabs(cut * rig) / cabs(through);
    const double scale = pow(1.0 + pow(ratio / d->limit, 6.0), -1.0 / 6.0);
    if (!isfinite(ratio) || scale == 0.0) {
        return 0.0; // what is not there cannot be brought back
    }
    d->limited = d->limited || scale < 0.999;
    const bool shown = hz >= lowest_checked_hz && hz <= checked_high_hz(d);
    if (shown && 20.0 * log10(scale * cabs(cut)) < -0.1) {
        d->facts.limited_low_hz = fmin(d->facts.limited_low_hz, hz); // fmin() passes NAN over
        d->facts.limited_high_hz = fmax(d->facts.limited_high_hz, hz);
    }
    return scale * cut * (rig / through);
}

/// What the filter has to do at a frequency. A real signal has no phase at 0 Hz: there it is what
/// the next bin has in phase. A coupling capacitor whose corner lies far below that bin then leaves
/// no tail of seconds, which nobody hears, and rig and through are never both 0.
static double _Complex wanted_at(design* d, double hz) {
    const double first_hz = d->options->rate_hz / (double)d->size;
    const double at_hz = fmax(hz, first_hz);
    double _Complex value = tl_response_at(d->response, at_hz);
    if (d->options->through) {
        value = limit_ratio(d, value, tl_response_at(d->options->through, at_hz), at_hz);
    }
    return hz < first_hz ? creal(value) : value;
}

/// Takes out what lies before the impulse because the transform is circular: the end of a slow tail
/// (a coupling capacitor's), which is as good as constant there. Cut off, it would be a step, and a
/// step is heard where the response itself lets little through. It goes on behind the impulse and
/// fades there, too slowly to be heard.
static void remove_wrapped(design* d) {
    const size_t last = d->size / 64;
    double mean = 0.0;
    for (size_t i = d->size - last; i < d->size; i++) {
        mean += d->taps[i] / (double)last;
    }
    for (size_t i = 0; i < d->size; i++) {
        d->taps[i] -= mean * (0.5 + 0.5 * cos(M_PI * (double)i / (double)d->size));
    }
}

/// Lets the last quarter fade: a slow tail (a coupling capacitor's) then ends without a step.
static void fade_end(design* d) {
    const size_t start = d->size - d->size / 4;
    for (size_t i = start; i < d->size; i++) {
        const double place = (double)(i - start) / (double)(d->size - start);
        d->taps[i] *= 0.5 + 0.5 * cos(M_PI * place);
    }
}

/// The lowest level in the checked band, but no lower than 100 dB below the highest.
static double find_floor(const design* d) {
    double low = INFINITY;
    double high = 0.0;
    for (size_t i = 0; i <= d->size; i++) {
        const double hz = frequency_hz(d, i);
        if (hz >= lowest_checked_hz && hz <= checked_high_hz(d)) {
            low = fmin(low, cabs(d->wanted[i]));
            high = fmax(high, cabs(d->wanted[i]));
        }
    }
    return fmax(low, 1e-5 * high);
}

/// Leaves out the end that together cannot change any frequency by more than 0.0002 dB.
static void cut_tail(design* d) {
    const double most = 2e-5 * find_floor(d);
    double sum = 0.0;
    d->count = d->size;
    while (d->count > d->delay + 1) {
        sum += fabs(d->taps[d->count - 1]);
        if (sum > most) {
            break;
        }
        d->count--;
    }
}

/// Holds what the taps do, at the bins and between them, against what they should.
static void check(design* d, const double _Complex* bins) {
    const double floor = find_floor(d);
    d->facts.checked_hz = checked_high_hz(d);
    d->facts.error_db = 0.0;
    d->facts.error_degrees = 0.0;
    for (size_t i = 0; i <= d->size; i++) {
        const double hz = frequency_hz(d, i);
        if (hz < lowest_checked_hz || hz > d->facts.checked_hz || cabs(d->wanted[i]) < floor) {
            continue;
        }
        const double turn = 2.0 * M_PI * hz * (double)d->delay / d->options->rate_hz;
        const double _Complex ratio = bins[i] * cexp(I * turn) / d->wanted[i];
        d->facts.error_db = fmax(d->facts.error_db, fabs(20.0 * log10(cabs(ratio))));
        d->facts.error_degrees = fmax(d->facts.error_degrees, fabs(carg(ratio)) * 180.0 / M_PI);
    }
}

/// From what is wanted at the bins to taps. `fft` is of the design's size.
static void shape_taps(design* d, const tl_fft* fft, double* samples, double _Complex* bins) {
    place_kernel(d, samples);
    tl_fft_forward(fft, samples, bins);
    for (size_t i = 0; i <= d->size / 2; i++) {
        bins[i] = creal(bins[i]) * d->wanted[2 * i];
    }
    bins[d->size / 2] = creal(bins[d->size / 2]);
    tl_fft_inverse(fft, bins, samples);
    for (size_t i = 0; i < d->size; i++) {
        d->taps[i] = samples[(i + d->size - d->delay) % d->size] / (double)d->size;
    }
    remove_wrapped(d);
    fade_end(d);
    cut_tail(d);
}

/// What the transforms of one size work with.
typedef struct {
    tl_fft* fft;
    tl_fft* doubled;
    double* samples;
    double _Complex* bins;
} bench;

static void free_bench(bench* b) {
    tl_fft_free(b->fft);
    tl_fft_free(b->doubled);
    tl_fft_free_samples(b->samples);
    tl_fft_free_samples(b->bins);
}

static tl_status new_bench(size_t size, bench* b, tl_error* error) {
    *b = (bench){.fft = tl_fft_new(size, error)};
    b->doubled = b->fft ? tl_fft_new(2 * size, error) : NULL;
    b->samples = tl_fft_samples(2 * size);
    b->bins = (double _Complex*)tl_fft_samples(2 * size + 2);
    if (b->doubled) {
        return TL_OK;
    }
    free_bench(b);
    return TL_FAILURE;
}

/// One filter of the design's size, held against what is wanted. Returns its largest gain.
static double try_limit(design* d, bench* b) {
    d->limited = false;
    d->facts.limited_low_hz = NAN;
    d->facts.limited_high_hz = NAN;
    for (size_t i = 0; i <= d->size; i++) {
        d->wanted[i] = wanted_at(d, frequency_hz(d, i));
    }
    shape_taps(d, b->fft, b->samples, b->bins);
    memset(b->samples, 0, 2 * d->size * sizeof *b->samples);
    memcpy(b->samples, d->taps, d->count * sizeof *b->samples);
    tl_fft_forward(b->doubled, b->samples, b->bins);
    check(d, b->bins);
    double gain = 0.0;
    for (size_t i = 0; i <= d->size; i++) {
        gain = fmax(gain, cabs(b->bins[i]));
    }
    return gain;
}

/// One filter of the design's size. What rings too early for its taps is left out, and that may
/// raise some frequency past the limit: the limit is then lowered by as much.
static tl_status try_size(design* d, tl_error* error) {
    bench b;
    tl_status status = new_bench(d->size, &b, error);
    if (status != TL_OK) {
        return status;
    }
    const double limit = pow(10.0, d->options->max_gain_db / 20.0);
    d->limit = limit;
    double gain = try_limit(d, &b);
    for (int i = 0; d->options->through && gain > limit && i < 8; i++) {
        d->limit *= 0.9999 * limit / gain;
        gain = try_limit(d, &b);
    }
    d->facts.highest_db = 20.0 * log10(gain);
    free_bench(&b);
    return TL_OK;
}

static bool is_good(const design* d) {
    return d->facts.error_db <= good_db && d->facts.error_degrees <= good_degrees;
}

/// Whether a limit is what stands in the way: its ringing before the impulse is cut off, and
/// doubling the length hardly helps.
static bool is_settled(const design* d, double before_db) {
    return d->limited && d->facts.error_db > 0.7 * before_db;
}

/// Tries ever longer filters until one is good.
static tl_status find_length(design* d, tl_error* error) {
    const double rate_hz = d->options->rate_hz;
    double before_db = INFINITY;
    d->size = 1024;
    while ((double)d->size < first_s * rate_hz) {
        d->size *= 2;
    }
    for (; (double)d->size < 2.0 * longest_s * rate_hz; d->size *= 2) {
        d->wanted = tl_grow(d->wanted, d->size + 1, sizeof *d->wanted);
        d->taps = tl_grow(d->taps, d->size, sizeof *d->taps);
        tl_status status = try_size(d, error);
        if (status != TL_OK || is_good(d) || is_settled(d, before_db)) {
            return status;
        }
        before_db = d->facts.error_db;
    }
    return tl_error_set(error, TL_BAD_INPUT,
                        "the response rings for longer than %g s, too long for a filter (%g dB and "
                        "%g degrees would be missed)",
                        longest_s, d->facts.error_db, d->facts.error_degrees);
}

tl_status tl_filter_new(const tl_response* response, const tl_filter_options* options,
                        tl_filter** filter, tl_error* error) {
    *filter = NULL;
    const double rate_hz = options->rate_hz;
    if (!(rate_hz >= TL_LOWEST_RATE_HZ && rate_hz <= TL_HIGHEST_RATE_HZ)) {
        return tl_error_set(error, TL_BAD_INPUT,
                            "a sampling rate of %g Hz: expected one from %d Hz to %d Hz", rate_hz,
                            TL_LOWEST_RATE_HZ, TL_HIGHEST_RATE_HZ);
    }
    design d = {.response = response, .options = options};
    d.reach = (size_t)floor(fmax(rate_hz, base_rate_hz) / 1000.0);
    d.delay = options->through ? (size_t)floor(through_delay_s * rate_hz) : d.reach;
    d.delay = d.delay > d.reach ? d.delay : d.reach;
    if (options->through) {
        d.cut = tl_low_cut_find(response, options->through, pow(10.0, options->max_gain_db / 20.0));
    }
    d.facts.cut_hz = d.cut.order ? d.cut.hz : NAN;
    d.facts.cut_order = d.cut.order;
    tl_status status = find_length(&d, error);
    free(d.wanted);
    if (status != TL_OK) {
        free(d.taps);
        return status;
    }
    *filter = tl_new(1, sizeof **filter);
    d.facts.delay_samples = d.delay;
    **filter = (tl_filter){tl_grow(d.taps, d.count, sizeof *d.taps), d.count, d.facts};
    return TL_OK;
}

void tl_filter_free(tl_filter* filter) {
    if (filter) {
        free(filter->taps);
        free(filter);
    }
}

const double* tl_filter_taps(const tl_filter* filter, size_t* count) {
    *count = filter->count;
    return filter->taps;
}

tl_filter_facts tl_filter_get_facts(const tl_filter* filter) {
    return filter->facts;
}
