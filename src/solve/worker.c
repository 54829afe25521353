// SPDX-License-Identifier: GPL-3.0-or-later
/// @file worker.c The program `toneload-worker`: libngspice behind a socket and a guard.
///
/// The only file that includes ngspice's header. libngspice keeps process-wide state, may end the
/// process, prints past its callback, returns 0 whatever happens, and can be talked into running
/// commands; so it runs here, alone, on numbers only, and everything it says is checked.
#include "base/text.h"
#include "solve/guard.h"
#include "solve/wire.h"

#include <ngspice/sharedspice.h>

#include <ctype.h>
#include <errno.h>
#include <malloc.h>
#include <math.h>
#include <poll.h>
#include <pwd.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#ifndef __has_feature
#define __has_feature(name) 0
#endif
/// Bytes that a worker may take: a transient of ever shorter steps must not take them all. A
/// sanitizer takes far more than it uses.
#if defined(__SANITIZE_ADDRESS__) || __has_feature(address_sanitizer)
#define MEMORY_LIMIT RLIM_INFINITY
#else
#define MEMORY_LIMIT ((rlim_t)2 << 30)
#endif

enum {
    EXIT_MISUSED = 2,
    EXIT_NO_START = 3,
    EXIT_NGSPICE = 5,
    MOST_LINES = 8,       ///< of ngspice's words that a failure quotes
    MOST_COLUMNS = 200,   ///< of each
    NAME_SIZE = 32,       ///< of a vector of ngspice's
    LOOK_AROUND_MS = 200, ///< how soon a worker at work sees that its parent is gone
};

/// The deck that is loaded, as it stands in libngspice.
typedef struct {
    uint64_t id; ///< 0: none
    char* text;
    size_t varied_count;
    tl_wire_name* varied;
    double* altered; ///< what each element was last altered to; NAN: not yet
    size_t output_count;
    tl_wire_name* outputs;
    bool switched; ///< it has a switch
    bool loaded;
} deck;

/// libngspice allows one of itself in a process, and calls back without a context from atexit().
static deck held;
/// Whether the capture was empty when it was last read: then there is nothing to clear.
static bool capture_empty;

// ---- what ngspice prints

static bool starts_with(const char* line, const char* start) {
    return strncmp(line, start, strlen(start)) == 0;
}

/// What ngspice prints in every good run.
static bool is_routine(const char* line) {
    static const char* const starts[] = {"Note: No compatibility mode",
                                         "Circuit:",
                                         "Doing analysis",
                                         "No. of Data Rows",
                                         "Using SPARSE",
                                         "Linear circuit, option noopac given"};
    for (size_t i = 0; i < sizeof starts / sizeof *starts; ++i)
        if (starts_with(line, starts[i]))
            return true;
    return line[strspn(line, " \t\r")] == '\0';
}

/// Everything printed goes to descriptor 1, which the library can read even when this process is
/// dead. libngspice puts "stdout " or "stderr " in front of each line. What it
/// prints in every good run is left out: to write it would take longer than a point of a sweep.
static int on_print(char* line, int id, void* context) {
    (void)id;
    (void)context;
    if (strncmp(line, "stdout ", 7) == 0 || strncmp(line, "stderr ", 7) == 0)
        line += 7;
    if (is_routine(line))
        return 0;
    char copy[1024];
    int size = snprintf(copy, sizeof copy, "%s\n", line);
    size_t wanted = size < (int)sizeof copy ? (size_t)size : sizeof copy - 1;
    copy[wanted - 1] = '\n';
    ssize_t written = write(STDOUT_FILENO, copy, wanted);
    (void)written; // a full capture is noticed by its size
    return 0;
}

/// Empties the capture, for the next request's words. (It is appended to: there is no going back.)
static void clear_capture(void) {
    fflush(stdout);
    if (capture_empty)
        return;
    int emptied = ftruncate(STDOUT_FILENO, 0);
    (void)emptied; // one that fills up is noticed by its size
}

/// All that was printed since clear_capture(); free with free().
static char* read_capture(size_t* size) {
    fflush(stdout);
    char block[4096];
    tl_text all = {0};
    ssize_t got = sizeof block;
    while (got == sizeof block) { // less is the end
        got = pread(STDOUT_FILENO, block, sizeof block, (off_t)all.size);
        tl_text_add_bytes(&all, block, got > 0 ? (size_t)got : 0);
    }
    *size = all.size;
    capture_empty = all.size == 0;
    return tl_text_take(&all);
}

