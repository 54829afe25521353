// SPDX-License-Identifier: GPL-3.0-or-later
// A lesson as one page that needs nothing but itself: no network, no script, no other file.
#include "show/lesson.h"

#include "base/locale.h"
#include "show/html.h"

/// A page is HTML and well-formed XML at once. Its policy forbids everything that is not in it.
static void open_page(tl_text* page, const char* title) {
    tl_text_add(page, "<!DOCTYPE html>\n<html lang=\"en\" xmlns=\"http://www.w3.org/1999/xhtml\">\n"
                      "<head>\n<meta charset=\"utf-8\"/>\n"
                      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                      "style-src 'unsafe-inline'; media-src data:; img-src data:\"/>\n"
                      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                      "<title>Why long leads dull the top end: ");
    tl_html_add(page, title);
    tl_text_add(page, "</title>\n<link rel=\"icon\" href=\"data:,\"/>\n<style>\n");
    tl_text_add(page, tl_html_style);
    tl_text_add(page, tl_lesson_style);
    tl_text_add(page, "</style>\n</head>\n<body>\n<main>\n");
}

tl_status tl_lesson_page(const char* title, const tl_lesson* lesson, char** html, tl_error* error) {
    tl_locale locale = tl_locale_plain();
    tl_text page = {0};
    open_page(&page, title);
    tl_lesson_add_start(&page, title, lesson);
    tl_lesson_add_formula(&page, lesson);
    tl_lesson_add_curves(&page, lesson);
    tl_lesson_add_questions(&page, lesson);
    tl_status status = tl_lesson_add_sounds(&page, lesson, error);
    tl_lesson_add_sources(&page, lesson);
    tl_text_add(&page, "</main>\n</body>\n</html>\n");
    tl_locale_restore(locale);
    *html = NULL;
    if (status == TL_OK)
        *html = tl_text_take(&page);
    else
        tl_text_free(&page);
    return status;
}
