// SPDX-License-Identifier: GPL-3.0-or-later
// What libngspice alone takes: the floor that scripts/bench, which builds this, holds toneload to.
//
//   bench_raw DECK COUNT OUTPUT,OUTPUT.. ELEMENT=VALUE..
//   bench_raw --decks DECK..
//
// Loads the deck once; then COUNT times alters the elements, solves 21 frequencies, reads the
// outputs and frees them. Or loads each of many decks, whose first line is the output's name,
// solves it, reads it and frees it again. Prints the seconds of the loop.
#include <stdbool.h> // which the next one forgets

#include <ngspice/sharedspice.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { POINTS = 21 };

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

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void give(char* command) {
    ngSpice_Command(command);
}

/// Reads one output; ends the program when it is not what a solved one looks like.
static double read_output(const char* name) {
    char copy[64];
    snprintf(copy, sizeof copy, "%s", name);
    const vector_info* vector = ngGet_Vec_Info(copy);
    if (!vector || !vector->v_compdata || vector->v_length != POINTS) {
        fprintf(stderr, "bench_raw: nothing solved at %s\n", name);
        exit(EXIT_FAILURE);
    }
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

int main(int count, char** words) {
    char ac[] = "ac dec 5 10 100k";
    char destroy[] = "destroy all";
    char line[512];
    if (count > 2 && strcmp(words[1], "--decks") == 0) {
        ngSpice_Init(on_print, NULL, on_exit_called, NULL, NULL, NULL, NULL);
        return solve_decks(count - 2, words + 2);
    }
    if (count < 5)
        return EXIT_FAILURE;
    for (int i = 4; i < count; ++i)
        if (!strchr(words[i], '='))
            return EXIT_FAILURE;
    ngSpice_Init(on_print, NULL, on_exit_called, NULL, NULL, NULL, NULL);
    snprintf(line, sizeof line, "source %s", words[1]);
    give(line);
    char* outputs[16];
    int output_count = 0;
    for (char* name = strtok(words[3], ","); name && output_count < 16; name = strtok(NULL, ",")) {
        outputs[output_count++] = name;
        snprintf(line, sizeof line, "save %s", name);
        give(line);
    }
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