/// A single step of ngspice's search for an operating point.
static bool is_step(const char* line) {
    return starts_with(line, "Trying gmin") || starts_with(line, "Supplies reduced") ||
           starts_with(line, "Warning: Further gmin increment") || starts_with(line, "Note: One");
}

/// Words of that search, which may fail on the way to one. The last resort, an operating point "by
/// transient", is none of them: what it settles at is no answer.
static bool is_search(const char* line) {
    static const char* const starts[] = {"Warning: Last gmin step failed",
                                         "Warning: Dynamic gmin stepping failed",
                                         "Warning: True gmin stepping failed", "Note: Starting"};
    bool search = is_step(line);
    for (size_t i = 0; i < sizeof starts / sizeof *starts; ++i)
        search = search || starts_with(line, starts[i]);
    return search && !strcasestr(line, "singular") && !strcasestr(line, "source stepping failed");
}

static bool is_trouble(const char* line) {
    static const char* const words[] = {
        "error",     "warning", "singular", "fail",         "abort",   "can't",      "cannot",
        "not found", "no such", "unknown",  "transient op", "ignored", "no circuit", "too small"};
    if (is_routine(line) || is_search(line))
        return false;
    for (size_t i = 0; i < sizeof words / sizeof *words; ++i)
        if (strcasestr(line, words[i]))
            return true;
    return false;
}

/// One try for an operating point that could not be worked out, after which ngspice tries another
/// way.
static bool is_stumble(const char* line) {
    return (is_step(line) || starts_with(line, "Warning:") || starts_with(line, "Error:")) &&
           (strcasestr(line, "singular matrix") || strcasestr(line, "out of range for"));
}

/// An operating point that steps in conductance or in the supplies led to is as good as any.
static bool is_found(const char* line) {
    return starts_with(line, "Note:") && strstr(line, "stepping completed");
}

/// Whether anything was printed so far that says a result is missing or may be wrong. What was
/// stumbled over is behind an operating point that was found.
static bool saw_trouble(void) {
    size_t size = 0;
    char* all = read_capture(&size);
    bool trouble = size >= TL_WIRE_CAPTURE_LIMIT;
    bool stumbled = false;
    for (char *rest = all, *line; (line = strsep(&rest, "\n"));)
        if (is_stumble(line))
            stumbled = true;
        else if (is_found(line))
            stumbled = false;
        else
            trouble = trouble || is_trouble(line);
    free(all);
    return trouble || stumbled;
}

// ---- answers

/// Adds a line of ngspice's as it is quoted to the user.
static void quote_line(tl_text* words, char* line) {
    if (strlen(line) > MOST_COLUMNS)
        line[MOST_COLUMNS] = '\0';
    tl_text_add(words, "\n  ngspice: ");
    tl_text_add_safe(words, line);
}

/// The line in which ngspice says how an analysis ended, if it did; free with free().
static char* copy_verdict(const char* all) {
    static const char start[] = "doAnalyses: ";
    const char* found = NULL;
    for (const char* at = all; (at = strstr(at, start)); at += strlen(start))
        if (at == all || at[-1] == '\n')
            found = at;
    return found ? tl_printf("%.*s", (int)strcspn(found, "\n"), found) : NULL;
}

/// Adds the first lines of the capture that tell of trouble, each with the two after it, which
/// often say where it lies, and without the steps of a search. Its last word, which may name the
/// node or element that was in the way, is never left out.
static void quote_capture(tl_text* words) {
    size_t size = 0;
    char* all = read_capture(&size);
    char* verdict = copy_verdict(all);
    const char* last = "";
    unsigned quoted = 0;
    unsigned follow = 0;
    for (char *rest = all, *line; (line = strsep(&rest, "\n")) && quoted < MOST_LINES;) {
        if (verdict && strcmp(line, verdict) == 0)
            break;
        follow = is_trouble(line) ? 3 : follow;
        if (!follow || is_routine(line) || is_search(line) || is_step(line) ||
            strcmp(line, last) == 0)
            continue;
        quote_line(words, line);
        last = line;
        ++quoted;
        --follow;
    }
    if (verdict && strcmp(verdict, last) != 0)
        quote_line(words, verdict);
    free(verdict);
    free(all);
}

