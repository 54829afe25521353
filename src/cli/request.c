// SPDX-License-Identifier: GPL-3.0-or-later
// Options of the command line, the same for every command.
#include "cli/command.h"

#include <errno.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

typedef struct {
    option_set flag;
    const char* name;
    const char* value; ///< what follows it, or NULL
    const char* about;
} option_row;

static const option_row rows[] = {
    {OPTION_VARY, "--vary", "PATH=..",
     "a value and what it becomes, as above; several give every combination"},
    {OPTION_OUT, "--out", "PATH", "where it goes: a folder for the sound, a file for a page"},
    {OPTION_INPUT, "--input", "FILE.wav", "a recording to play instead of plucked strings"},
    {OPTION_THROUGH, "--recorded-through", "RIG.yaml",
     "what the recording was made through, to be taken out of it first"},
    {OPTION_MAX_GAIN, "--max-gain", "DB", "then no frequency is raised by more than this (20)"},
    {OPTION_MATCH, "--match-level", NULL, "make all files as loud as direct, 200 Hz to 1 kHz"},
    {OPTION_LIMIT, "--limit", "LIMIT", "such as '-1 dB at 5 kHz' or 'peak not below 3 kHz'"},
    {OPTION_METRIC, "--metric", "NAME",
     "the figure that is drawn: peak_hz, q, cutoff_hz, worst_db, .."},
    {OPTION_CURVES, "--curves", "FILE", "draw all curves over each other as well"},
    {OPTION_BUFFER, "--buffer", "PART", "a buffer: a library part, or {input: .., output: ..}"},
    {OPTION_COUNT, "--count", "N", "how many buffers to place (1)"},
    {OPTION_FIX, "--fix", "NAME=yes|no", "hold a pedal or loop on or off in every state"},
    {OPTION_ALL, "--all", NULL, "every combination, even when the rig names scenes"},
    {OPTION_RIG, "--rig", "RIG.yaml", "the rig the designs will live in"},
    {OPTION_LIMITS, "--limits", "FILE.yaml", "limits of your own, in place of ours"},
    {OPTION_CORNERS, "--corners", NULL, "also the worst with parts and supply at their extremes"},
    {OPTION_DETAILS, "--all", NULL, "all lines, those too that others sum up"},
    {OPTION_TRIALS, "--trials", "N", "how many rigs to draw (10000)"},
    {OPTION_SEED, "--seed", "S", "a whole number: the same seed gives the same trials (1)"},
    {OPTION_WORST, "--worst-case", NULL,
     "also every value at one end of its tolerance or the other"},
    {OPTION_SELECT, "--select", "PATH=CHOICE",
     "what choosing parts buys: low, middle, high, 'lowest of 5', highest.., nearest.. (to "
     "nominal)"},
    {OPTION_STATED, "--only-stated", NULL, "no tolerances but those that rig and parts state"},
    {OPTION_DUMP, "--dump", "FILE.csv", "write every trial's values and figures to FILE.csv"},
    {OPTION_HISTOGRAMS, "--histograms", "FILE", "draw how often each figure comes out as what"},
    {OPTION_SENSITIVITY, "--sensitivity", "FILE", "draw which values each figure varies by"},
    {OPTION_SHARD, "--shard", "K/N", "run the K-th of N parts only, into --output FILE for merge"},
    {OPTION_RESUME, "--resume", NULL, "with --shard: go on from where FILE was left"},
    {OPTION_LEVEL, "--level", "VOLTS",
     "playing level of a pickup's coil, rms, such as '150 mV' (100 mV)"},
    {OPTION_DRAWING, "--drawing", "FILE.svg", "draw the board to scale, to be printed"},
    {OPTION_SCALE, "--scale", "1:N", "of the drawing (the largest usual one that fits)"},
    {OPTION_PAPER, "--paper", "NAME", "for the drawing: A4, A3, Letter or Tabloid (A4)"},
    {OPTION_PRICES, "--prices", "FILE.yaml", "what things cost: a bill with totals"},
    {OPTION_BILL, "--bill", NULL, "the bill of materials only"},
    {OPTION_STATE, "--state", "NAME",
     "levels in this state only ('drive, delay', a scene, none); with --csv as accept's form"},
    {OPTION_END, "--end", "AMP", "at this amp's end only, or where it was measured"},
    {OPTION_ON, "--state", "NAMES", "pedals that are on, such as 'drive, delay'; a scene; none"},
    {OPTION_OFFSET, "--offset", "keep|remove|by-file",
     "keep or take off a level all readings share (by-file: kept in gains, taken off levels)"},
    {OPTION_AS_WRITTEN, "--as-written", NULL,
     "measured with the rig's own guitar and amp, not a dummy and a meter"},
    {OPTION_CONTROLS, "--with-controls", "CONTROLS",
     "what the guitar has between pickup and jack: '{volume: {..}, tone: {..}}'"},
    {OPTION_CABLE, "--cable", "CABLE", "and up to the meter: a library part, 'standard-coax=3 m'"},
    {OPTION_LOAD, "--load", "AMP", "what hung on it: '{resistance: 1 Mohm, ..}', a part, or open"},
    {OPTION_HOLD, "--hold", "VALUES", "values that are known: '{resistance: 5.35 kohm}'"},
    {OPTION_ROBUST, "--robust", NULL, "let wild points count little"},
    {OPTION_PART, "--part", "FILE.yaml", "write what was found as a part of the library"},
    {OPTION_NAME, "--name", "NAME", "with --part: what it is called (after the sweep's file)"},
    {OPTION_PLOT, "--plot", "FILE", "draw a plot: FILE ends in .svg, .png or .pdf"},
    {OPTION_PDF, "--pdf", "FILE.pdf", "also print the page to FILE.pdf"},
    {OPTION_JSON, "--json", NULL, "print JSON instead of a table"},
    {OPTION_CSV, "--csv", NULL, "print CSV instead of a table"},
    {OPTION_POINTS, "--points", "N", "with --json: also N points of each curve, 20 Hz to 20 kHz"},
    {OPTION_REFERENCE, "--reference-hz", "HZ",
     "frequency whose level everything is relative to (200)"},
    {OPTION_OUTPUT, "--output", "FILE", "write the answer to FILE instead of standard output"},
    {OPTION_PARTS, "--parts", "DIR", "a folder of your own parts (cable.yaml, pedal.yaml, ..)"},
    {OPTION_JOBS, "--jobs", "N", "worker processes (as many as there are cores)"},
    {OPTION_TIME_LIMIT, "--time-limit", "SECONDS", "for one answer of the solver (60; a bench 10)"},
};
enum { ROWS = sizeof rows / sizeof *rows };

