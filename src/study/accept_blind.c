// SPDX-License-Identifier: GPL-3.0-or-later
// What an accepted board may have wrong all the same: what cannot be seen at the readings there
// are, and how far off a lead would have to be.
//
// Whatever is wrong is put into the predicted curve, without any noise, and both tests are asked:
// what passes them at every value that was tried is not seen.
#include "study/accept_work.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_CELLS = 64, FINE = 8 };

/// Steps of a class nearest to what is stated, to either side, at which it is rejected; NAN: none.
typedef struct {
    double low;
    double high;
} edges;

/// Whether a board with a class's thing wrong by that much, and nothing else off, is rejected.
static bool is_seen(const tl_prospect* p, const tl_outlook* o, size_t class, double step,
                    double* db) {
    double miss[MOST_CELLS];
    const tl_outlook_class* at = &o->classes[class];
    tl_accept_between(at->db, p->classes[class].steps, o->count, step, db);
    tl_accept_between(at->cell_db, p->classes[class].steps, o->cells, step, miss);
    for (size_t i = 0; i < o->cells; ++i)
        miss[i] -= o->cell_db[i];
    double offset_db = o->offset_removed ? tl_outlook_offset(o, miss) : 0;
    for (size_t i = 0; i < o->count; ++i)
        if (fabs(db[i] - offset_db - o->db[i] - o->middle_db[i]) > o->half_db[i])
            return true;
    return tl_normal_distance(&o->good, miss) > o->limit;
}

/// The step at which a suspect has what is stated of it.
static double stated_step(const tl_suspect* suspect) {
    const double last = TL_ACCEPT_STEPS - 1;
    double share = suspect->linear
                       ? (suspect->stated - suspect->low) / (suspect->high - suspect->low)
                       : log(suspect->stated / suspect->low) / log(suspect->high / suspect->low);
    return last * fmin(fmax(share, 0), 1);
}

static edges find_edges(const tl_prospect* p, const tl_outlook* o, size_t class) {
    double* db = tl_new(o->count, sizeof *db);
    edges found = {NAN, NAN};
    if (p->classes[class].steps == 1) {
        found.high = is_seen(p, o, class, 0, db) ? 0 : NAN;
    } else {
        double stated = stated_step(&p->suspects[p->classes[class].suspects[0]]);
        int last = FINE * (TL_ACCEPT_STEPS - 1);
        for (int i = (int)floor(FINE * stated); i >= 0 && isnan(found.low); --i)
            if (is_seen(p, o, class, (double)i / FINE, db))
                found.low = (double)i / FINE;
        for (int i = (int)ceil(FINE * stated); i <= last && isnan(found.high); ++i)
            if (is_seen(p, o, class, (double)i / FINE, db))
                found.high = (double)i / FINE;
    }
    free(db);
    return found;
}

/// What a member of a class has at a step of its first; NAN when it never has so much or so little.
static double value_at(const tl_suspect* suspect, const tl_suspect* first, double step) {
    if (isnan(step))
        return NAN;
    double value =
        tl_suspect_adding(suspect, tl_suspect_added(first, tl_suspect_value(first, step)));
    return value >= suspect->low && value <= suspect->high ? value : NAN;
}

static void add_blind(const tl_suspect* suspect, double low, double high, tl_board_check* board) {
    board->blind = tl_grow_one(board->blind, board->blind_count, sizeof *board->blind);
    tl_blind* blind = &board->blind[board->blind_count++];
    *blind = (tl_blind){.kind = suspect->kind,
                        .path = tl_copy(suspect->path),
                        .about = tl_copy(suspect->about),
                        .stated = suspect->stated,
                        .low = low,
                        .high = high};
    blind->stated_words =
        suspect->kind == TL_CAUSE_LEAD ? tl_suspect_words(suspect, suspect->stated) : tl_copy("");
    blind->low_words = isnan(low) ? tl_copy("") : tl_suspect_words(suspect, low);
    blind->high_words = isnan(high) ? tl_copy("") : tl_suspect_words(suspect, high);
}

void tl_accept_find_blind(const tl_prospect* prospect, const tl_outlook* outlook,
                          tl_board_check* board) {
    size_t count = prospect->suspect_count;
    size_t* class = tl_new(count + 1, sizeof *class);
    edges* found = tl_new(prospect->class_count + 1, sizeof *found);
    for (size_t i = 0; i < count; ++i)
        class[i] = prospect->class_count; // hardly moves the curve at any frequency
    for (size_t i = 0; i < prospect->class_count; ++i) {
        found[i] = find_edges(prospect, outlook, i);
        for (size_t j = 0; j < prospect->classes[i].count; ++j)
            class[prospect->classes[i].suspects[j]] = i;
    }
    found[prospect->class_count] = (edges){NAN, NAN};
    for (size_t i = 0; i < count; ++i) {
        const tl_suspect* suspect = &prospect->suspects[i];
        const edges* at = &found[class[i]];
        if (suspect->kind == TL_CAUSE_LEAD && class[i] < prospect -> class_count) {
            const tl_suspect* first = &prospect->suspects[prospect->classes[class[i]].suspects[0]];
            add_blind(suspect, value_at(suspect, first, at->low),
                      value_at(suspect, first, at->high), board);
        } else if (isnan(at->low) && isnan(at->high)) {
            add_blind(suspect, NAN, NAN, board);
        }
    }
    free(class);
    free(found);
}