/// What went wrong in a request, with ngspice's own words below it.
static void send_failure(tl_wire_kind kind, const char* what) {
    tl_text words = {0};
    tl_text_add(&words, what);
    quote_capture(&words);
    tl_wire_send(TL_WIRE_SOCKET, kind, tl_text_get(&words), words.size, 0);
    tl_text_free(&words);
}

/// libngspice calls exit() in places: the request that made it do so still gets its answer.
static void on_exit_called(void) {
    send_failure(TL_WIRE_LAST, "ngspice gave up");
    _exit(EXIT_NGSPICE);
}

static int on_controlled_exit(int status, NG_BOOL at_once, NG_BOOL quit, int id, void* context) {
    (void)status;
    (void)at_once;
    (void)quit;
    (void)id;
    (void)context;
    on_exit_called();
    return 0;
}

// ---- the deck

static void command(const char* format, ...) TL_PRINTF(1, 2);

/// Gives ngspice a command made of our own words and numbers.
static void command(const char* format, ...) {
    char line[200];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    ngSpice_Command(line);
}

/// ngspice loads a circuit at the first line `.end`, and keeps what follows for the next one.
static bool is_end(const char* line) {
    line += strspn(line, " \t");
    return strncasecmp(line, ".end", 4) == 0 && (!line[4] || isspace((unsigned char)line[4]));
}

/// ngspice takes a resistor of 0 ohm for one of 1 milliohm and says nothing.
static bool is_zero_resistor(const char* line) {
    line += strspn(line, " \t");
    if (tolower((unsigned char)*line) != 'r')
        return false;
    for (int field = 0; field < 3; ++field) {
        line += strcspn(line, " \t");
        line += strspn(line, " \t");
    }
    char* end = NULL;
    double value = strtod(line, &end);
    return end != line && value == 0;
}

/// The lines of a deck as ngSpice_Circ() takes them, NULL-terminated, cut out of `text`; NULL when
/// the text is no whole deck or holds a resistor of 0 ohm, with the reason in `*why`.
static char** split_lines(char* text, const char** why) {
    size_t count = 0;
    size_t room = 64;
    char** lines = tl_new(room, sizeof *lines);
    bool ended = false;
    *why = NULL;
    for (char *rest = text, *line; !*why && (line = strsep(&rest, "\n"));) {
        line[strcspn(line, "\r")] = '\0';
        if (!line[strspn(line, " \t")])
            continue;
        if (ended)
            *why = "the circuit goes on after its .end";
        else if (count && is_zero_resistor(line))
            *why = "the circuit has a resistor of 0 ohm";
        ended = ended || is_end(line);
        if (count + 2 > room)
            lines = tl_grow(lines, room *= 2, sizeof *lines);
        lines[count++] = line;
        lines[count] = NULL;
    }
    if (!*why && !ended)
        *why = "the circuit has no .end";
    if (!*why && count < 2)
        *why = "the circuit is empty";
    if (!*why)
        return lines;
    free(lines);
    return NULL;
}

static void free_deck(void) {
    if (held.loaded)
        command("remcirc");
    free(held.text);
    free(held.varied);
    free(held.altered);
    free(held.outputs);
    held = (deck){0};
}

/// ngspice 39 takes every switch for open in a sweep and in noise, whatever the operating point.
static bool has_switch(const char* text) {
    while ((text = strchr(text, '\n'))) {
        text += 1 + strspn(text + 1, " \t");
        if (strchr("sSwW", *text) && *text)
            return true;
    }
    return false;
}

static void keep_deck(const tl_wire_task* task) {
    held = (deck){
        .id = task->deck_id,
        .text = tl_copy(task->text),
        .varied_count = task->varied_count,
        .varied = tl_new(task->varied_count, sizeof *held.varied),
        .altered = tl_new(task->varied_count, sizeof *held.altered),
        .switched = has_switch(task->text),
        .output_count = task->output_count,
        .outputs = tl_new(task->output_count, sizeof *held.outputs),
    };
    if (task->varied_count)
        memcpy(held.varied, task->varied, task->varied_count * sizeof *held.varied);
    memcpy(held.outputs, task->outputs, task->output_count * sizeof *held.outputs);
}