void request_print_options(option_set options) {
    for (size_t i = 0; i < ROWS; ++i)
        if (options & rows[i].flag) {
            char head[64];
            snprintf(head, sizeof head, "%s %s", rows[i].name, rows[i].value ? rows[i].value : "");
            printf("  %-27s %s\n", head, rows[i].about);
        }
    printf("  %-27s %s\n", "--help", "print this");
}

/// Letters two words share at their start: enough to find the option that was meant.
static size_t shared_start(const char* a, const char* b) {
    size_t size = 0;
    while (a[size] && a[size] == b[size])
        ++size;
    return size;
}

static tl_status unknown_option(const command* about, const char* word, tl_error* error) {
    const char* nearest = NULL;
    size_t best = 3; // "--" and a letter
    for (size_t i = 0; i < ROWS; ++i) {
        size_t shared = shared_start(word, rows[i].name);
        if ((about->options & rows[i].flag) && shared >= best) {
            best = shared + 1;
            nearest = rows[i].name;
        }
    }
    return tl_error_set(error, TL_BAD_INPUT,
                        "'%s' has no option '%s'%s%s%s; see toneload %s --help", about->name, word,
                        nearest ? "; did you mean " : "", nearest ? nearest : "",
                        nearest ? "?" : "", about->name);
}

