// SPDX-License-Identifier: GPL-3.0-or-later
// The drawing of a board on a sheet of paper: its scale, and where the lists stand beside it.
#include "show/build_svg.h"

#include "base/locale.h"
#include "base/names.h"
#include "show/html.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/// A sheet upright, mm. A4 and A3: ISO 216. Letter and Tabloid: 8.5 by 11 and 11 by 17 in
/// (ANSI/ASME Y14.1). From memory; every printer's driver states the same.
typedef struct {
    const char* name;
    double width;
    double height;
} paper;

static const paper papers[] = {
    {"A4", 210, 297}, {"A3", 297, 420}, {"Letter", 215.9, 279.4}, {"Tabloid", 279.4, 431.8}};
enum { PAPERS = sizeof papers / sizeof *papers };

typedef struct {
    double scale;
    bool page_only;
} usual_scale;

/// ISO 5455:1979 recommends 1:1, 1:2, 1:5, 1:10 and 1:20 (seen); 1:2.5 and 1:4 stand between them
/// in lists of national standards (seen second hand, of GOST 2.302). On a page, which is narrow,
/// the next smaller one may be half as large: three more of our own.
static const usual_scale scales[] = {{1, false},  {2, false}, {2.5, false}, {3, true},
                                     {4, false},  {5, false}, {6, true},    {8, true},
                                     {10, false}, {20, false}};
enum { SCALES = sizeof scales / sizeof *scales };

static const double scale_most = 50;
static const double margin_mm = 8; ///< printers leave some 4 mm white; common practice
static const double padding_mm = 3, gap_mm = 5;
enum { PIECES = 24, FINDING_ROWS = 16, FEW_ROWS = 6, FEWEST_ROWS = 3 };

/// A part of a key in its place.
typedef struct {
    tl_box area;
    const tl_drawn_key* key;
    size_t first;
    size_t count;
} piece;

enum { TITLE, BAR, LEGEND, NAMES, FINDINGS, CUT_LIST, KEYS };

typedef struct {
    tl_drawn_sheet sheet;
    tl_drawn_board board;
    tl_drawn_key keys[KEYS];
    piece pieces[PIECES];
    size_t count;
    tl_spot origin; ///< of the board, in the frame
} layout;

static void free_keys(layout* made) {
    for (size_t i = 0; i < KEYS; ++i)
        tl_drawn_key_free(&made->keys[i]);
}

static void free_layout(layout* made) {
    tl_drawn_board_free(&made->board);
    free_keys(made);
    *made = (layout){0};
}

static double room_width(const tl_drawn_sheet* sheet) {
    return sheet->width - 2 * sheet->margin;
}

static double room_height(const tl_drawn_sheet* sheet) {
    return sheet->height - 2 * sheet->margin;
}

static bool is_free(const layout* made, tl_box area) {
    if (area.right > room_width(&made->sheet) + 1e-6 ||
        area.bottom > room_height(&made->sheet) + 1e-6 || area.left < 0 || area.top < 0)
        return false;
    for (size_t i = 0; i < made->count; ++i) {
        const tl_box* other = &made->pieces[i].area;
        if (area.left < other->right + gap_mm - 1e-6 && area.right > other->left - gap_mm + 1e-6 &&
            area.top < other->bottom + gap_mm - 1e-6 && area.bottom > other->top - gap_mm + 1e-6)
            return false;
    }
    return true;
}

/// The uppermost place, then the leftmost, among those beside or below what is placed already.
static bool find_place(const layout* made, double width, double height, tl_box* area) {
    bool found = false;
    for (size_t i = 0; i <= made->count; ++i)
        for (size_t k = 0; k <= made->count; ++k) {
            double left = i ? made->pieces[i - 1].area.right + gap_mm : 0;
            double top = k ? made->pieces[k - 1].area.bottom + gap_mm : 0;
            tl_box here = {left, top, left + width, top + height};
            bool better = !found || top < area->top - 1e-6 ||
                          (top < area->top + 1e-6 && left < area->left - 1e-6);
            if (better && is_free(made, here)) {
                *area = here;
                found = true;
            }
        }
    return found;
}

static bool has_heading(const tl_drawn_key* key, size_t first) {
    return key->heading && (first == 0 || key->heads_columns);
}

static double height_of(const tl_drawn_key* key, size_t first, size_t rows) {
    return (double)rows * key->row_height + (has_heading(key, first) ? TL_DRAWN_ROW + 0.8 : 0);
}