/// What ngspice calls a quantity: in `save` the current of a source has a name of its own.
static void name_output(const tl_wire_name* output, bool saved, char name[NAME_SIZE]) {
    if (output->kind == 'n')
        snprintf(name, NAME_SIZE, "v(%u)", output->number);
    else if (output->kind == 'v')
        snprintf(name, NAME_SIZE, saved ? "i(v%u)" : "v%u#branch", output->number);
    else if (output->kind == 'o' || output->kind == 'i')
        snprintf(name, NAME_SIZE, "%cnoise_spectrum", (char)output->kind);
    else
        snprintf(name, NAME_SIZE, "onoise_%c%u", (char)output->kind, output->number);
}

/// Has ngspice keep what will be read and nothing else. After a noise analysis it adds up totals,
/// and calls it an error when it may not keep any.
static void save_outputs(void) {
    bool noise = false;
    for (size_t i = 0; i < held.output_count; ++i) {
        char name[NAME_SIZE];
        name_output(&held.outputs[i], true, name);
        command("save %s", name);
        noise = noise || !strchr("nv", (int)held.outputs[i].kind);
    }
    if (noise)
        command("save onoise_total");
}

/// Loads the kept deck's text into ngspice. NULL, or what went wrong.
static const char* load_deck(void) {
    char* text = tl_copy(held.text);
    const char* why = NULL;
    char** lines = split_lines(text, &why);
    if (lines) {
        ngSpice_Circ(lines);
        held.loaded = true;
        save_outputs();
        for (size_t i = 0; i < held.varied_count; ++i)
            held.altered[i] = NAN;
        if (saw_trouble())
            why = "ngspice could not read the circuit";
    }
    free(lines);
    free(text);
    return why;
}

// ---- a request

/// A controlled source's value is its gain, and a source's its small-signal magnitude.
static const char* field_of(uint32_t kind) {
    return kind == 'e' || kind == 'g' ? " gain" : kind == 'v' ? " acmag" : "";
}

/// What a model of several elements calls their value; NULL for a single element.
static const char* model_field_of(uint32_t kind) {
    return kind == 'R' ? "r" : kind == 'L' ? "ind" : kind == 'C' ? "cap" : NULL;
}

/// Every value is set by `alter`, the first time too: what is parsed from a deck's text might
/// differ in its last bit, and an answer must not depend on which worker gave it. (Blanks around
/// the sign would be an eighth more work for ngspice.)
static void alter_values(const double* values) {
    for (size_t i = 0; i < held.varied_count; ++i) {
        if (memcmp(&held.altered[i], &values[i], sizeof values[i]) == 0)
            continue;
        const tl_wire_name* element = &held.varied[i];
        const char* model = model_field_of(element->kind);
        if (model)
            command("altermod same%u %s=%.17g", element->number, model, values[i]);
        else
            command("alter %c%u%s=%.17g", (char)element->kind, element->number,
                    field_of(element->kind), values[i]);
        held.altered[i] = values[i];
    }
}

/// The vector of that name if it is of the kind and, but for 0, of the length that we expect.
static const vector_info* find_vector(const char* name, bool complex_one, size_t length) {
    char copy[NAME_SIZE];
    snprintf(copy, sizeof copy, "%s", name);
    const vector_info* vector = ngGet_Vec_Info(copy);
    if (!vector || vector->v_length <= 0 || (length && (size_t)vector->v_length != length))
        return NULL;
    return (complex_one ? (const void*)vector->v_compdata : (const void*)vector->v_realdata)
               ? vector
               : NULL;
}

/// Reads the frequencies and checks each: ngspice clips and shortens sweeps without a word.
static bool read_sweep_axis(const tl_wire_task* task, const tl_wire_curve* curve) {
    const vector_info* vector = find_vector("frequency", true, curve->point_count);
    if (!vector)
        return false;
    double ratio = log(task->high_hz / task->low_hz);
    for (size_t i = 0; i < curve->point_count; ++i) {
        double expected = task->low_hz * exp(ratio * (double)i / (double)(curve->point_count - 1));
        curve->axis[i] = vector->v_compdata[i].cx_real;
        if (!(fabs(curve->axis[i] - expected) <= 1e-9 * expected))
            return false;
    }
    return true;
}

/// The same for noise, whose steps are not fitted to the last frequency.
static bool read_noise_axis(const tl_wire_task* task, const tl_wire_curve* curve) {
    const vector_info* vector = find_vector("frequency", false, curve->point_count);
    if (!vector)
        return false;
    for (size_t i = 0; i < curve->point_count; ++i) {
        double expected = task->low_hz * pow(10, (double)i / task->per_decade);
        curve->axis[i] = vector->v_realdata[i];
        if (!(fabs(curve->axis[i] - expected) <= 1e-9 * expected))
            return false;
    }
    return true;
}