static const option_row* find_option(const command* about, const char* word, size_t size) {
    for (size_t i = 0; i < ROWS; ++i)
        if ((about->options & rows[i].flag) && strlen(rows[i].name) == size &&
            strncmp(rows[i].name, word, size) == 0)
            return &rows[i];
    return NULL;
}

static tl_status read_number(const option_row* row, const char* text, double low, double high,
                             bool whole, double* number, tl_error* error) {
    char* end = NULL;
    errno = 0;
    *number = strtod(text, &end);
    bool plain = *text && text[strspn(text, "0123456789.eE+-")] == '\0' && *end == '\0';
    if (plain && errno == 0 && *number >= low && *number <= high &&
        (!whole || floor(*number) == *number))
        return TL_OK;
    char* shown = tl_show_safe(text);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "%s '%s': expected a %snumber from %g to %g", row->name,
                     shown, whole ? "whole " : "", low, high);
    free(shown);
    return status;
}

/// Where an option without a value is kept, or NULL.
static bool* switch_of(request* asked, option_set flag) {
    return flag == OPTION_JSON         ? &asked->json
           : flag == OPTION_CSV        ? &asked->csv
           : flag == OPTION_ALL        ? &asked->all
           : flag == OPTION_DETAILS    ? &asked->all
           : flag == OPTION_CORNERS    ? &asked->corners
           : flag == OPTION_RESUME     ? &asked->resume
           : flag == OPTION_WORST      ? &asked->worst_case
           : flag == OPTION_STATED     ? &asked->only_stated
           : flag == OPTION_ROBUST     ? &asked->robust
           : flag == OPTION_MATCH      ? &asked->match_level
           : flag == OPTION_AS_WRITTEN ? &asked->as_written
           : flag == OPTION_BILL       ? &asked->bill
                                       : NULL;
}

/// Where the words of an option are kept, or NULL. What may be said more than once has a new place
/// each time.
static const char** words_of(request* asked, option_set flag) {
    switch (flag) {
    case OPTION_OUTPUT:
        return &asked->output;
    case OPTION_LEVEL:
        return &asked->level;
    case OPTION_PDF:
        return &asked->pdf;
    case OPTION_PRICES:
        return &asked->prices;
    case OPTION_ON:
        return &asked->state;
    case OPTION_OFFSET:
        return &asked->offset;
    case OPTION_PLOT:
        return &asked->plot;
    case OPTION_DRAWING:
        return &asked->drawing;
    case OPTION_PAPER:
        return &asked->paper;
    case OPTION_CURVES:
        return &asked->curves;
    case OPTION_PARTS:
        return &asked->parts;
    case OPTION_METRIC:
        return &asked->metric;
    case OPTION_BUFFER:
        return &asked->buffer;
    case OPTION_OUT:
        return &asked->out;
    case OPTION_INPUT:
        return &asked->input;
    case OPTION_RIG:
        return &asked->rig;
    case OPTION_LIMITS:
        return &asked->limits_file;
    case OPTION_THROUGH:
        return &asked->through;
    case OPTION_VARY:
        return &asked->varies[asked->vary_count++];
    case OPTION_FIX:
        return &asked->fixes[asked->fix_count++];
    case OPTION_LIMIT:
        return &asked->limits[asked->limit_count++];
    case OPTION_SELECT:
        return &asked->selects[asked->select_count++];
    case OPTION_STATE:
        return &asked->state;
    case OPTION_END:
        return &asked->end;
    case OPTION_CONTROLS:
        return &asked->controls;
    case OPTION_CABLE:
        return &asked->cable;
    case OPTION_LOAD:
        return &asked->load;
    case OPTION_HOLD:
        return &asked->hold;
    case OPTION_PART:
        return &asked->part;
    case OPTION_NAME:
        return &asked->name;
    case OPTION_DUMP:
        return &asked->dump;
    case OPTION_HISTOGRAMS:
        return &asked->histograms;
    case OPTION_SENSITIVITY:
        return &asked->sensitivity;
    default:
        return NULL;
    }
}

