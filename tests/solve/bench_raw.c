// SPDX-License-Identifier: GPL-3.0-or-later
// What libngspice alone takes: the floor that scripts/bench, which builds this, holds toneload to.
//
//   bench_raw DECK COUNT OUTPUT,OUTPUT.. ELEMENT=VALUE..
//
// Loads the deck once; then COUNT times alters the elements, solves 21 frequencies, reads the
// outputs and frees them. Prints the seconds of the loop.
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

int main(int count, char** words) {
    char ac[] = "ac dec 5 10 100k";
    char destroy[] = "destroy all";
    char line[512];
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