/// The times must go up, from the first that was asked for to the last.
static bool read_time_axis(const tl_wire_task* task, const tl_wire_curve* curve) {
    const vector_info* vector = find_vector("time", false, curve->point_count);
    if (!vector)
        return false;
    double small_s = 1e-9 * task->stop_s;
    double last_s = task->start_s - small_s;
    for (size_t i = 0; i < curve->point_count; ++i) {
        curve->axis[i] = vector->v_realdata[i];
        if (!(curve->axis[i] > last_s))
            return false;
        last_s = curve->axis[i];
    }
    return fabs(last_s - task->stop_s) <= small_s;
}

static bool read_axis(const tl_wire_task* task, const tl_wire_curve* curve) {
    switch (task->analysis) {
    case TL_SWEEP:
        return read_sweep_axis(task, curve);
    case TL_NOISE:
        return read_noise_axis(task, curve);
    case TL_TRANSIENT:
        return read_time_axis(task, curve);
    case TL_POINT:
        break;
    }
    return true; // an axis of one 0
}

/// Copies one output into its row; false when it is missing or no number.
static bool read_output(const char* name, const tl_wire_curve* curve, size_t row) {
    bool pairs = curve->analysis == TL_SWEEP;
    size_t count = curve->point_count * (pairs ? 2 : 1);
    double* x = curve->rows + row * count;
    const vector_info* vector = find_vector(name, pairs, curve->point_count);
    if (!vector)
        return false;
    bool finite = true;
    for (size_t i = 0; i < curve->point_count; ++i)
        if (pairs) {
            x[2 * i] = vector->v_compdata[i].cx_real;
            x[2 * i + 1] = vector->v_compdata[i].cx_imag;
        } else {
            x[i] = vector->v_realdata[i];
        }
    for (size_t i = 0; i < count; ++i)
        finite = finite && isfinite(x[i]);
    return finite;
}

/// Reads what was solved of a set into an answer; NULL, or what is missing. The axis is that of all
/// sets, and looked at each time.
static const char* read_answer(const tl_wire_task* task, const tl_wire_curve* curve, size_t set) {
    static char what[100];
    if (!read_axis(task, curve))
        return task->analysis == TL_TRANSIENT
                   ? "ngspice's times do not rise to the end that it was asked for"
                   : "ngspice did not solve the frequencies it was asked for";
    for (size_t i = 0; i < held.output_count; ++i) {
        const tl_wire_name* output = &held.outputs[i];
        char name[NAME_SIZE];
        name_output(output, false, name);
        if (read_output(name, curve, set * held.output_count + i))
            continue;
        if (output->kind == 'n')
            snprintf(what, sizeof what, "ngspice has no answer at node %u", output->number);
        else
            snprintf(what, sizeof what, "ngspice has no answer that it calls %s", name);
        return what;
    }
    return NULL;
}

/// Makes the request's deck the loaded one. NULL, or why that cannot be.
static const char* use_deck(const tl_wire_task* task) {
    if (task->text) {
        free_deck();
        keep_deck(task);
    }
    if (!held.id || held.id != task->deck_id || held.varied_count != task->value_count)
        return "the worker was asked about a circuit it does not hold";
    const char* why = held.loaded ? NULL : load_deck();
    if (!why && held.switched && (task->analysis == TL_SWEEP || task->analysis == TL_NOISE))
        why = "the circuit has a switch, which ngspice takes for open at all frequencies";
    return why;
}

/// How many points there are: only ngspice knows how many steps in time it took, and of noise
/// whether the last step of frequency still counts.
static size_t count_points(const tl_wire_task* task) {
    size_t wanted = tl_wire_point_count(task->per_decade, task->low_hz, task->high_hz);
    if (task->analysis == TL_POINT)
        return 1;
    if (task->analysis == TL_SWEEP)
        return wanted;
    bool in_time = task->analysis == TL_TRANSIENT;
    const vector_info* axis = find_vector(in_time ? "time" : "frequency", false, 0);
    size_t got = axis ? (size_t)axis->v_length : 0;
    return in_time || got == wanted || got == wanted + 1 ? got : wanted;
}