/// A seed is any number of 64 bits.
static tl_status read_seed(const char* text, uint64_t* seed, tl_error* error) {
    char* end = NULL;
    errno = 0;
    *seed = strtoull(text, &end, 10);
    if (*text >= '0' && *text <= '9' && !*end && errno == 0)
        return TL_OK;
    char* shown = tl_show_safe(text);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT, "--seed '%s': expected a whole number from 0 to %ju",
                     shown, (uintmax_t)UINT64_MAX);
    free(shown);
    return status;
}

/// "2/7": the second of seven.
static tl_status read_shard(const char* text, request* asked, tl_error* error) {
    size_t first = strspn(text, "0123456789");
    size_t second = text[first] == '/' ? strspn(text + first + 1, "0123456789") : 0;
    bool plain = first && second && !text[first + 1 + second] && first < 19 && second < 19;
    asked->shard = plain ? strtoul(text, NULL, 10) : 0;
    asked->shards = plain ? strtoul(text + first + 1, NULL, 10) : 0;
    if (asked->shard >= 1 && asked->shard <= asked->shards)
        return TL_OK;
    char* shown = tl_show_safe(text);
    tl_status status = tl_error_set(
        error, TL_BAD_INPUT, "--shard '%s': expected K/N with K from 1 to N, such as 2/7", shown);
    free(shown);
    return status;
}

static tl_status take_number(const option_row* row, const char* value, request* asked,
                             tl_error* error) {
    double number = 0;
    tl_status status = TL_OK;
    switch (row->flag) {
    case OPTION_POINTS:
        status = read_number(row, value, 2, 100000, true, &number, error);
        asked->points = status == TL_OK ? (size_t)number : 0;
        return status;
    case OPTION_JOBS:
        status = read_number(row, value, 1, 256, true, &number, error);
        asked->jobs = status == TL_OK ? (unsigned)number : 0;
        return status;
    case OPTION_COUNT:
        status = read_number(row, value, 1, 4, true, &number, error);
        asked->count = status == TL_OK ? (size_t)number : 0;
        return status;
    case OPTION_TRIALS:
        status = read_number(row, value, 1, 1e9, true, &number, error);
        asked->trials = status == TL_OK ? (size_t)number : 0;
        return status;
    case OPTION_SEED:
        return read_seed(value, &asked->seed, error);
    case OPTION_SHARD:
        return read_shard(value, asked, error);
    case OPTION_SCALE:
        return tl_drawing_read_scale(value, &asked->scale, error);
    case OPTION_TIME_LIMIT:
        return read_number(row, value, 0.001, 86400, false, &asked->time_limit_s, error);
    case OPTION_MAX_GAIN:
        return read_number(row, value, 0, 60, false, &asked->max_gain_db, error);
    default:
        return read_number(row, value, 10, 20000, false, &asked->reference_hz, error);
    }
}

static tl_status take_value(const option_row* row, const char* value, request* asked,
                            tl_error* error) {
    bool* on = switch_of(asked, row->flag);
    const char** words = on ? NULL : words_of(asked, row->flag);
    if (on)
        *on = true;
    if (words)
        *words = value;
    if (row->flag & (OPTION_PLOT | OPTION_CURVES | OPTION_HISTOGRAMS | OPTION_SENSITIVITY))
        return tl_plot_check_path(value, error);
    if (row->flag == OPTION_DRAWING)
        return tl_drawing_check_path(value, error);
    if (row->flag == OPTION_PAPER)
        return tl_drawing_check_paper(value, error);
    return on || words ? TL_OK : take_number(row, value, asked, error);
}

/// One option and, when it takes one, its value: `--name value` or `--name=value`.
static tl_status take_option(const command* about, int count, char** words, int* at, request* asked,
                             tl_error* error) {
    const char* word = words[*at];
    const char* equals = strchr(word, '=');
    size_t size = equals ? (size_t)(equals - word) : strlen(word);
    const option_row* row = find_option(about, word, size);
    if (!row)
        return unknown_option(about, word, error);
    const char* value = equals ? equals + 1 : NULL;
    if (!row->value && value)
        return tl_error_set(error, TL_BAD_INPUT, "%s takes no value", row->name);
    if (row->value && !value) {
        if (*at + 1 >= count)
            return tl_error_set(error, TL_BAD_INPUT, "%s needs a value: %s %s", row->name,
                                row->name, row->value);
        value = words[++*at];
    }
    if (row->value && !*value)
        return tl_error_set(error, TL_BAD_INPUT, "%s needs a value that is not empty", row->name);
    return take_value(row, value ? value : "", asked, error);
}

