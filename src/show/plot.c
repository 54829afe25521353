// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/show.h"

#include "base/file.h"
#include "base/locale.h"
#include "base/text.h"
#include "show/gnuplot.h"
#include "show/picture.h"
#include "show/script.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { time_limit_ms = 60000 };

/// A kind of picture, by the end of its file's name and by the bytes that end a whole file: a disk
/// that fills up while gnuplot draws must not pass for a plot.
typedef struct {
    const char* kind;
    const char* ending;
    size_t ending_size;
} picture;

static const picture pictures[] = {
    {"svg", "</svg>", 6},
    {"png", "IEND\xae\x42\x60\x82", 8},
    {"pdf", "%%EOF", 5},
};

/// The kind of picture a file name asks for, or NULL.
static const picture* picture_of(const char* path) {
    size_t size = strlen(path);
    for (size_t i = 0; i < sizeof pictures / sizeof *pictures; ++i)
        if (size >= 4 && path[size - 4] == '.' &&
            strcasecmp(path + size - 3, pictures[i].kind) == 0)
            return &pictures[i];
    return NULL;
}

tl_status tl_plot_check_path(const char* path, tl_error* error) {
    if (picture_of(path))
        return TL_OK;
    return tl_error_set(error, TL_BAD_INPUT,
                        "%s: not the name of a plot, expected one that ends in .svg, .png or .pdf",
                        path);
}

static bool is_whole(const picture* wanted, const char* bytes, size_t size) {
    while (size && strchr("\r\n", bytes[size - 1]) && bytes[size - 1])
        --size;
    return size >= wanted->ending_size &&
           memcmp(bytes + size - wanted->ending_size, wanted->ending, wanted->ending_size) == 0;
}

/// gnuplot writes `>` and all of UTF-8 as they are, but XML 1.0 forbids `]]>` in a text (section
/// 2.4) and the two non-characters U+FFFE and U+FFFF anywhere (section 2.2): a label that holds one
/// would make a file that no viewer opens.
static void mend_svg(char** bytes, size_t* size) {
    tl_text mended = {0};
    const char* end = *bytes + *size;
    for (const char* at = *bytes; at < end;) {
        size_t left = (size_t)(end - at);
        bool closes = left >= 3 && memcmp(at, "]]>", 3) == 0;
        bool forbidden =
            left >= 3 && memcmp(at, "\xef\xbf", 2) == 0 && (unsigned char)at[2] >= 0xbe;
        const char* instead = closes ? "]]&gt;" : "\xef\xbf\xbd";
        if (closes || forbidden)
            tl_text_add(&mended, instead);
        else
            tl_text_add_bytes(&mended, at, 1);
        at += closes || forbidden ? 3 : 1;
    }
    free(*bytes);
    *size = mended.size;
    *bytes = tl_text_take(&mended);
}

/// The gnuplot script of a plot.
static char* make_script(const void* context, const char* kind, const char* output) {
    const tl_plot* plot = context;
    size_t count = plot->curve_count;
    tl_trace* traces = tl_new(count, sizeof *traces);
    for (size_t i = 0; i < count; ++i)
        traces[i] = tl_trace_make(&plot->curves[i]);
    tl_legend legend = tl_legend_make(traces, count);
    bool keyed = count > TL_NOTED_CURVES;
    tl_page page = tl_page_make(traces, count, plot->title != NULL, legend.rows + keyed);
    tl_drawing drawing = {plot->title, traces, count, &legend, &page};
    char* script = tl_script_make(&drawing, kind, output);
    tl_legend_free(&legend);
    for (size_t i = 0; i < count; ++i)
        tl_trace_free(&traces[i]);
    free(traces);
    return script;
}

tl_status tl_picture_draw(const char* path, tl_script_maker* make, const void* context,
                          tl_error* error) {
    tl_status status = tl_plot_check_path(path, error);
    if (status != TL_OK)
        return status;
    const picture* wanted = picture_of(path);
    static const char output[] = "picture";
    tl_locale locale = tl_locale_plain();
    char* script = make(context, wanted->kind, output);
    tl_locale_restore(locale);
    char* bytes = NULL;
    size_t size = 0;
    status = tl_gnuplot_run(script, output, time_limit_ms, &bytes, &size, error);
    free(script);
    if (status == TL_OK && !is_whole(wanted, bytes, size))
        status =
            tl_error_set(error, TL_FAILURE, "gnuplot did not finish the plot; is the disk full?");
    if (status == TL_OK && wanted == &pictures[0])
        mend_svg(&bytes, &size);
    if (status == TL_OK)
        status = tl_file_write(path, bytes, size, error);
    free(bytes);
    return status;
}

tl_status tl_plot_draw(const tl_plot* plot, const char* path, tl_error* error) {
    tl_status status = tl_plot_check_path(path, error);
    if (status == TL_OK && !plot->curve_count)
        status = tl_error_set(error, TL_BAD_INPUT, "%s: there is no curve to draw", path);
    return status == TL_OK ? tl_picture_draw(path, make_script, plot, error) : status;
}