/// The rows of a part of a key: at most so many from `first` on, what belongs together kept
/// together; 0 when there are fewer than make a part.
static size_t part_rows(const tl_drawn_key* key, size_t first, size_t most) {
    size_t left = key->count - first;
    if (most >= left)
        return left;
    size_t rows = most;
    while (rows && key->goes_on[first + rows])
        --rows;
    return key->whole || rows < FEWEST_ROWS ? 0 : rows;
}

/// Places a key in parts of at most so many rows, each as large as there is room for. Returns how
/// many parts; 0, and nothing placed, when there is not room enough.
static size_t place_parts(layout* made, const tl_drawn_key* key, size_t most) {
    size_t before = made->count, first = 0;
    while (first < key->count) {
        size_t rows = part_rows(key, first, most);
        tl_box area;
        while (rows && !find_place(made, key->width, height_of(key, first, rows), &area))
            rows = part_rows(key, first, rows - 1);
        if (!rows || made->count == PIECES) {
            made->count = before;
            return 0;
        }
        made->pieces[made->count++] = (piece){area, key, first, rows};
        first += rows;
    }
    return made->count - before;
}

/// Places a key whole, or in as few parts as it takes, and those about as long as each other.
static bool place_key(layout* made, const tl_drawn_key* key) {
    size_t before = made->count;
    size_t parts = key->count ? place_parts(made, key, key->count) : 0;
    if (parts < 2)
        return parts || !key->count;
    for (size_t most = (key->count + parts - 1) / parts; most <= key->count; ++most) {
        made->count = before;
        if (place_parts(made, key, most) == parts)
            break;
    }
    return true;
}

/// The title block in the lower right corner of a sheet, the bar under the board or anywhere else.
static bool place_fixed(layout* made) {
    const tl_drawn_key *title = &made->keys[TITLE], *bar = &made->keys[BAR];
    if (!made->sheet.paper)
        return place_key(made, title) && place_key(made, bar);
    tl_box corner = {room_width(&made->sheet) - title->width,
                     room_height(&made->sheet) - height_of(title, 0, title->count),
                     room_width(&made->sheet), room_height(&made->sheet)};
    if (!is_free(made, corner))
        return false;
    made->pieces[made->count++] = (piece){corner, title, 0, title->count};
    double top = made->pieces[0].area.bottom + gap_mm;
    tl_box under = {0, top, bar->width, top + height_of(bar, 0, 1)};
    if (!is_free(made, under))
        return place_key(made, bar);
    made->pieces[made->count++] = (piece){under, bar, 0, 1};
    return true;
}

/// Lays everything out on a sheet beside the board as drawn; false when it does not fit.
static bool lay_out(layout* made, tl_drawn_sheet sheet) {
    made->sheet = sheet;
    made->count = 0;
    const tl_box* reach = &made->board.reach;
    tl_box whole = {0, 0, reach->right - reach->left, reach->bottom - reach->top};
    if (!is_free(made, whole))
        return false;
    made->origin = (tl_spot){-reach->left, -reach->top};
    made->pieces[made->count++] = (piece){.area = whole};
    made->keys[TITLE] = tl_drawn_title(&made->board, &sheet);
    made->keys[BAR] = tl_drawn_bar(&made->board);
    made->keys[LEGEND] = tl_drawn_legend(&made->board);
    made->keys[NAMES] = tl_drawn_name_key(&made->board);
    made->keys[FINDINGS] = tl_drawn_finding_key(&made->board, sheet.findings_most);
    if (sheet.cut_list)
        made->keys[CUT_LIST] = tl_drawn_cut_list(&made->board);
    bool fits = place_fixed(made);
    for (size_t i = LEGEND; fits && i < KEYS; ++i)
        fits = place_key(made, &made->keys[i]);
    if (!fits)
        free_keys(made);
    return fits;
}

/// Lays a board out across a sheet or upright.
static bool lay_out_turned(layout* made, const tl_drawn_sheet* sheet) {
    for (int upright = 0; upright < (sheet->paper ? 2 : 1); ++upright) {
        tl_drawn_sheet turned = *sheet;
        turned.landscape = !upright;
        if (upright) {
            turned.width = sheet->height;
            turned.height = sheet->width;
        }
        if (lay_out(made, turned))
            return true;
    }
    return false;
}