/// Whether two names lead to the same file.
static bool same_file(const char* one, const char* two) {
    struct stat a;
    struct stat b;
    return one && two && stat(one, &a) == 0 && stat(two, &b) == 0 && S_ISREG(a.st_mode) &&
           a.st_dev == b.st_dev && a.st_ino == b.st_ino;
}

/// Whether a file that is to be written is one that is read.
static bool is_read(const request* asked, const char* output) {
    for (size_t i = 0; i < asked->word_count; ++i)
        if (same_file(output, asked->words[i]))
            return true;
    return same_file(output, asked->input) || same_file(output, asked->through) ||
           same_file(output, asked->rig) || same_file(output, asked->limits_file) ||
           same_file(output, asked->prices);
}

/// An answer must not take the place of a file it was worked out from.
static tl_status check_overwriting(const request* asked, tl_error* error) {
    const char* const outputs[] = {
        asked->output,     asked->plot,        asked->curves,  asked->out, asked->dump,
        asked->histograms, asked->sensitivity, asked->drawing, asked->pdf, asked->part};
    for (size_t i = 0; i < sizeof outputs / sizeof *outputs; ++i)
        if (is_read(asked, outputs[i])) {
            char* shown = tl_show_safe(outputs[i]);
            tl_status status = tl_error_set(
                error, TL_BAD_INPUT, "%s: the answer would overwrite what was asked about", shown);
            free(shown);
            return status;
        }
    return outputs_check(outputs, sizeof outputs / sizeof *outputs, error);
}

static tl_status check_words(const command* about, const request* asked, tl_error* error) {
    if (asked->word_count < about->least_words)
        return tl_error_set(error, TL_BAD_INPUT, "expected: toneload %s %s", about->name,
                            about->words);
    if (asked->word_count > about->most_words)
        return tl_error_set(error, TL_BAD_INPUT, "'%s' is one word too many: toneload %s %s",
                            asked->words[about->most_words], about->name, about->words);
    if (asked->json && asked->csv)
        return tl_error_set(error, TL_BAD_INPUT, "--json and --csv: one of them, please");
    if (asked->resume && !asked->shards)
        return tl_error_set(error, TL_BAD_INPUT, "--resume goes with --shard");
    if ((asked->scale > 0 || asked->paper) && (about->options & OPTION_DRAWING) && !asked->drawing)
        return tl_error_set(error, TL_BAD_INPUT, "--scale and --paper go with --drawing");
    if (asked->points && !asked->json)
        return tl_error_set(error, TL_BAD_INPUT, "--points goes with --json");
    return check_overwriting(asked, error);
}

tl_status request_read(const command* about, int count, char** words, request* asked,
                       tl_error* error) {
    *asked =
        (request){.reference_hz = 200, .max_gain_db = NAN, .count = 1, .trials = 10000, .seed = 1};
    asked->words = calloc((size_t)count + 1, sizeof *asked->words);
    asked->varies = calloc((size_t)count + 1, sizeof *asked->varies);
    asked->fixes = calloc((size_t)count + 1, sizeof *asked->fixes);
    asked->limits = calloc((size_t)count + 1, sizeof *asked->limits);
    asked->selects = calloc((size_t)count + 1, sizeof *asked->selects);
    if (!asked->words || !asked->varies || !asked->fixes || !asked->limits || !asked->selects)
        return tl_error_set(error, TL_FAILURE, "out of memory");
    bool options = true;
    tl_status status = TL_OK;
    for (int i = 0; status == TL_OK && i < count; ++i) {
        if (options && strcmp(words[i], "--") == 0)
            options = false;
        else if (options && (strcmp(words[i], "--help") == 0 || strcmp(words[i], "-h") == 0))
            asked->help = true;
        else if (options && words[i][0] == '-' && words[i][1])
            status = take_option(about, count, words, &i, asked, error);
        else
            asked->words[asked->word_count++] = words[i];
    }
    if (status == TL_OK && !asked->help)
        status = check_words(about, asked, error);
    return status;
}

