// SPDX-License-Identifier: GPL-3.0-or-later
// toneload response: what a rig does to the guitar, against plugging straight in.
#include "cli/answers.h"
#include "cli/command.h"

#include <stdlib.h>
#include <string.h>

static tl_table* figures_table(const tl_answer* answer, double reference_hz, bool differences) {
    tl_table* table = tl_table_new();
    bool amps = answer_has_amps(answer);
    if (amps)
        tl_table_column(table, "amp", "amp");
    tl_table_column(table, "line-up", "name");
    figures_columns(table, reference_hz);
    if (differences) {
        differences_columns(table);
        hearing_columns(table);
    }
    for (size_t i = 0; i < answer->count; ++i) {
        const tl_solved* solved = &answer->solved[i];
        bool rig = strcmp(solved->name, "rig") == 0;
        tl_table_row(table);
        if (amps)
            tl_table_words(table, solved->amp);
        tl_table_words(table, solved->name);
        figures_cells(table, &solved->metrics);
        if (differences) {
            differences_cells(table, solved, rig ? solved + 1 : NULL);
            hearing_cells(table, rig ? &solved->hearing : NULL);
        }
    }
    return table;
}

static tl_table* differences_table(const tl_answer* answer) {
    tl_table* table = tl_table_new();
    tl_table_column(table, "rig minus direct", "amp");
    differences_columns(table);
    for (size_t i = 0; i < answer->count; i += 2) {
        char words[256];
        bool amps = answer_has_amps(answer);
        snprintf(words, sizeof words, "%s", amps ? answer->solved[i].amp : "level matched");
        tl_table_row(table);
        tl_table_words(table, words);
        differences_cells(table, &answer->solved[i], &answer->solved[i + 1]);
    }
    return table;
}

static double worst_residual(const tl_answer* answer) {
    double worst = 0;
    for (size_t i = 0; i < answer->count; ++i)
        if (answer->solved[i].residual > worst)
            worst = answer->solved[i].residual;
    return worst;
}

/// The answer for people.
static char* answer_text(const tl_rig* rig, const tl_answer* answer, double reference_hz) {
    char* text = NULL;
    size_t size = 0;
    FILE* to = open_memstream(&text, &size);
    if (!to)
        abort();
    tl_table* figures = figures_table(answer, reference_hz, false);
    tl_table* differences = differences_table(answer);
    char* figures_text = tl_table_text(figures);
    char* differences_text = tl_table_text(differences);
    fprintf(to, "%s\n\n%s\n%s\n", tl_rig_title(rig), figures_text, differences_text);
    fprintf(to,
            "Peak and -3 dB are relative to the level at %g Hz. Rig minus direct: after the amp\n"
            "is turned up to match the level between 200 Hz and 1 kHz.\n",
            reference_hz);
    print_assumed_direct(to, rig);
    fprintf(to,
            "%zu frequencies solved, rig and direct together; frequencies held out of the fit "
            "were met to %.0e.\n",
            answer->solves, worst_residual(answer));
    fprintf(to, "\nTo the ear, rig against direct:\n");
    for (size_t i = 0; i + 1 < answer->count; i += 2) {
        char* words = tl_show_hearing(&answer->solved[i].hearing);
        fprintf(to, "%s%s%s\n", answer_has_amps(answer) ? answer->solved[i].amp : "",
                answer_has_amps(answer) ? ": " : "", words);
        free(words);
    }
    fputs(verdict_source, to);
    print_unstable(to, "rig", answer);
    fclose(to);
    tl_table_free(figures);
    tl_table_free(differences);
    free(figures_text);
    free(differences_text);
    return text;
}

static char* answer_shown(const request* asked, const tl_rig* rig, const tl_answer* answer) {
    if (asked->json) {
        json_t* json = tl_json_open("response", tl_rig_title(rig));
        json_object_set_new(json, "responses", answer_json(answer, asked->points));
        json_object_set_new(json, "differences", differences_json(answer));
        json_object_set_new(json, "hearing", worst_hearing_json(answer));
        return tl_json_text(json);
    }
    if (!asked->csv)
        return answer_text(rig, answer, asked->reference_hz);
    tl_table* table = figures_table(answer, asked->reference_hz, true);
    char* text = tl_table_csv(table);
    tl_table_free(table);
    return text;
}

static tl_status draw(const request* asked, const tl_rig* rig, const tl_answer* answer,
                      tl_error* error) {
    tl_curve* curves = calloc(answer->count, sizeof *curves);
    char(*labels)[256] = calloc(answer->count, sizeof *labels);
    if (!curves || !labels)
        abort();
    for (size_t i = 0; i < answer->count; ++i) {
        const tl_solved* solved = &answer->solved[i];
        bool direct = strcmp(solved->name, "direct") == 0;
        const char* what = direct ? "direct (plugged straight in)" : "rig";
        if (answer_has_amps(answer))
            snprintf(labels[i], sizeof labels[i], "%s: %s", solved->amp, what);
        else
            snprintf(labels[i], sizeof labels[i], "%s", what);
        curves[i] = (tl_curve){solved->response, &solved->metrics, labels[i], direct,
                               direct ? NULL : solved[1].response};
    }
    tl_plot plot = {tl_rig_title(rig), curves, answer->count};
    tl_status status = tl_plot_draw(&plot, asked->plot, error);
    free(curves);
    free(labels);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_session* session = NULL;
    tl_rig* rig = NULL;
    tl_answer* answer = NULL;
    tl_status status = request_session(asked, SESSION_SOLVES_ONE, &session, error);
    if (status == TL_OK)
        status = tl_rig_read(tl_session_library(session), asked->words[0], &rig, error);
    if (status == TL_OK)
        status = tl_study_response(session, rig, asked->reference_hz, &answer, error);
    if (status == TL_OK && asked->plot)
        status = draw(asked, rig, answer, error);
    if (status == TL_OK) {
        char* text = answer_shown(asked, rig, answer);
        status = request_write(asked, text, error);
        free(text);
    }
    tl_answer_free(answer);
    tl_rig_free(rig);
    request_leave_session(session);
    return status;
}

const command command_response = {
    "response",
    "RIG.yaml",
    "solve a rig and plugging straight in: resonance peak, Q, -3 dB",
    "Reads a rig, solves it together with its direct line-up (the guitar plugged straight into\n"
    "the amp) and prints level, peak, pole, Q and -3 dB of both, and rig minus direct.\n"
    "\n"
    "  toneload response rig.yaml --plot rig.svg",
    OPTION_PLOT | OPTION_JSON | OPTION_CSV | OPTION_POINTS | OPTION_REFERENCE | OPTION_OUTPUT |
        OPTION_PARTS | OPTION_TIME_LIMIT,
    1,
    1,
    run,
};