/// A scale on a paper: with the cut list, else without; with words at the edges level, else turned,
/// which takes less width; and when there are many findings, with fewer of them told.
static bool fit(const tl_build* build, double scale, const tl_drawn_sheet* sheet, bool cut_list,
                layout* made) {
    static const size_t rows[] = {SIZE_MAX, SIZE_MAX, FINDING_ROWS, FEW_ROWS, 0};
    double longest = 1000 * fmax(build->width_m, build->depth_m) / scale;
    *made = (layout){0};
    if (longest > fmax(sheet->width, sheet->height))
        return false;
    tl_drawn_board boards[2] = {{0}};
    bool found = false;
    for (size_t i = cut_list ? 0 : 1; !found && i < sizeof rows / sizeof *rows; ++i)
        for (int turned = 0; !found && turned < 2; ++turned) {
            if (!boards[turned].build)
                boards[turned] = tl_drawn_board_make(build, scale, turned);
            tl_drawn_sheet tried = *sheet;
            tried.findings_most = rows[i];
            tried.cut_list = i == 0;
            made->board = boards[turned];
            found = lay_out_turned(made, &tried);
            if (found)
                boards[turned] = (tl_drawn_board){0};
        }
    for (int turned = 0; turned < 2; ++turned)
        if (boards[turned].build)
            tl_drawn_board_free(&boards[turned]);
    if (!found)
        *made = (layout){0};
    return found;
}

static tl_drawn_sheet sheet_of(const paper* on) {
    return (tl_drawn_sheet){.paper = on->name,
                            .width = on->height,
                            .height = on->width,
                            .margin = margin_mm + padding_mm};
}

/// The largest usual scale that fits; 0 when none does.
static double largest(const tl_build* build, const tl_drawn_sheet* sheet, bool cut_list,
                      layout* made) {
    for (size_t i = 0; i < SCALES; ++i)
        if ((!sheet->paper || !scales[i].page_only) &&
            fit(build, scales[i].scale, sheet, cut_list, made))
            return scales[i].scale;
    return 0;
}

/// "A3 holds it": the papers that do, for an error.
static void add_papers(tl_text* hint, const tl_build* build, double scale) {
    size_t found = 0;
    for (size_t i = 0; i < PAPERS; ++i) {
        layout made;
        tl_drawn_sheet sheet = sheet_of(&papers[i]);
        if (!fit(build, scale, &sheet, false, &made))
            continue;
        free_layout(&made);
        tl_text_addf(hint, "%s%s", found++ ? " or " : "; for this scale, --paper ", papers[i].name);
    }
    if (!found)
        tl_text_add(hint, "; no paper known here holds this scale");
}

static tl_status refuse(const tl_build* build, const tl_drawn_sheet* sheet, double scale,
                        tl_error* error) {
    tl_text hint = {0};
    layout made;
    double fits = largest(build, sheet, false, &made);
    if (fits > 0) {
        tl_text_addf(&hint, "; the largest usual scale that fits is 1:%g", fits);
        free_layout(&made);
    }
    if (sheet->paper && scale > 0)
        add_papers(&hint, build, scale);
    const char* room = sheet->paper ? sheet->paper : "the room on the page";
    tl_status status =
        scale > 0 ? tl_error_set(error, TL_BAD_INPUT, "the drawing at 1:%g does not fit %s%s",
                                 scale, room, tl_text_get(&hint))
                  : tl_error_set(error, TL_BAD_INPUT,
                                 "the drawing does not fit %s at 1:%g, nor at any larger scale",
                                 room, scales[SCALES - 1].scale);
    tl_text_free(&hint);
    return status;
}