void request_free(request* asked) {
    free(asked->words);
    free(asked->varies);
    free(asked->fixes);
    free(asked->limits);
    free(asked->selects);
}

/// How far long work was when it was last shown.
typedef struct {
    size_t percent;
    size_t first;   ///< done when the clock was started
    double start_s; ///< 0: it was not yet
} progress;

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/// "2 h 5 min left", once there is something to judge by.
static void print_time_left(double left_s) {
    if (left_s >= 3600)
        fprintf(stderr, ", %.0f h %.0f min left", floor(left_s / 3600), fmod(left_s, 3600) / 60);
    else if (left_s >= 100)
        fprintf(stderr, ", %.0f min left", ceil(left_s / 60));
    else
        fprintf(stderr, ", %.0f s left", ceil(left_s));
}

/// Shows how far long work is, on a terminal only.
static void show_progress(void* context, size_t done, size_t total) {
    progress* p = context;
    if (p->start_s == 0 || done < p->first) {
        p->start_s = now_s();
        p->first = done;
    }
    size_t percent = total ? 100 * done / total : 100;
    if (total < 50 || percent == p->percent || !isatty(STDERR_FILENO))
        return;
    p->percent = percent;
    double took_s = now_s() - p->start_s;
    fprintf(stderr, "\r\033[Ksolving: %zu %%", percent);
    if (took_s > 1 && done < total)
        print_time_left(took_s * (double)(total - done) / (double)(done - p->first));
    fprintf(stderr, "%s", done == total ? "\r\033[K" : "");
    fflush(stderr);
}

static volatile sig_atomic_t stopped;

/// When the first signal came, ms.
static volatile sig_atomic_t stopped_ms;

static sig_atomic_t now_ms(void) {
    return (sig_atomic_t)fmod(now_s() * 1e3, 1e9);
}

/// The first signal asks for an end, the next one is one; but some send it twice at once, to the
/// program and to its group.
static void on_stop(int number) {
    const sig_atomic_t at_once_ms = 500;
    if (stopped && abs(now_ms() - stopped_ms) > at_once_ms) {
        static const char words[] = "toneload: ended at once: what was not written yet is lost\n";
        ssize_t written = write(STDERR_FILENO, words, sizeof words - 1);
        (void)written;
        signal(number, SIG_DFL);
        raise(number);
    }
    if (!stopped)
        stopped_ms = now_ms();
    stopped = 1;
}

void request_catch_stop(void) {
    struct sigaction action = {.sa_handler = on_stop, .sa_flags = SA_RESTART};
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
}

bool request_was_stopped(void) {
    return stopped;
}

static bool tell_stopped(void* context) {
    (void)context;
    return stopped;
}

tl_status request_session(const request* asked, session_use use, tl_session** session,
                          tl_error* error) {
    static progress shown;
    tl_session_options options = {.parts_folder = asked->parts,
                                  .jobs = use == SESSION_SOLVES_ONE ? 1 : asked->jobs,
                                  .time_limit_s = asked->time_limit_s,
                                  .solves = use != SESSION_READS,
                                  .one_rig = use == SESSION_SOLVES_ONE,
                                  .progress = show_progress,
                                  .stopped = tell_stopped,
                                  .context = &shown};
    return tl_session_new(&options, session, error);
}

/// Still reachable when the program ends, so that leak checkers see that it is meant.
static tl_session* volatile left_session;

void request_leave_session(tl_session* session) {
    left_session = session;
}

tl_status request_write(const request* asked, const char* text, tl_error* error) {
    return tl_show_write(asked->output, text, error);
}
