// SPDX-License-Identifier: GPL-3.0-or-later
// What libngspice alone takes: the floor that scripts/bench, which builds this, holds toneload to.
//
//   bench_raw DECK COUNT OUTPUT,OUTPUT.. ELEMENT=VALUE..
//   bench_raw --decks DECK..
//   bench_raw --trials DECK VALUES OUTPUT,OUTPUT.. [--points 21] [--solver]
//
// Loads the deck once; then COUNT times alters the elements, solves 21 frequencies, reads the
// outputs and frees them. Or loads each of many decks, whose first line is the output's name,
// solves it, reads it and frees it again. Prints the seconds of the loop.
//
// Or draws lots as one would without toneload: VALUES names elements in its first line and has a
// line of their values a trial (tests/study/bench_spread_numpy.py --values writes it), or names
// models as MODEL:PARAMETER; each trial alters them, solves 301 frequencies or 21, and looks on
// these for the peak and for the point 3 dB below the level at 200 Hz. Prints the means of both for
// each output, then the seconds of the loop, with --solver those inside the solver alone.
#include <stdbool.h> // which the next one forgets

#include <ngspice/sharedspice.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { POINTS = 21, MOST_OUTPUTS = 16 };

static int on_print(char* line, int id, void* context) {
    (void)id;
    (void)context;
    if (strstr(line, "rror"))
        fprintf(stderr, "%s\n", line);
    return 0;
}

static int on_exit_called(int status, NG_BOOL at_once, NG_BOOL quit, int id, void* context) {
    (void)at_once;
    (void)quit;
    (void)id;
    (void)context;
    exit(status ? status : EXIT_FAILURE);
}

#ifdef ANSWER_CLOCK
/// As toneload's worker has it: libngspice asks for the time at every frequency.
__attribute__((visibility("default"))) clock_t clock(void) {
    return 0;
}
#endif

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void give(char* command) {
    ngSpice_Command(command);
}

/// What was solved; ends the program when it is not what a solved one looks like.
static const vector_info* get_vector(const char* name, int points) {
    char copy[64];
    snprintf(copy, sizeof copy, "%s", name);
    const vector_info* vector = ngGet_Vec_Info(copy);
    if (!vector || !vector->v_compdata || vector->v_length != points) {
        fprintf(stderr, "bench_raw: nothing solved at %s\n", name);
        exit(EXIT_FAILURE);
    }
    return vector;
}

/// Reads one output.
static double read_output(const char* name) {
    const vector_info* vector = get_vector(name, POINTS);
    double sum = 0;
    for (int i = 0; i < POINTS; ++i)
        sum += hypot(vector->v_compdata[i].cx_real, vector->v_compdata[i].cx_imag);
    return sum;
}

/// Sets each element to its value times `ratio`.
static void alter(int count, char** elements, double ratio) {
    for (int i = 0; i < count; ++i) {
        char line[128];
        const char* value = strchr(elements[i], '=') + 1;
        snprintf(line, sizeof line, "alter %.*s = %.17g", (int)(value - elements[i] - 1),
                 elements[i], ratio * strtod(value, NULL));
        give(line);
    }
}

enum { MOST_LINES = 1000, LONGEST = 256 };

/// A deck in memory, as ngSpice_Circ() takes it.
typedef struct {
    char* lines[MOST_LINES + 1];
    char output[LONGEST];
} deck;

static deck* read_deck(const char* path) {
    deck* read = calloc(1, sizeof *read);
    FILE* file = fopen(path, "r");
    char line[LONGEST];
    int count = 0;
    if (!read || !file)
        exit(EXIT_FAILURE);
    while (count < MOST_LINES && fgets(line, sizeof line, file)) {
        line[strcspn(line, "\n")] = '\0';
        if (count == 0)
            snprintf(read->output, sizeof read->output, "%s", line);
        read->lines[count++] = strdup(line);
    }
    fclose(file);
    return read;
}

static int solve_decks(int count, char** paths) {
    char ac[] = "ac dec 5 10 100k";
    char destroy[] = "destroy all";
    char remove[] = "remcirc";
    char line[LONGEST + 8];
    deck** decks = calloc((size_t)count, sizeof *decks);
    if (!decks)
        return EXIT_FAILURE;
    for (int i = 0; i < count; ++i)
        decks[i] = read_deck(paths[i]);
    double sum = 0;
    double start_s = now_s();
    for (int i = 0; i < count; ++i) {
        ngSpice_Circ(decks[i]->lines);
        snprintf(line, sizeof line, "save %s", decks[i]->output);
        give(line);
        give(ac);
        sum += read_output(decks[i]->output);
        give(destroy);
        give(remove);
    }
    printf("%.6f\n", now_s() - start_s);
    return isfinite(sum) ? EXIT_SUCCESS : EXIT_FAILURE;
}

/// Splits OUTPUT,OUTPUT.. and has these alone saved; returns how many there are.
static int save_outputs(char* list, char** outputs) {
    int count = 0;
    char line[512];
    for (char* name = strtok(list, ","); name && count < MOST_OUTPUTS; name = strtok(NULL, ",")) {
        outputs[count++] = name;
        snprintf(line, sizeof line, "save %s", name);
        give(line);
    }
    return count;
}

/// Every trial's values, a row each, under the names of the elements.
typedef struct {
    int names, trials;
    char** name;
    double* value;
} table;

static int split(char* line, char** words, int most) {
    int count = 0;
    for (char* word = strtok(line, " \n"); word && count < most; word = strtok(NULL, " \n"))
        words[count++] = word;
    return count;
}