/// One sentence for those who do not see it.
static void add_about(tl_text* page, const layout* made, const char* prefix) {
    const tl_build* build = made->board.build;
    size_t drawn = 0;
    for (size_t i = 0; i < build->lead_count; ++i)
        drawn += made->board.leads[i].count > 0;
    tl_text_addf(page, "<title id=\"%stitle\">", prefix);
    tl_html_add(page, build->rig);
    tl_text_addf(page, ": the board, 1:%g</title>\n<desc id=\"%sdesc\">", made->board.scale,
                 prefix);
    tl_text_addf(page,
                 "The board seen from above, %.0f by %.0f mm, its front edge below; drawn: %zu "
                 "box%s and %zu lead%s, numbered as in the cut list; %zu warning%s.",
                 build->width_m * 1000, build->depth_m * 1000, build->box_count,
                 build->box_count == 1 ? "" : "es", drawn, drawn == 1 ? "" : "s",
                 made->board.warning_count, made->board.warning_count == 1 ? "" : "s");
    for (size_t i = 0; i < build->box_count; ++i) {
        tl_text_add(page, i ? "; " : " From the left and the front: ");
        tl_html_add(page, build->boxes[i].name);
        tl_text_addf(page, " at %.0f and %.0f mm%s", build->boxes[i].left_m * 1000,
                     build->boxes[i].front_m * 1000,
                     build->boxes[i].under ? " below the deck" : "");
    }
    tl_text_add(page, build->box_count ? ".</desc>\n" : "</desc>\n");
}

static void add_piece(tl_text* page, const piece* part, double margin, const char* prefix) {
    const tl_drawn_key* key = part->key;
    tl_text_addf(page, "<g class=\"%s%s\" transform=\"translate(%.2f %.2f)\">\n", prefix, key->name,
                 margin + part->area.left, margin + part->area.top);
    double y = 0;
    if (has_heading(key, part->first)) {
        tl_text_addf(page, "%s\n", key->heading);
        y = TL_DRAWN_ROW + 0.8;
    }
    for (size_t i = part->first; i < part->first + part->count; ++i, y += key->row_height)
        tl_text_addf(page, "<g transform=\"translate(0 %.2f)\">%s</g>\n", y, key->rows[i]);
    tl_text_add(page, "</g>\n");
}

/// Lines around the sheet and its title block.
static void add_frame(tl_text* page, const layout* made) {
    const tl_drawn_sheet* sheet = &made->sheet;
    const tl_box* title = &made->pieces[1].area;
    double left = sheet->margin + title->left - padding_mm;
    double top = sheet->margin + title->top - padding_mm;
    double right = sheet->width - margin_mm, bottom = sheet->height - margin_mm;
    tl_text_addf(page,
                 "<path fill=\"none\" stroke=\"#000\" stroke-width=\"0.35\" "
                 "d=\"M%.2f %.2fH%.2fV%.2fH%.2fZM%.2f %.2fH%.2fM%.2f %.2fV%.2f\"/>\n",
                 margin_mm, margin_mm, right, bottom, margin_mm, left, top, right, left, top,
                 bottom);
}

