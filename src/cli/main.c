// SPDX-License-Identifier: GPL-3.0-or-later
// The command line: finds the command, reads its options, runs it.
#include "cli/command.h"

#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

static const command* const commands[] = {
    &command_response, &command_compare, &command_states, &command_reach,  &command_sweep,
    &command_place,    &command_listen,  &command_lesson, &command_spread, &command_merge,
    &command_noise,    &command_power,   &command_dress,  &command_build,  &command_card,
    &command_fit,      &command_accept,  &command_report, &command_bench,  &command_check,
    &command_parts,    &command_netlist,
};
enum { COMMANDS = sizeof commands / sizeof *commands };

static void print_help(void) {
    printf("toneload %s: what a pedalboard rig does to the guitar, computed before it is soldered\n"
           "\n"
           "toneload COMMAND ..., where COMMAND is one of\n",
           tl_version());
    for (size_t i = 0; i < COMMANDS; ++i)
        printf("  %-10s %s\n", commands[i]->name, commands[i]->summary);
    printf("\ntoneload COMMAND --help tells more; toneload --version prints the version.\n");
}

static void print_command_help(const command* about) {
    printf("toneload %s %s\n%s\n\n%s\n\nOptions:\n", about->name, about->words, about->summary,
           about->about);
    request_print_options(about->options);
}

/// Errors at a place already say where ("rig.yaml:3:12: error: "); the others get the program's
/// name.
static void print_error(const tl_error* error) {
    const char* text = tl_error_text(error);
    const char* word = strstr(text, ": error: ");
    bool placed = word && word > text && word[-1] >= '0' && word[-1] <= '9';
    fprintf(stderr, "%s%s\n", placed ? "" : "toneload: error: ", text);
}

static tl_status run(const command* about, int count, char** words, tl_error* error) {
    request asked;
    tl_status status = request_read(about, count, words, &asked, error);
    if (status == TL_OK && asked.help)
        print_command_help(about);
    else if (status == TL_OK)
        status = about->run(&asked, error);
    request_free(&asked);
    return status;
}

/// Names the command that starts like the word, or else all of them.
static tl_status unknown_command(const char* word, tl_error* error) {
    char known[256] = "";
    size_t size = 0;
    for (size_t i = 0; i < COMMANDS && size < sizeof known; ++i) {
        const char* name = commands[i]->name;
        if (word[0] && word[0] == name[0] && word[1] == name[1])
            return tl_error_set(error, TL_BAD_INPUT,
                                "there is no command '%s'; did you mean '%s'? See toneload --help",
                                word, name);
        size += (size_t)snprintf(known + size, sizeof known - size, "%s%s", i ? ", " : "", name);
    }
    return tl_error_set(error, TL_BAD_INPUT, "there is no command '%s'; known are %s", word, known);
}

static const command* find_command(const char* word) {
    for (size_t i = 0; i < COMMANDS; ++i)
        if (strcmp(word, commands[i]->name) == 0)
            return commands[i];
    return NULL;
}

/// `help` about everything, or `help COMMAND` as `COMMAND --help`.
static tl_status help(const char* word, tl_error* error) {
    const command* about = word ? find_command(word) : NULL;
    if (word && !about)
        return unknown_command(word, error);
    if (about)
        print_command_help(about);
    else
        print_help();
    return TL_OK;
}

static tl_status dispatch(int count, char** words, tl_error* error) {
    if (count < 2)
        return tl_error_set(error, TL_BAD_INPUT, "expected a command; see toneload --help");
    if (strcmp(words[1], "--help") == 0 || strcmp(words[1], "-h") == 0 ||
        strcmp(words[1], "help") == 0)
        return help(count > 2 ? words[2] : NULL, error);
    if (strcmp(words[1], "--version") == 0) {
        printf("toneload %s\n", tl_version());
        return TL_OK;
    }
    const command* about = find_command(words[1]);
    return about ? run(about, count - 2, words + 2, error) : unknown_command(words[1], error);
}

int main(int count, char** words) {
    signal(SIGPIPE, SIG_IGN); // a reader that went away is a failed write, not a silent end
    signal(SIGXFSZ, SIG_IGN); // so is a file that has reached the largest size allowed
    tl_error* error = tl_error_new();
    tl_status status = dispatch(count, words, error);
    if (status != TL_OK)
        print_error(error);
    else if (fflush(stdout) != 0) {
        fprintf(stderr, "toneload: error: standard output cannot be written\n");
        status = TL_FAILURE;
    }
    tl_error_free(error);
    return (int)status;
}