/// Has ngspice do what was asked. Noise ends with its totals in front, and what it is a total of
/// behind.
static void run_analysis(const tl_wire_task* task) {
    switch (task->analysis) {
    case TL_SWEEP:
        command("ac dec %u %.17g %.17g", task->per_decade, task->low_hz, task->high_hz);
        break;
    case TL_POINT:
        command("op");
        break;
    case TL_TRANSIENT:
        command("tran %.17g %.17g %.17g %.17g", task->step_s, task->stop_s, task->start_s,
                task->ceiling_s);
        break;
    case TL_NOISE:
        command("noise v(%u) v%u dec %u %.17g %.17g 1", task->noise_node, task->noise_source,
                task->per_decade, task->low_hz, task->high_hz);
        command("setplot previous");
        break;
    }
}

/// An answer on its way; `body` is NULL before anything is solved.
typedef struct {
    tl_wire_curve curve;
    void* body;
    size_t size;
} answer;

/// Makes room for the answer once the first set is solved and its points can be counted. NULL, or
/// why that cannot be.
static const char* make_answer(const tl_wire_task* task, answer* made) {
    static char what[100];
    made->curve = (tl_wire_curve){
        .analysis = task->analysis,
        .set_count = task->set_count,
        .point_count = count_points(task),
        .output_count = held.output_count,
    };
    made->body = tl_wire_new_curve(&made->curve, &made->size);
    if (made->body)
        return NULL;
    snprintf(what, sizeof what, "the answer is too long: %zu points of %zu outputs",
             made->curve.point_count, made->curve.output_count * task->set_count);
    return what;
}

/// Solves one set of values into its place in the answer. NULL, or what went wrong.
static const char* solve_set(const tl_wire_task* task, size_t set, answer* made) {
    alter_values(task->values + set * task->value_count);
    run_analysis(task);
    if (saw_trouble())
        return "ngspice could not solve the circuit";
    const char* why = made->body ? NULL : make_answer(task, made);
    return why ? why : read_answer(task, &made->curve, set);
}

/// Solves all sets of values, one after the other, and sends the answer. NULL, or what went wrong
/// with one of them. What ngspice printed of a good one is let go of before the next. The last is
/// tidied up when the library has its answer already.
static const char* solve_sets(const tl_wire_task* task) {
    answer made = {0};
    const char* why = NULL;
    for (size_t set = 0; !why && set < task->set_count; ++set) {
        if (set > 0) {
            command("destroy all");
            clear_capture();
        }
        why = solve_set(task, set, &made);
    }
    if (!why &&
        tl_wire_send(TL_WIRE_SOCKET, TL_WIRE_CURVE, made.body, made.size, 0) != TL_WIRE_DONE)
        _exit(0);
    command("destroy all");
    free(made.body);
    return why;
}

/// Solves and answers one request, checking after each step what ngspice had to say. A circuit
/// that failed is dropped: an operating point "by transient" leaves traces in it that change later
/// answers (seen: 5e-6), which nothing else was seen to do.
static void serve(const tl_wire_task* task) {
    clear_capture();
    bool in_hz = task->analysis == TL_SWEEP || task->analysis == TL_NOISE;
    bool sweep = tl_wire_point_count(task->per_decade, task->low_hz, task->high_hz) > 0;
    const char* why = in_hz && !sweep ? "the frequencies asked for are no sweep" : use_deck(task);
    if (!why)
        why = solve_sets(task);
    if (why) {
        send_failure(TL_WIRE_WORDS, why);
        free_deck();
    }
}

// ---- start and end

/// A worker that computes does not read its socket: this looks whether anyone still waits.
static void on_alarm(int signal) {
    (void)signal;
    int kept = errno;
    struct pollfd one = {.fd = TL_WIRE_SOCKET, .events = POLLRDHUP};
    if (poll(&one, 1, 0) > 0 && (one.revents & (POLLRDHUP | POLLHUP | POLLERR)))
        _exit(0);
    errno = kept;
}

static void look_around(bool on) {
    struct timeval every = {.tv_sec = 0, .tv_usec = on ? LOOK_AROUND_MS * 1000 : 0};
    struct itimerval timer = {.it_interval = every, .it_value = every};
    setitimer(ITIMER_REAL, &timer, NULL);
}

static bool fail_start(const char* what) {
    fprintf(stdout, "%s: %s\n", what, strerror(errno));
    fflush(stdout);
    return false;
}

