// SPDX-License-Identifier: GPL-3.0-or-later
// toneload merge: the shards of a spread put together; and how a spread is shown.
#include "cli/command.h"
#include "cli/spread.h"

#include <stdlib.h>

static char* make_text(const request* asked, const tl_spread* spread) {
    return asked->json  ? tl_json_text(tl_spread_json(spread))
           : asked->csv ? tl_spread_csv(spread)
                        : tl_spread_text(spread, asked->all);
}

tl_status spread_show(const request* asked, const tl_spread* spread, tl_error* error) {
    tl_status status = asked->plot ? tl_spread_draw(spread, asked->plot, error) : TL_OK;
    if (status == TL_OK && asked->histograms)
        status = tl_spread_draw_histograms(spread, asked->histograms, error);
    if (status == TL_OK && asked->sensitivity)
        status = tl_spread_draw_sensitivity(spread, asked->sensitivity, error);
    if (status != TL_OK)
        return status;
    char* text = make_text(asked, spread);
    status = request_write(asked, text, error);
    free(text);
    return status;
}

static tl_status run(const request* asked, tl_error* error) {
    tl_spread* spread = NULL;
    tl_spread_options options = {
        .choices = asked->selects, .choice_count = asked->select_count, .dump = asked->dump};
    tl_status status = tl_spread_merge(asked->words, asked->word_count, &options, &spread, error);
    if (status == TL_OK)
        status = spread_show(asked, spread, error);
    tl_spread_free(spread);
    return status;
}

const command command_merge = {
    "merge",
    "FILE.part [FILE.part ..]",
    "the shards of a spread put together",
    "Puts together what 'toneload spread --shard K/N --output FILE.part' wrote, on however many\n"
    "machines: what comes out is, to the last byte, what one run of all trials would have given.\n"
    "\n"
    "  toneload merge spread-*.part --plot fan.svg",
    OPTION_SELECT | OPTION_PLOT | OPTION_HISTOGRAMS | OPTION_SENSITIVITY | OPTION_DUMP |
        OPTION_DETAILS | OPTION_JSON | OPTION_CSV | OPTION_OUTPUT,
    1,
    100000,
    run,
};