static char* write_sheet(const layout* made, const char* prefix) {
    const tl_drawn_sheet* sheet = &made->sheet;
    tl_text page = {0};
    const char* of_page = prefix ? prefix : "";
    if (!prefix)
        tl_text_add(&page, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    tl_text_addf(&page,
                 "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"%sdrawing\" role=\"img\" "
                 "aria-labelledby=\"%stitle\" aria-describedby=\"%sdesc\" width=\"%gmm\" "
                 "height=\"%gmm\" viewBox=\"0 0 %g %g\" font-family=\"sans-serif\" "
                 "fill=\"#000\">\n",
                 of_page, of_page, of_page, sheet->width, sheet->height, sheet->width,
                 sheet->height);
    add_about(&page, made, of_page);
    if (!prefix) { // the paper that browsers take when they print it
        tl_text_addf(&page, "<style>@page{size:%gmm %gmm;margin:0}</style>\n", sheet->width,
                     sheet->height);
        tl_text_addf(&page, "<rect width=\"%g\" height=\"%g\" fill=\"#fff\"/>\n", sheet->width,
                     sheet->height);
    }
    if (sheet->paper)
        add_frame(&page, made);
    tl_text_addf(&page, "<g transform=\"translate(%.2f %.2f)\">\n", sheet->margin + made->origin.x,
                 sheet->margin + made->origin.y);
    tl_drawn_board_add(&page, &made->board, of_page);
    tl_text_add(&page, "</g>\n");
    for (size_t i = 1; i < made->count; ++i)
        add_piece(&page, &made->pieces[i], sheet->margin, of_page);
    tl_text_add(&page, "</svg>\n");
    return tl_text_take(&page);
}

static const paper* find_paper(const char* name) {
    for (size_t i = 0; i < PAPERS; ++i)
        if (strcasecmp(papers[i].name, name) == 0)
            return &papers[i];
    return NULL;
}

tl_status tl_drawing_check_paper(const char* name, tl_error* error) {
    if (find_paper(name))
        return TL_OK;
    const char* names[PAPERS];
    for (size_t i = 0; i < PAPERS; ++i)
        names[i] = papers[i].name;
    tl_text words = {0};
    tl_text_add(&words, "--paper '");
    tl_text_add_safe(&words, name);
    tl_text_add(&words, "': no paper of that name");
    tl_name_hint(&words, name, names, PAPERS);
    tl_status status = tl_error_set(error, TL_BAD_INPUT, "%s", tl_text_get(&words));
    tl_text_free(&words);
    return status;
}

tl_status tl_drawing_read_scale(const char* words, double* scale, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    bool plain =
        strncmp(words, "1:", 2) == 0 && words[2] && !words[2 + strspn(words + 2, "0123456789.")];
    char* end = NULL;
    *scale = plain ? strtod(words + 2, &end) : 0;
    plain = plain && !*end && *scale >= 1 && *scale <= scale_most;
    tl_locale_restore(locale);
    if (plain)
        return TL_OK;
    char* shown = tl_show_safe(words);
    tl_status status =
        tl_error_set(error, TL_BAD_INPUT,
                     "--scale '%s': expected 1:N with N from 1 to %g, such as 1:2, 1:2.5, 1:4",
                     shown, scale_most);
    free(shown);
    return status;
}

tl_status tl_drawing_check_path(const char* path, tl_error* error) {
    size_t size = strlen(path);
    if (size > 4 && strcmp(path + size - 4, ".svg") == 0)
        return TL_OK;
    char* shown = tl_show_safe(path);
    tl_status status = tl_error_set(
        error, TL_BAD_INPUT,
        "'%s': a drawing's file name ends in .svg; a browser prints that, to PDF too", shown);
    free(shown);
    return status;
}

/// A board can only be drawn when it has a size, and everything on it a place.
static tl_status check_drawable(const tl_build* build, tl_error* error) {
    const double most_m = 100; // also keeps the work in bounds
    if (!(build->width_m > 0 && build->depth_m > 0 && build->width_m < most_m &&
          build->depth_m < most_m))
        return tl_error_set(error, TL_BAD_INPUT, "no board to draw: it has no size");
    for (size_t i = 0; i < build->box_count; ++i) {
        const tl_build_box* box = &build->boxes[i];
        tl_spot_m low = {box->left_m, box->front_m};
        tl_spot_m high = {box->left_m + box->width_m, box->front_m + box->depth_m};
        if (box->width_m > 0 && box->depth_m > 0 && tl_drawn_is_near(build, low) &&
            tl_drawn_is_near(build, high))
            continue;
        char* name = tl_show_safe(box->name);
        tl_status status =
            tl_error_set(error, TL_BAD_INPUT,
                         "'%s' cannot be drawn: it has no place on or near the board", name);
        free(name);
        return status;
    }
    return TL_OK;
}

tl_status tl_build_drawing(const tl_build* build, const tl_drawing_options* options, char** svg,
                           tl_error* error) {
    *svg = NULL;
    const paper* on = find_paper(options->paper ? options->paper : "A4");
    if (!on)
        return tl_drawing_check_paper(options->paper, error);
    tl_status status = check_drawable(build, error);
    if (status != TL_OK)
        return status;
    tl_locale locale = tl_locale_plain();
    tl_drawn_sheet sheet = sheet_of(on);
    if (options->room_width_m > 0)
        sheet = (tl_drawn_sheet){.width = options->room_width_m * 1000,
                                 .height = options->room_height_m * 1000,
                                 .margin = 0.2};
    sheet.list_elsewhere = options->no_cut_list;
    layout made;
    bool fits = options->scale > 0
                    ? fit(build, options->scale, &sheet, !options->no_cut_list, &made)
                    : largest(build, &sheet, !options->no_cut_list, &made) > 0;
    if (fits) {
        if (!sheet.paper) { // as high as it is, not as it may be
            made.sheet.height = 0;
            for (size_t i = 0; i < made.count; ++i)
                made.sheet.height =
                    fmax(made.sheet.height, made.pieces[i].area.bottom + 2 * made.sheet.margin);
        }
        *svg = write_sheet(&made, options->prefix);
        free_layout(&made);
    } else {
        status = refuse(build, &sheet, options->scale, error);
    }
    tl_locale_restore(locale);
    return status;
}