/// Lowers a limit of this process for good, unless it is lower already.
static bool bound(unsigned resource, rlim_t most) {
    struct rlimit limit;
    if (getrlimit(resource, &limit) != 0)
        return false;
    if (limit.rlim_max > most)
        limit.rlim_max = most;
    limit.rlim_cur = limit.rlim_max;
    return setrlimit(resource, &limit) == 0;
}

/// Lets nothing in that a caller may have left open, and bounds what this process may leave behind.
/// The time zone is said so that ngspice, which dates each run, need not look for a file that says
/// it.
static bool shut_doors(void) {
    struct stat about;
    if (fstat(TL_WIRE_SOCKET, &about) != 0 || !S_ISSOCK(about.st_mode)) {
        fputs("toneload-worker: is started by toneload and of no use by hand\n", stderr);
        _exit(EXIT_MISUSED);
    }
    if (close_range(TL_WIRE_SOCKET + 1, ~0U, 0) != 0)
        return fail_start("close_range");
    signal(SIGXFSZ, SIG_IGN);
    if (!bound(RLIMIT_CORE, 0) || !bound(RLIMIT_FSIZE, TL_WIRE_CAPTURE_LIMIT) ||
        !bound(RLIMIT_DATA, MEMORY_LIMIT))
        return fail_start("setrlimit");
    signal(SIGPIPE, SIG_IGN);
    struct sigaction alarm = {.sa_handler = on_alarm, .sa_flags = SA_RESTART};
    if (sigaction(SIGALRM, &alarm, NULL) != 0)
        return fail_start("sigaction");
    if (clearenv() != 0 || setenv("TZ", "UTC0", 1) != 0 || chdir("/") != 0)
        return fail_start("chdir");
    setvbuf(stdout, NULL, _IOLBF, 0);
    return true;
}

/// ngspice runs the commands of a `.spiceinit` in the home that the password database names. It is
/// told of none: to ask takes files and a socket, which the guard would end the process for.
__attribute__((visibility("default"))) struct passwd*
getpwuid(uid_t user) { // NOLINT: the name that the C library gives its argument is its own
    static char nowhere[] = "/nonexistent";
    static struct passwd nobody;
    nobody = (struct passwd){.pw_uid = user, .pw_dir = nowhere};
    return &nobody;
}

/// ngspice asks for the processor time at every frequency and only ever prints it: a system call
/// each time, which took a third of a sweep.
__attribute__((visibility("default"))) clock_t clock(void) {
    return 0;
}

/// ngspice takes and gives back the same memory in every run: kept, it need not be asked for again.
static void keep_memory(void) {
    enum { KEEP = 64 << 20, STEP = 1 << 20 };
    mallopt(M_TRIM_THRESHOLD, KEEP);
    mallopt(M_MMAP_THRESHOLD, KEEP / 2);
    mallopt(M_TOP_PAD, STEP);
}

/// Starts everything. Behind the guard ngspice finds no start-up file, wherever it looks for one:
/// `spinit` (which also loads code models), `.spiceinit` here and at home.
static bool start(void) {
    if (!shut_doors())
        return false;
    keep_memory();
    if (!tl_guard_enter())
        return fail_start("the guard");
    atexit(on_exit_called);
    ngSpice_Init(on_print, NULL, on_controlled_exit, NULL, NULL, NULL, NULL);
    command("set num_threads=1"); // some models start threads, which the guard ends the process for
    command("set noinit");        // a transient need not print where it starts
    clear_capture();
    return true;
}

/// Serves requests until the library closes its end. Ends by _exit(): there is nothing to tidy
/// up, and libngspice's own tidying is not to be trusted.
int main(void) {
    if (!start())
        _exit(EXIT_NO_START);
    if (tl_wire_send(TL_WIRE_SOCKET, TL_WIRE_HELLO, NULL, 0, 0) != TL_WIRE_DONE)
        _exit(0);
    for (;;) {
        tl_wire_frame frame;
        tl_wire_task task;
        if (tl_wire_receive(TL_WIRE_SOCKET, &frame, 0) != TL_WIRE_DONE)
            _exit(0);
        if (!tl_wire_unpack_task(&frame, &task))
            _exit(EXIT_MISUSED);
        look_around(true);
        serve(&task);
        look_around(false);
        tl_wire_frame_free(&frame);
    }
}