static table read_table(const char* path) {
    char* line = NULL;
    size_t size = 0;
    char* words[MOST_LINES];
    FILE* file = fopen(path, "r");
    if (!file || getline(&line, &size, file) < 0)
        exit(EXIT_FAILURE);
    table read = {.names = split(line, words, MOST_LINES)};
    read.name = calloc((size_t)read.names, sizeof *read.name);
    for (int i = 0; i < read.names; ++i)
        read.name[i] = strdup(words[i]);
    while (getline(&line, &size, file) > 0) {
        size_t from = (size_t)read.trials++ * (size_t)read.names;
        read.value = realloc(read.value, (from + (size_t)read.names) * sizeof *read.value);
        if (!read.value || split(line, words, MOST_LINES) != read.names)
            exit(EXIT_FAILURE);
        for (int i = 0; i < read.names; ++i)
            read.value[from + (size_t)i] = strtod(words[i], NULL);
    }
    free(line);
    fclose(file);
    return read;
}

/// Adds the frequencies of the peak and of the -3 dB point, of the solved ones, to the sums.
static void add_figures(const char* output, int points, double sums[2]) {
    const ngcomplex_t* hz = get_vector("frequency", points)->v_compdata;
    const ngcomplex_t* volts = get_vector(output, points)->v_compdata;
    double power[1000];
    int reference = 0;
    int top = 0;
    for (int i = 0; i < points; ++i) {
        power[i] = volts[i].cx_real * volts[i].cx_real + volts[i].cx_imag * volts[i].cx_imag;
        if (hz[i].cx_real <= 200.1)
            reference = top = i;
        if (power[i] > power[top])
            top = i;
    }
    int fall = top;
    while (fall + 1 < points && power[fall] > 0.5 * power[reference])
        ++fall;
    sums[0] += hz[top].cx_real;
    sums[1] += hz[fall].cx_real;
}

static int solve_trials(int count, char** words) {
    char ac[64] = "ac dec 75 10 100k";
    char destroy[] = "destroy all";
    char line[512];
    char* outputs[MOST_OUTPUTS];
    double sums[MOST_OUTPUTS][2] = {{0}};
    int points = 301;
    bool only_solver = false;
    if (count < 3)
        return EXIT_FAILURE;
    for (int i = 3; i < count; ++i) {
        if (strcmp(words[i], "--solver") == 0)
            only_solver = true;
        else if (strcmp(words[i], "--points") == 0 && i + 1 < count)
            points = atoi(words[++i]);
    }
    if (points < 5 || points > 1000 || points % 4 != 1)
        return EXIT_FAILURE;
    snprintf(ac, sizeof ac, "ac dec %d 10 100k", points / 4);
    table trials = read_table(words[1]);
    snprintf(line, sizeof line, "source %s", words[0]);
    give(line);
    int output_count = save_outputs(words[2], outputs);
    double solver_s = 0;
    double start_s = now_s();
    for (int i = 0; i < trials.trials; ++i) {
        const double* value = trials.value + (size_t)i * (size_t)trials.names;
        for (int j = 0; j < trials.names; ++j) {
            const char* colon = strchr(trials.name[j], ':');
            if (colon) // a model that several elements have: MODEL:PARAMETER
                snprintf(line, sizeof line, "altermod %.*s %s=%.17g", (int)(colon - trials.name[j]),
                         trials.name[j], colon + 1, value[j]);
            else
                snprintf(line, sizeof line, "alter %s = %.17g", trials.name[j], value[j]);
            give(line);
        }
        double before_s = now_s();
        give(ac);
        solver_s += now_s() - before_s;
        for (int j = 0; j < output_count; ++j)
            add_figures(outputs[j], points, sums[j]);
        give(destroy);
    }
    double loop_s = now_s() - start_s;
    for (int j = 0; j < output_count; ++j)
        printf("%s: peak %.6g Hz, -3 dB %.6g Hz\n", outputs[j], sums[j][0] / trials.trials,
               sums[j][1] / trials.trials);
    printf("%.6f\n", only_solver ? solver_s : loop_s);
    return EXIT_SUCCESS;
}

int main(int count, char** words) {
    char ac[] = "ac dec 5 10 100k";
    char destroy[] = "destroy all";
    char line[512];
    if (count > 2 && strcmp(words[1], "--decks") == 0) {
        ngSpice_Init(on_print, NULL, on_exit_called, NULL, NULL, NULL, NULL);
        return solve_decks(count - 2, words + 2);
    }
    if (count > 2 && strcmp(words[1], "--trials") == 0) {
        ngSpice_Init(on_print, NULL, on_exit_called, NULL, NULL, NULL, NULL);
        return solve_trials(count - 2, words + 2);
    }
    if (count < 5)
        return EXIT_FAILURE;
    for (int i = 4; i < count; ++i)
        if (!strchr(words[i], '='))
            return EXIT_FAILURE;
    ngSpice_Init(on_print, NULL, on_exit_called, NULL, NULL, NULL, NULL);
    snprintf(line, sizeof line, "source %s", words[1]);
    give(line);
    char* outputs[MOST_OUTPUTS];
    int output_count = save_outputs(words[3], outputs);
    int times = atoi(words[2]);
    double sum = 0;
    double start_s = now_s();
    for (int i = 0; i < times; ++i) {
        alter(count - 4, words + 4, 1 - 0.5 * i / times);
        give(ac);
        for (int j = 0; j < output_count; ++j)
            sum += read_output(outputs[j]);
        give(destroy);
    }
    printf("%.6f\n", now_s() - start_s);
    return isfinite(sum) ? EXIT_SUCCESS : EXIT_FAILURE;
}
